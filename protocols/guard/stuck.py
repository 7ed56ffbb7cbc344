"""Check: once the motor runs, thrust, current and speed are not what they were at rest.

A sensor that is not connected reads noise about zero, inside every limit, whatever
the motor does. What a channel reads at rest is learned with its scatter before the
throttle first rises; well after it has risen to a quarter each channel must have
left that band. Where none has, the motor never started.

A plan that stays below a quarter of throttle is not judged by this, and neither is
thrust where no propeller is on. Acts within 1.2 s of the throttle's reaching it.
"""

import math

from protocols.guard.now import Now
from protocols.guard.trip import Trip

NAME = "stuck"
NAME_NOT_STARTED = "not started"
RUNNING_FRAC = 0.25
# A propeller that is lost while the throttle first rises leaves its load cell so.
STILL_S = 0.6
# Mean deviations about the mean that count as rest: 6.4 standard deviations of
# normal noise. A glitch counts as no more than a few of them.
BAND = 8.0
CLIP = 4.0
READINGS = 8
MEMORY = 1 / 16


class Rest:
    """One channel: its band at rest, and whether it has left it.

    Attributes:
        known: the band is known, so the channel can be judged.
        left_s: when it was last outside while the motor ran.
    """

    def __init__(self) -> None:
        self._mean = self._scatter = 0.0
        self._readings = 0
        self.left_s = -math.inf

    @property
    def known(self) -> bool:
        """Whether enough was read at rest."""
        return self._readings >= READINGS

    def still(self, now_s: float) -> bool:
        """Whether it is known and has not been outside its band lately."""
        return self.known and now_s - self.left_s > STILL_S

    def take(self, value: float, now_s: float, *, ran: bool) -> None:
        """A finite reading: learned from at rest, looked at once the motor ran."""
        if not ran:
            self._learn(value)
        elif abs(value - self._mean) > BAND * self._scatter:
            self.left_s = now_s

    def _learn(self, value: float) -> None:
        self._readings += 1
        share = max(1 / self._readings, MEMORY)
        off = value - self._mean
        if self.known and self._scatter > 0:
            off = max(-CLIP * self._scatter, min(off, CLIP * self._scatter))
        self._mean += share * off
        if self._readings > 1:
            self._scatter += share * (abs(off) - self._scatter)


class StuckCheck:
    """All channels that should leave their rest."""

    def __init__(self, channels: tuple[str, ...], now: Now) -> None:
        self._now = now
        self._rests = {channel: Rest() for channel in channels}

    def take(self, channel: str, value: float, now_s: float) -> Trip | None:
        """A reading of one of the channels; no number shows nothing."""
        rest = self._rests[channel]
        if math.isfinite(value):
            rest.take(value, now_s, ran=self._now.ran)
        if not rest.still(now_s) or self._now.slow.lowest < RUNNING_FRAC:
            return None
        judged = [each for each in self._rests.values() if each.known]
        if any(not each.still(now_s) for each in judged):
            return self._stuck(channel)
        return self._not_started()

    def _stuck(self, channel: str) -> Trip:
        percent = 100 * self._now.throttle_frac
        return Trip(
            check=NAME,
            cause=(
                f"{channel} still reads what it read at rest, at {percent:.0f} % "
                "throttle."
            ),
            clears=f"{channel} has been seen to move",
            advice=f"Look at the {channel} sensor, its wiring and its supply.",
        )

    def _not_started(self) -> Trip:
        percent = 100 * self._now.throttle_frac
        return Trip(
            check=NAME_NOT_STARTED,
            cause=(
                f"At {percent:.0f} % throttle all readings are those of a motor at "
                "rest: it never started."
            ),
            clears="the motor starts",
            advice=(
                "Is the supply on at the ESC, its signal wire in, and does it arm at "
                "zero throttle (calibration, protocol)?"
            ),
        )

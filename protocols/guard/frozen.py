"""Check: a reading that should move does.

A converter that hangs gives its last number again and again, on time and inside every
limit. Two signs, either is enough:

- a channel whose readings nearly always differed from one to the next, up and down,
  at held throttle, gives the very same number many times in a row. Whether it is
  lively is learned from the channel itself, at rest and driven apart, since a motor
  makes noise: one with coarse steps, or one that repeats each reading, never is and
  is not judged by this;
- the very same number stays although the throttle has moved to another level. Not so
  the voltage: a bench supply holds it.

Next to zero a lively channel may come to rest: a current that a sensor's end cuts
off. At zero nothing has to move: a channel that freezes there is ``stuck`` once the
motor runs, or the motor has ``stalled``. Acts within 0.15 s
and 32 readings of a lively channel's freezing, else within a second of the throttle's
move.
"""

import math
from dataclasses import dataclass

from protocols.guard.now import Now, Recent
from protocols.guard.trip import Trip
from protocols.limits import brief, to_trade

NAME = "frozen"
# Noise of a few steps turns at two of three readings; what drifts does not turn, and
# what repeats itself turns seldom. Where every second reading turns, no more than
# every second repeats: 32 in a row then come about once in four thousand million.
LIVELY_SHARE = 0.5
LIVELY_READINGS = 64
LIVELY_MEMORY = 1024
STEPS = 1.5
FROZEN_READINGS = 32
FROZEN_S = 0.15
# A move that no channel worth having could sleep through.
MOVED_FRAC = 0.15
MOVED_READINGS = 8
LOWEST_FRAC = 0.08


@dataclass(slots=True)
class _Liveliness:
    """How a channel's readings change at held throttle.

    Attributes:
        readings: how many were looked at, older ones counting half and less.
        turns: how many of them changed another way than the one before, and by more
            than one step: what only tips between two numbers may rest on one.
        change: the last change.
        step: the least change seen.
    """

    readings: float = 0.0
    turns: float = 0.0
    change: float = 0.0
    step: float = math.inf

    def learn(self, change: float, readings: int) -> None:
        """A run of the same number has ended with this change."""
        self.readings += readings
        self.step = min(self.step, abs(change))
        tips = max(abs(change), abs(self.change)) < STEPS * self.step
        self.turns += change * self.change < 0 and not tips
        self.change = change
        if self.readings >= LIVELY_MEMORY:
            self.readings *= 0.5
            self.turns *= 0.5

    @property
    def known(self) -> bool:
        """Whether the channel is known to be lively."""
        enough = self.readings >= LIVELY_READINGS
        return enough and self.turns >= LIVELY_SHARE * self.readings


class FrozenCheck:
    """One channel."""

    def __init__(self, channel: str, quiet: float, now: Now, recent: Recent) -> None:
        """Begin.

        Args:
            channel: thrust, current, voltage or speed.
            quiet: readings no further from zero than this need not move, SI.
            now: what is known of this moment.
            recent: the throttle's range as this channel shows it.
        """
        self._channel = channel
        self._quiet = quiet
        self._now = now
        self._recent = recent
        self._value = math.nan
        self._same = 1
        self._since_s = 0.0
        self._from_frac = 0.0
        self._at_rest, self._driven = _Liveliness(), _Liveliness()

    def take(self, value: float, now_s: float) -> Trip | None:
        """A reading, SI; the very same number is the very same count."""
        if value != self._value:
            if self._recent.lowest == self._recent.highest:
                self._liveliness.learn(value - self._value, self._same)
            self._value, self._same, self._since_s = value, 1, now_s
            self._from_frac = self._now.throttle_frac
            return None
        self._same += 1
        if self._lively_but_still(now_s) or self._slept_through():
            return self._trip(now_s)
        return None

    @property
    def _liveliness(self) -> _Liveliness:
        """What is known for the throttle as it is now."""
        return self._driven if self._now.throttle_frac > 0 else self._at_rest

    def _lively_but_still(self, now_s: float) -> bool:
        return (
            self._liveliness.known
            and abs(self._value) > self._quiet
            and self._same >= FROZEN_READINGS
            and now_s - self._since_s >= FROZEN_S
        )

    def _slept_through(self) -> bool:
        """Whether the throttle went elsewhere meanwhile, and long enough ago."""
        recent, from_frac = self._recent, self._from_frac
        if self._channel == "voltage" or self._value == 0:
            return False
        if self._same < MOVED_READINGS or from_frac < LOWEST_FRAC:
            return False
        return (
            recent.lowest >= from_frac + MOVED_FRAC
            or recent.highest <= from_frac - MOVED_FRAC
        )

    def _trip(self, now_s: float) -> Trip:
        shown, unit = to_trade(self._channel, self._value)
        return Trip(
            check=NAME,
            cause=(
                f"{self._channel} has read the very same {brief(shown)} {unit} for "
                f"{(now_s - self._since_s) * 1e3:.0f} ms, {self._same} times."
            ),
            clears=f"readings of {self._channel} move again",
            advice=(
                f"The {self._channel} sensor or its converter hangs: look at its "
                "supply and wiring, and start the stand again."
            ),
        )

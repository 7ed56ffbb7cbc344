"""Check: thrust, current and rpm are what this throttle gave before.

What each channel shows at a throttle is learned on the first walk up, in steps of
five percent, and judged from then on: while the throttle is held, and when it comes
again. Readings are compared over the voltage that the bridge makes of them (throttle
times bus voltage): speed in proportion, thrust and current with its square, so that
a pack which sags is no fault. A step that is not learned yet is held against the
nearest one that is, with wide margins.

Only a throttle that is held or moves slowly is judged or learned from; what a fast
ramp shows is mostly inertia, and so is what a coasting rotor does. Acts 0.15 s to
0.3 s after the readings should have settled, which takes up to 0.8 s (thrust 1.2 s).

The margins are common practice, no source: a warm winding takes some percent off the
speed and a tenth off the current; a blade that is gone takes a third off the thrust.
"""

import math
from dataclasses import dataclass
from typing import Final

from protocols.guard.now import Lasting, Now, Recent, Smooth
from protocols.guard.trip import Trip
from protocols.limits import brief, to_trade

NAME = "plausible"
STEPS = 20
# Below this an ESC may do as it likes: deadband, start-up.
LOWEST_FRAC = 0.08
# A throttle that moved by more than this lately is not judged.
SLOW_FRAC = 0.06
# Steps below this are no guide to others: idle currents are most of them.
GUIDE_STEP = 3
# At rest a load cell comes back to its zero, but for this share of the most it saw.
REST_SHARE = 0.15
REST_FLOORS = 4.0
LEARN_READINGS = 8
LEARN_S = 0.15


@dataclass(frozen=True, slots=True)
class Kind:
    """How a channel goes with throttle and voltage, and how closely.

    Attributes:
        power: with which power of throttle times voltage it goes.
        share: how far it may be from what was learned.
        blind_share: likewise, where the voltage is not known.
        guide_share: how much further, for a step at twice the throttle.
        lasting_s: how long it must be outside.
    """

    power: int
    share: float
    blind_share: float
    guide_share: float
    lasting_s: float


KINDS: Final = {
    "thrust": Kind(2, 0.3, 0.5, 0.5, 0.3),
    "current": Kind(2, 0.3, 0.5, 0.5, 0.15),
    "speed": Kind(1, 0.15, 0.3, 0.2, 0.15),
}
ADVICE: Final = {
    "thrust": (
        "Look at the propeller (chipped, loose, wrong way round), the mount, and "
        "whether something touches the load cell."
    ),
    "current": (
        "Look at the propeller, whether the motor rubs or is hot, and the current "
        "sensor's wiring."
    ),
    "speed": "Look at the propeller, the rpm sensor and whether the motor is hot.",
}


class PlausibleCheck:
    """One channel."""

    def __init__(self, channel: str, floor: float, now: Now, recent: Recent) -> None:
        """Begin.

        Args:
            channel: of ``KINDS``.
            floor: a difference that counts as none, SI.
            now: what is known of this moment.
            recent: the throttle's range as this channel shows it.
        """
        self._channel = channel
        self._kind = KINDS[channel]
        self._floor = floor
        self._now = now
        self._recent = recent
        self._learned = [math.nan] * (STEPS + 1)
        self._smooth = Smooth()
        self._outside = Lasting(3, self._kind.lasting_s)
        self._step = 0
        self._sum = 0.0
        self._count = 0
        self._since_s = 0.0
        self._most = 0.0
        self._voltage_v = math.nan

    def take(self, value: float, now_s: float) -> Trip | None:
        """A reading, SI; one that is no number shows nothing."""
        recent = self._recent
        if not math.isfinite(value) or not self._voltage_is_known(now_s):
            self._unsettled(now_s)
            return None
        if recent.highest <= 0:
            return self._at_rest(value, now_s)
        moves = recent.highest - recent.lowest > SLOW_FRAC
        if moves or recent.lowest < LOWEST_FRAC or self._now.coasting.slows(now_s):
            self._unsettled(now_s)
            return None
        smooth = self._smooth.take(value, now_s)
        step = round(STEPS * self._middle_frac)
        low, high = self._expected(step)
        outside = not low <= smooth <= high
        if self._outside.take(so=outside, now_s=now_s):
            return self._trip(smooth, low, high)
        if not outside:
            self._most = max(self._most, abs(smooth))
            self._learn(step, smooth, now_s)
        return None

    def _unsettled(self, now_s: float) -> None:
        """The throttle moves, or something is missing: nothing to compare with."""
        self._outside.take(so=False, now_s=now_s)

    def _voltage_is_known(self, now_s: float) -> bool:
        """Take the voltage of now; whether it can be used, or was never there."""
        voltage_v = self._now.value("voltage", now_s)
        if math.isnan(voltage_v):
            return not self._now.ever("voltage")
        if math.isnan(self._voltage_v):  # what was learned blind is in other units
            self._learned = [math.nan] * (STEPS + 1)
            self._count, self._sum = 0, 0.0
        self._voltage_v = voltage_v
        return True

    @property
    def _middle_frac(self) -> float:
        return 0.5 * (self._recent.lowest + self._recent.highest)

    def _drive(self, throttle_frac: float) -> float:
        """What the channel goes with: throttle times voltage to its power."""
        blind = math.isnan(self._voltage_v)
        drive = throttle_frac * (1.0 if blind else self._voltage_v)
        return float(drive**self._kind.power)

    def _expected(self, step: int) -> tuple[float, float]:
        """Lowest and highest that may be read now; infinite while nothing is known."""
        kind, blind = self._kind, math.isnan(self._voltage_v)
        learned = self._learned[step]
        share = kind.blind_share if blind else kind.share
        down, up = 1.0 - share, 1.0 + share
        if math.isnan(learned):
            near = self._nearest(step)
            if near is None:
                return -math.inf, math.inf
            learned = self._learned[near]
            up += kind.guide_share * (max(near, step) / min(near, step) - 1.0)
            down = 1.0 / up
        if learned < 0:
            down, up = up, down
        low = learned * self._drive(self._recent.lowest) * down
        high = learned * self._drive(self._recent.highest) * up
        return low - self._floor, high + self._floor

    def _nearest(self, step: int) -> int | None:
        """The nearest step that was learned; None where there is none."""
        for off in range(1, STEPS):
            for near in (step - off, step + off):
                if GUIDE_STEP <= near <= STEPS and not math.isnan(self._learned[near]):
                    return near
        return None

    def _learn(self, step: int, smooth: float, now_s: float) -> None:
        """Once a step: the mean of what it shows first."""
        if not math.isnan(self._learned[step]):
            return
        if step != self._step:
            self._step, self._sum, self._count, self._since_s = step, 0.0, 0, now_s
        self._sum += smooth / self._drive(self._middle_frac)
        self._count += 1
        if self._count >= LEARN_READINGS and now_s - self._since_s >= LEARN_S:
            self._learned[step] = self._sum / self._count

    def _at_rest(self, value: float, now_s: float) -> Trip | None:
        """With the motor off: current and speed are the business of ``follows``."""
        if self._channel != "thrust":
            self._unsettled(now_s)
            return None
        smooth = self._smooth.take(value, now_s)
        room = max(REST_FLOORS * self._floor, REST_SHARE * self._most)
        if self._outside.take(so=abs(smooth) > room, now_s=now_s):
            return self._trip(smooth, -room, room)
        return None

    def _trip(self, value: float, low: float, high: float) -> Trip:
        shown, unit = to_trade(self._channel, value)
        lowest, _ = to_trade(self._channel, low)
        highest, _ = to_trade(self._channel, high)
        percent = 100 * self._now.throttle_frac
        return Trip(
            check=NAME,
            cause=(
                f"{self._channel} was {brief(shown)} {unit} at {percent:.0f} % "
                f"throttle; going by what this spin showed before, {brief(lowest)} to "
                f"{brief(highest)} {unit} was due."
            ),
            clears=f"{self._channel} is again what the throttle gave before",
            advice=ADVICE[self._channel],
        )

"""Check: while a thrust is held, it goes with the throttle.

A hold moves the throttle by what the load cell says. Where that no longer answers (a
mount that jams, a converter that hangs too coarsely for ``frozen``, a blade that goes,
a cell that drifts) the throttle would creep on to its end. So thrust is compared with
throttle times bus voltage, squared, as both were when this hold began and again when it
had first come to its goal; from then on for as long as it lasts, unlike ``plausible``,
which learns each step of throttle when it comes to it.

Acts 0.5 s after the readings left their margin: half of what was due by the first
throttle, a quarter by the goal. Common practice, no source: a winding that warms up
takes a tenth, a blade that is gone takes a third.
"""

import math
from typing import Final

from protocols.goal import Goal
from protocols.guard.now import Lasting, Now, Smooth
from protocols.guard.trip import Trip
from protocols.limits import brief, to_trade

NAME = "hold"
# The first throttle is held for two seconds, and shows in full after 1.2 s at most.
SETTLED_S: Final = 1.2
FIRST_UNTIL_S: Final = 2.0
FIRST_SHARE: Final = 0.5
# As near as this for so long is at the goal.
NEAR_SHARE: Final = 0.05
NEAR_S: Final = 2.0
GOAL_SHARE: Final = 0.25
LEAST_READINGS: Final = 4
READINGS: Final = 3
LASTING_S: Final = 0.5


class _Learned:
    """A mean of thrust over drive, to be compared with."""

    def __init__(self) -> None:
        self._sum = 0.0
        self._count = 0

    def take(self, ratio: float) -> None:
        """One more."""
        self._sum += ratio
        self._count += 1

    @property
    def value(self) -> float:
        """The mean; NaN before there is enough."""
        if self._count < LEAST_READINGS:
            return math.nan
        return self._sum / self._count


class HoldsCheck:
    """The thrust of one hold, against what it began with."""

    def __init__(self, floor_n: float, now: Now) -> None:
        """Begin.

        Args:
            floor_n: a difference that counts as none.
            now: what is known of this moment.
        """
        self._floor_n = floor_n
        self._now = now
        self._goal: Goal | None = None
        self._since_s = 0.0
        self.hold(None, 0.0)

    def hold(self, goal: Goal | None, now_s: float) -> None:
        """A hold began, or is over."""
        self._goal, self._since_s = goal, now_s
        self._first, self._near = _Learned(), _Learned()
        self._at_goal_s = math.nan
        self._known = False
        self._thrust, self._voltage = Smooth(), Smooth()
        self._outside = Lasting(READINGS, LASTING_S)

    def thrust(self, thrust_n: float, now_s: float) -> Trip | None:
        """A reading of the thrust; one that is no number shows nothing."""
        voltage_v = self._now.value("voltage", now_s)
        if self._goal is None or not math.isfinite(thrust_n + voltage_v):
            return None
        smooth_n = self._thrust.take(thrust_n, now_s)
        bus_v = self._voltage.take(voltage_v, now_s)
        self._learn(smooth_n, bus_v, self._goal, now_s)
        low_n, high_n = self._due(bus_v)
        outside = not low_n <= smooth_n <= high_n
        if self._outside.take(so=outside, now_s=now_s):
            return self._trip(smooth_n, bus_v, low_n, high_n)
        return None

    def _learn(self, thrust_n: float, bus_v: float, goal: Goal, now_s: float) -> None:
        recent, into_s = self._now.slow, now_s - self._since_s
        drive = 0.5 * (recent.lowest + recent.highest) * bus_v
        if self._known or drive <= 0 or into_s < SETTLED_S:
            return
        ratio = thrust_n / drive**2
        if into_s <= FIRST_UNTIL_S:
            self._first.take(ratio)
        if abs(thrust_n / goal.thrust_n - 1.0) > NEAR_SHARE:
            self._at_goal_s, self._near = math.nan, _Learned()
            return
        if math.isnan(self._at_goal_s):
            self._at_goal_s = now_s
        self._near.take(ratio)
        self._known = now_s - self._at_goal_s >= NEAR_S and self._near.value > 0

    def _due(self, bus_v: float) -> tuple[float, float]:
        """Lowest and highest that may be read now; infinite while nothing is known."""
        learned = self._near if self._known else self._first
        share = GOAL_SHARE if self._known else FIRST_SHARE
        if math.isnan(learned.value):
            return -math.inf, math.inf
        recent, ratio = self._now.slow, max(learned.value, 0.0)
        low_n = (1.0 - share) * ratio * (recent.lowest * bus_v) ** 2
        high_n = ratio * (recent.highest * bus_v) ** 2 / (1.0 - share)
        return low_n - self._floor_n, high_n + self._floor_n

    def _trip(self, thrust_n: float, bus_v: float, low_n: float, high_n: float) -> Trip:
        shown, unit = to_trade("thrust", thrust_n)
        low, _ = to_trade("thrust", low_n)
        high, _ = to_trade("thrust", high_n)
        percent = 100 * self._now.throttle_frac
        return Trip(
            check=NAME,
            cause=(
                "The thrust that is held does not go with the throttle: "
                f"{brief(shown)} {unit} at {percent:.0f} % and {brief(bus_v)} V, where "
                f"by how this hold began {brief(low)} to {brief(high)} {unit} was due."
            ),
            clears="thrust goes with the throttle again",
            advice=(
                "Look at the propeller first (chipped, loose, a blade gone), then at "
                "the mount and the load cell: does anything touch or jam?"
            ),
        )

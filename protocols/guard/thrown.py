"""Check: the propeller is still on, by current and rpm.

A motor that loses its propeller runs up to its no-load speed and takes next to no
current, within some 30 ms; a load cell would show it later, behind its filter. The
current falls and the rpm rises while the throttle is held or rises: nothing else
does both. Acts within a few readings.

Where no rpm is heard the current alone has to do. It must fall further and for
longer, and the voltage must not have fallen with it: a plug that lets go looks much
the same.
"""

import math

from protocols.guard.now import Lasting
from protocols.guard.steady import Steady
from protocols.guard.trip import Trip
from protocols.limits import brief, to_trade

NAME = "thrown"
CURRENT_SHARE = 0.7
SPEED_SHARE = 1.03
READINGS = 3
# By current alone.
ALONE_SHARE = 0.5
# No more than surely come before what was is led away, however slow the stand.
ALONE_READINGS = 4
ALONE_S = 0.1


class ThrownCheck:
    """Current and speed against what they were at this throttle a moment ago."""

    def __init__(self, rest_a: float, steady: Steady) -> None:
        """Begin.

        Args:
            rest_a: the most that the current may read at rest; a fall by less than
                half of it is none.
            steady: what the readings were while the throttle was held.
        """
        self._fall_a = rest_a / 2
        self._steady = steady
        self._both = Lasting(READINGS, 0.0)
        self._alone = Lasting(ALONE_READINGS, ALONE_S)

    def current(self, current_a: float, now_s: float) -> Trip | None:
        """A reading of the current."""
        steady = self._steady
        was_a = steady.current.was
        fell = current_a < was_a - self._fall_a  # not so while nothing is known
        speed_rad_s = steady.speed.fresh(now_s)
        rose = speed_rad_s > SPEED_SHARE * steady.speed.due
        both = fell and rose and current_a < CURRENT_SHARE * was_a
        if self._both.take(so=both, now_s=now_s):
            return self._trip(current_a, speed_rad_s)
        blind = math.isnan(speed_rad_s) and not steady.supply_failed(now_s)
        alone = blind and fell and current_a < ALONE_SHARE * was_a
        if self._alone.take(so=alone, now_s=now_s):
            return self._trip(current_a, speed_rad_s)
        return None

    def _trip(self, current_a: float, speed_rad_s: float) -> Trip:
        cause = (
            f"At held throttle the current fell from {brief(self._steady.current.was)} "
            f"to {brief(current_a)} A"
        )
        if not math.isnan(speed_rad_s):
            before, unit = to_trade("speed", self._steady.speed.was)
            after, _ = to_trade("speed", speed_rad_s)
            cause += (
                f" while the speed rose from {brief(before)} to {brief(after)} {unit}"
            )
        return Trip(
            check=NAME,
            cause=f"{cause}: as if the propeller had come off.",
            clears="the motor stands still",
            advice=(
                "Cut the power, then look for the propeller, its screws and the shaft; "
                "do not use it again."
            ),
        )

"""The way down after a trip that need not cut: to zero in a straight line."""

from dataclasses import dataclass
from typing import Final

RETREAT_S: Final = 0.4


@dataclass(frozen=True, slots=True)
class Retreat:
    """One ramp to zero throttle.

    Attributes:
        from_frac: throttle where it begins, 0 to 1.
        begun_s: when.
    """

    from_frac: float
    begun_s: float

    def setpoint(self, now_s: float) -> float:
        """Throttle of this moment; never above where it began, zero at the end."""
        left = 1.0 - (now_s - self.begun_s) / RETREAT_S
        return self.from_frac * min(max(left, 0.0), 1.0)

    def over(self, now_s: float) -> bool:
        """Whether it is at zero."""
        return now_s - self.begun_s >= RETREAT_S

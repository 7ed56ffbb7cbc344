"""What a check reports when it acts."""

from dataclasses import dataclass
from enum import StrEnum


class Action(StrEnum):
    """What a trip asks for."""

    CUT = "cut"
    """Throttle zero now, and latch."""
    RAMP_DOWN = "ramp down"
    """Throttle down to zero within half a second, then stop and latch."""


@dataclass(frozen=True, slots=True)
class Trip:
    """A guard acting: the motor stops and stays stopped until acknowledged.

    Attributes:
        check: stable name of the check.
        cause: what was seen, a sentence with figures.
        clears: what has to be true before it can be acknowledged.
        advice: what to look at first.
        action: how the motor is stopped.
    """

    check: str
    cause: str
    clears: str
    advice: str
    action: Action = Action.CUT

    def to_dict(self) -> dict[str, str]:
        """Plain values, ready for JSON."""
        return {
            "check": self.check,
            "cause": self.cause,
            "clears": self.clears,
            "advice": self.advice,
            "action": str(self.action),
        }

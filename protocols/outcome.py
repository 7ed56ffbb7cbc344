"""How a run ended, why, and whether its data are good: three separate facts."""

from dataclasses import dataclass
from enum import StrEnum


class Ended(StrEnum):
    """How a run ended."""

    COMPLETED = "completed"
    STOPPED = "stopped"
    TRIPPED = "tripped"
    FAILED = "failed"


class Data(StrEnum):
    """What the run's data are good for."""

    WHOLE = "whole"
    PARTIAL = "partial"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Outcome:
    """The end of a run.

    Attributes:
        ended: how.
        cause: why, a sentence.
        check: stable name of what acted: a guard's check, a stand's cause, "".
        advice: what to look at first, or "".
        data: what the data are good for.
        stop_confirmed: whether the stand confirmed that the throttle is zero.
    """

    ended: Ended
    cause: str
    check: str
    advice: str
    data: Data
    stop_confirmed: bool

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {
            "ended": str(self.ended),
            "cause": self.cause,
            "check": self.check,
            "advice": self.advice,
            "data": str(self.data),
            "stop_confirmed": self.stop_confirmed,
        }

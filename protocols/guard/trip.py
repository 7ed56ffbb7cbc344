"""What a check reports when it acts."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Trip:
    """A guard acting: throttle zero now, latched until acknowledged.

    Attributes:
        check: stable name of the check.
        cause: what was seen, a sentence with figures.
        clears: what has to be true before it can be acknowledged.
        advice: what to look at first.
    """

    check: str
    cause: str
    clears: str
    advice: str

    def to_dict(self) -> dict[str, str]:
        """Plain values, ready for JSON."""
        return {
            "check": self.check,
            "cause": self.cause,
            "clears": self.clears,
            "advice": self.advice,
        }

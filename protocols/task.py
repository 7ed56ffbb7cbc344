"""What a keeper is asked to do, whole: plan, limits, rules and how to say it again.

Standard library only, as everything that the keeper imports.
"""

import math
from dataclasses import dataclass

from daq.errors import InputFault
from protocols import plain
from protocols.caps import CHANNEL, fits
from protocols.limits import Limit, limits_from_dicts
from protocols.plan import Plan
from protocols.rules import NO_RULES, Rules

NEEDED = "current"  # without a limit on it no motor turns
_KEYS = ("plan", "limits", "nonce", "rules")


@dataclass(frozen=True, slots=True)
class Task:
    """One spin to do.

    Attributes:
        plan: what to do with the motor.
        limits: what must never be exceeded, one a channel, as tight as the plan asks.
        nonce: names the arming; 1 to 65535, another one for every spin.
        rules: what else the guard judges by.
    """

    plan: Plan
    limits: tuple[Limit, ...]
    nonce: int
    rules: Rules = NO_RULES

    def __post_init__(self) -> None:
        if not self.limits:
            raise InputFault("the task has no limits, so nothing would be guarded.")
        if not any(x.channel == NEEDED and math.isfinite(x.high) for x in self.limits):
            raise InputFault(
                f"the task has no upper limit on the {NEEDED}; without one no motor "
                "turns."
            )
        if not fits(self.plan, self.limits):
            raise InputFault(
                f"the plan {self.plan.protocol} caps the {CHANNEL}, and the task has "
                "no limit as tight: the motor would not be held to it."
            )
        if not 1 <= self.nonce <= 0xFFFF:
            raise InputFault(f"the task's nonce is {self.nonce}, not 1 to 65535.")

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {
            "plan": self.plan.to_dict(),
            "limits": [limit.to_dict() for limit in self.limits],
            "nonce": self.nonce,
            "rules": self.rules.to_dict(),
        }

    @classmethod
    def from_dict(cls, data: object) -> "Task":
        """Read what ``to_dict`` wrote, trusting none of it.

        Raises:
            InputFault: a field is missing, unknown, ill-typed or out of bounds.
        """
        row = plain.table(data, "the task", _KEYS)
        return cls(
            plan=Plan.from_dict(row["plan"]),
            limits=limits_from_dicts(plain.rows(row, "limits", "the task")),
            nonce=plain.whole(row, "nonce", "the task"),
            rules=Rules.from_dict(row["rules"]),
        )

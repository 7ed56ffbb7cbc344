"""What a keeper is asked to do, whole: plan, limits, rules and how to say it again.

Standard library only, as everything that the keeper imports.
"""

import math
from dataclasses import dataclass

from daq.errors import InputFault
from daq.link.columns.description import Description, read_description
from protocols import plain, unprotected
from protocols.caps import CHANNEL, fits, unheld_goal
from protocols.limits import Limit, limits_from_dicts
from protocols.plan import Plan
from protocols.rules import NO_RULES, Rules

NEEDED = "current"  # without a limit on it no motor turns
_KEYS = ("plan", "limits", "nonce", "rules")
LINES = "lines"  # only of stands that print them


def description_in(task: object) -> Description | None:
    """The stand's description in a task as it was kept; None where it needs none.

    Raises:
        InputFault: there is one, but it cannot be read.
    """
    text = task.get(LINES) if isinstance(task, dict) else None
    if text is None:
        return None
    return read_description(str(text), "the task's description of its stand")


@dataclass(frozen=True, slots=True)
class Task:
    """One spin to do.

    Attributes:
        plan: what to do with the motor.
        limits: what must never be exceeded, one a channel, as tight as the plan asks.
        nonce: names the arming; 1 to 65535, another one for every spin.
        rules: what else the guard judges by.
        lines: description (TOML) of a stand that prints lines; "" for any other.
    """

    plan: Plan
    limits: tuple[Limit, ...]
    nonce: int
    rules: Rules = NO_RULES
    lines: str = ""

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
        unheld = unheld_goal(self.plan, self.limits)
        if unheld is not None:
            raise InputFault(unheld)
        if not 1 <= self.nonce <= 0xFFFF:
            raise InputFault(f"the task's nonce is {self.nonce}, not 1 to 65535.")
        if self.stand is not None:
            objection = unprotected.objection(self.plan, self.stand)
            if objection is not None:
                raise InputFault(objection)

    @property
    def stand(self) -> Description | None:
        """What is known of a stand that prints lines; None for any other.

        Raises:
            InputFault: its description cannot be read.
        """
        return description_in({LINES: self.lines}) if self.lines else None

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        row: dict[str, object] = {
            "plan": self.plan.to_dict(),
            "limits": [limit.to_dict() for limit in self.limits],
            "nonce": self.nonce,
            "rules": self.rules.to_dict(),
        }
        return row | ({LINES: self.lines} if self.lines else {})

    @classmethod
    def from_dict(cls, data: object) -> "Task":
        """Read what ``to_dict`` wrote, trusting none of it.

        Raises:
            InputFault: a field is missing, unknown, ill-typed or out of bounds.
        """
        more = (LINES,) if isinstance(data, dict) and LINES in data else ()
        row = plain.table(data, "the task", (*_KEYS, *more))
        return cls(
            plan=Plan.from_dict(row["plan"]),
            limits=limits_from_dicts(plain.rows(row, "limits", "the task")),
            nonce=plain.whole(row, "nonce", "the task"),
            rules=Rules.from_dict(row["rules"]),
            lines=plain.text(row, LINES, "the task") if more else "",
        )

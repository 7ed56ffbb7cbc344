"""What a hold is to keep up: a thrust, within which throttles, down to which voltage.

Part of a plan, so checked whole when it is made. It must never leave open how far
the throttle may go by itself.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

from daq.errors import InputFault
from protocols import plain


@dataclass(frozen=True, slots=True)
class Goal:
    """A thrust that is held until a voltage is reached.

    Attributes:
        thrust_n: what is held, above zero.
        lowest_frac: the least throttle that it may use, above 0.
        highest_frac: the most, up to 1.
        floor_v: bus voltage under load at which the hold ends; above zero.

    Raises:
        InputFault: these figures describe no possible goal.
    """

    thrust_n: float
    lowest_frac: float
    highest_frac: float
    floor_v: float

    def __post_init__(self) -> None:
        for key in ("thrust_n", "floor_v"):
            value = getattr(self, key)
            if not (math.isfinite(value) and value > 0):
                raise InputFault(f"a hold's {key} is {value}; it must be above zero.")
        low, high = self.lowest_frac, self.highest_frac
        if not (math.isfinite(low) and math.isfinite(high) and 0 < low < high <= 1):
            raise InputFault(
                f"a hold may use throttles from {low} to {high}; they must rise, from "
                "above 0 to at most 1."
            )

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {item.name: getattr(self, item.name) for item in fields(self)}

    @classmethod
    def from_dict(cls, data: object, where: str) -> "Goal":
        """Read what ``to_dict`` wrote, trusting none of it.

        Raises:
            InputFault: naming ``where``, and the field that is wrong.
        """
        row: Mapping[str, object] = plain.table(data, where, _KEYS)
        return cls(*(plain.number(row, key, where) for key in _KEYS))


_KEYS = tuple(item.name for item in fields(Goal))

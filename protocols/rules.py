"""What the guard needs to know besides limits: bursts, budgets, temperatures.

Limits bound one sample; the figures here bound what only adds up over time or needs
the article to be known. They stay on the host: no stand is asked to hold them. A
figure that nobody gave is None, and what rests on it is not judged. Standard library
only, since the keeper reads these.

Where no source is named, a figure here is common practice and has none.
"""

import math
from collections.abc import Collection
from dataclasses import dataclass, fields
from typing import Final

from daq.errors import InputFault
from protocols import plain
from protocols.rated import ASSUMED_BURST_S, Part, Ratings, parts_of

# The rest of a pack's charge is where cells die and voltage falls off a cliff.
USABLE_CHARGE = 0.8
# What energy on a pack's label is reckoned with.
NOMINAL_CELL_V = 3.7
# A part whose maker gives a figure for seconds only: half the current is a quarter
# of the heat.
CONTINUOUS_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Burst:
    """A part's rating for seconds.

    Attributes:
        part: plug, ESC, motor.
        continuous_a: held for as long as one likes.
        short_a: held for ``short_s``, after a rest.
        short_s: how long that is.
        source: where the figures come from, in words.

    Raises:
        InputFault: a figure is none, or leaves nothing to count.
    """

    part: str
    continuous_a: float
    short_a: float
    short_s: float
    source: str

    def __post_init__(self) -> None:
        if not self.part or not self.source:
            raise InputFault("a burst must name its part and its source.")
        for key in ("continuous_a", "short_a", "short_s"):
            _above_zero(f"{key} of the {self.part}'s burst", getattr(self, key))
        if not self.short_a > self.continuous_a:
            raise InputFault(
                f"the {self.part}'s burst of {self.short_a} A does not lie above its "
                f"continuous {self.continuous_a} A."
            )

    @property
    def budget_a2s(self) -> float:
        """What the rating allows, counted above the continuous current."""
        return (self.short_a**2 - self.continuous_a**2) * self.short_s

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {item.name: getattr(self, item.name) for item in fields(self)}

    @classmethod
    def from_dict(cls, data: object) -> "Burst":
        """Read what ``to_dict`` wrote, trusting none of it.

        Raises:
            InputFault: a field is missing, unknown, ill-typed or out of bounds.
        """
        row = plain.table(data, "a burst", tuple(item.name for item in fields(cls)))
        return cls(
            part=plain.text(row, "part", "a burst"),
            continuous_a=plain.number(row, "continuous_a", "a burst"),
            short_a=plain.number(row, "short_a", "a burst"),
            short_s=plain.number(row, "short_s", "a burst"),
            source=plain.text(row, "source", "a burst"),
        )


@dataclass(frozen=True, slots=True)
class Rules:
    """What the guard judges by besides limits; None where nobody knows.

    Attributes:
        bursts: ratings for seconds, each counted by itself.
        charge_c: most charge that this spin may take from the pack.
        energy_j: most energy likewise.
        winding_max_k: the hottest the winding may get.
        esc_max_k: the hottest the ESC may get.
        speed_per_volt_rad_s: Kv in SI; what the rotor cannot outrun.
        propeller_on: a propeller is on the shaft, so thrust is due.

    Raises:
        InputFault: a figure is not above zero, or a part has two bursts.
    """

    bursts: tuple[Burst, ...] = ()
    charge_c: float | None = None
    energy_j: float | None = None
    winding_max_k: float | None = None
    esc_max_k: float | None = None
    speed_per_volt_rad_s: float | None = None
    propeller_on: bool = True

    def __post_init__(self) -> None:
        for key in _FIGURES:
            value = getattr(self, key)
            if value is not None:
                _above_zero(f"the rule {key}", value)
        parts = [burst.part for burst in self.bursts]
        if len(set(parts)) < len(parts):
            raise InputFault(f"a part has two bursts among {', '.join(parts)}.")

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        figures = {key: getattr(self, key) for key in _FIGURES}
        return {
            "bursts": [burst.to_dict() for burst in self.bursts],
            **figures,
            "propeller_on": self.propeller_on,
        }

    @classmethod
    def from_dict(cls, data: object) -> "Rules":
        """Read what ``to_dict`` wrote, trusting none of it.

        Raises:
            InputFault: a field is missing, unknown, ill-typed or out of bounds.
        """
        keys = ("bursts", *_FIGURES, "propeller_on")
        row = plain.table(data, "the rules", keys)
        figures = {
            key: None if row[key] is None else plain.number(row, key, "the rules")
            for key in _FIGURES
        }
        bursts = plain.rows(row, "bursts", "the rules")
        if not isinstance(row["propeller_on"], bool):
            raise InputFault("the rules: propeller_on must be true or false.")
        return cls(
            bursts=tuple(Burst.from_dict(burst) for burst in bursts),
            propeller_on=row["propeller_on"],
            **figures,
        )


_FIGURES: Final = (
    "charge_c",
    "energy_j",
    "winding_max_k",
    "esc_max_k",
    "speed_per_volt_rad_s",
)


def _above_zero(what: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise InputFault(f"{what} is {value}; it must be above zero.")


NO_RULES: Final = Rules()


def derive_rules(
    ratings: Ratings, timed: Collection[str] = (), *, propeller_on: bool = True
) -> Rules:
    """Rules for an article: bursts, budgets and temperatures.

    Args:
        ratings: what the parts can bear.
        timed: parts whose short-time rating may be used, as in ``limits.derive``.
        propeller_on: whether the plan is for a motor with its propeller.

    Raises:
        InputFault: a part in ``timed`` has no short-time rating.
    """
    charge_c = energy_j = None
    if ratings.pack_capacity_c is not None:
        charge_c = USABLE_CHARGE * ratings.pack_capacity_c
        if ratings.pack_cells is not None:
            energy_j = charge_c * ratings.pack_cells * NOMINAL_CELL_V
    parts = parts_of(ratings, timed)
    return Rules(
        bursts=tuple(_burst(part) for part in parts if part.timed),
        charge_c=charge_c,
        energy_j=energy_j,
        winding_max_k=ratings.winding_max_k,
        esc_max_k=ratings.esc_max_k,
        speed_per_volt_rad_s=ratings.speed_per_volt_rad_s,
        propeller_on=propeller_on,
    )


def _burst(part: Part) -> Burst:
    """The burst of a part in use for a short time, what is assumed in its words."""
    short_a = part.short_a or 0.0
    continuous_a, source = part.continuous_a, part.short_words
    if continuous_a is None:
        continuous_a = CONTINUOUS_SHARE * short_a
        source += f", continuous rating unknown and taken as {continuous_a:g} A"
    else:
        source += f", continuous {continuous_a:g} A"
    return Burst(
        part.name, continuous_a, short_a, part.short_s or ASSUMED_BURST_S, source
    )

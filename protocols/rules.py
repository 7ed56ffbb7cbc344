"""What the guard needs to know besides limits: bursts, budgets, temperatures.

Limits bound one sample; the figures here bound what only adds up over time or needs
the article to be known. They stay on the host: no stand is asked to hold them. A
figure that nobody gave is None, and what rests on it is not judged. Standard library
only, since the keeper reads these.

Where no source is named, a figure here is common practice and has none.
"""

import math
from collections.abc import Collection, Mapping
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
# A contact carries for a while twice what it is rated for.
PLUG_OVER_RATED = 2.0
# What a contact in order has at most where its maker does not say.
PLUG_CONTACT_OHM = 1e-3
# A watt in each pole leaves the smallest plug (1.5 g, 35 K/W) below 100 degrees.
PLUG_LEAST_HEAT_W = 1.0
# Each pole of a plug that nobody rated.
PLUG_USUAL_HEAT_W = 2.0
# Polyamide around contacts bears this; what the contacts had when they were cold.
PLUG_HOTTEST_K = 378.15
PLUG_COLD_K = 293.15


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
        plug_max_k: the hottest the plug may get.
        plug_heat_w: most heat that each of its poles may have for long.

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
    plug_max_k: float | None = None
    plug_heat_w: float | None = None

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
        if isinstance(data, Mapping):  # a record from before these were guarded
            data = dict.fromkeys(_LATER) | dict(data)
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
    "plug_max_k",
    "plug_heat_w",
    "speed_per_volt_rad_s",
)
_LATER: Final = ("plug_max_k", "plug_heat_w")


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
        plug_max_k=ratings.plug_max_k,
        plug_heat_w=plug_heat(ratings, timed)[0],
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


def plug_heat(ratings: Ratings, timed: Collection[str] = ()) -> tuple[float, str]:
    """The most heat that a pole of the plug may have for long, and why so much.

    What its maker's current makes in a contact in order, with the lead that is read
    along with it; for a while a contact bears twice its rated current, or what is
    asked for by name.

    Args:
        ratings: what the parts can bear.
        timed: parts whose short-time rating is in use.

    Returns:
        In watt, and in words.
    """
    rated_a = ratings.plug_current_a
    if rated_a is None:
        return PLUG_USUAL_HEAT_W, "usual for a plug that nobody rated"
    carried_a, words = PLUG_OVER_RATED * rated_a, f"twice its rated {rated_a:g} A"
    short_a = ratings.plug_short_a or 0.0
    if "plug" in timed and short_a > carried_a:
        carried_a, words = short_a, f"{short_a:g} A for seconds"
    contact_ohm = ratings.plug_contact_ohm
    ohm = contact_ohm or PLUG_CONTACT_OHM
    lead_ohm = ratings.plug_lead_ohm or 0.0
    heat_w = carried_a**2 * (ohm + lead_ohm)
    if heat_w < PLUG_LEAST_HEAT_W:
        return PLUG_LEAST_HEAT_W, "which the smallest plug bears"
    what = "a usual" if contact_ohm is None else "its data sheet's"
    with_lead = " and the lead between its sense wires" if lead_ohm else ""
    return heat_w, f"{words} in {what} contact of {1e3 * ohm:g} milliohm{with_lead}"

"""What the parts on a stand can bear, and which of them for a short time only.

Figures as their makers give them, in SI. It must never fill in a rating that nobody
gave; what has to be assumed is assumed where it is used, and said there. Standard
library only, since the keeper reads limits.
"""

import math
from collections.abc import Collection
from dataclasses import dataclass, fields

from daq.errors import InputFault

# Makers that print a burst without its time mean seconds. Common practice, no source.
ASSUMED_BURST_S = 10.0

# Where a person writes the short-time rating of a part, for the sentence.
_KEYS = {
    "plug": "plug.short_a and plug.short_s",
    "motor": "motor.short_current_a and motor.short_s",
    "esc": "esc.burst_a and esc.burst_s",
}
PARTS = tuple(_KEYS)
_WORDS = {"plug": "plug", "motor": "motor", "esc": "ESC"}


@dataclass(frozen=True, slots=True)
class Ratings:
    """What the parts on the stand can bear, SI; None where nobody knows.

    Attributes:
        motor_max_current_a: held for as long as one likes.
        motor_short_current_a: for ``motor_short_s`` only.
        motor_short_s: how long that is.
        esc_continuous_a: the speed controller, for as long as one likes.
        esc_burst_a: the speed controller, for ``esc_burst_s`` or, without it, seconds.
        esc_burst_s: how long that is.
        plug_current_a: the plug, for as long as one likes.
        plug_short_a: the plug, for ``plug_short_s`` only.
        plug_short_s: how long that is.
        plug_contact_ohm: what a contact of the plug has at most, by its data sheet.
        plug_lead_ohm: lead that is read along with it.
        plug_max_k: the hottest the plug may get.
        pack_max_current_a: C rate times capacity.
        pack_cells: cells in series; None where a supply feeds.
        pack_min_cell_v: lowest a cell may sag to under load.
        pack_max_cell_v: a full cell.
        pack_capacity_c: rated charge.
        supply_v: a bench supply as set; None where a pack feeds.
        supply_current_a: where it limits its current.
        propeller_max_speed_rad_s: the propeller's own limit.
        no_load_speed_rad_s: Kv times the source at rest.
        speed_per_volt_rad_s: Kv.
        load_cell_range_n: rated load of the stand's load cell.
        winding_max_k: the hottest the winding may get.
        esc_max_k: the hottest the speed controller may get.

    Raises:
        InputFault: a rating is not above zero.
    """

    motor_max_current_a: float | None = None
    motor_short_current_a: float | None = None
    motor_short_s: float | None = None
    esc_continuous_a: float | None = None
    esc_burst_a: float | None = None
    esc_burst_s: float | None = None
    plug_current_a: float | None = None
    plug_short_a: float | None = None
    plug_short_s: float | None = None
    plug_contact_ohm: float | None = None
    plug_lead_ohm: float | None = None
    plug_max_k: float | None = None
    pack_max_current_a: float | None = None
    pack_cells: int | None = None
    pack_min_cell_v: float = 3.3
    pack_max_cell_v: float = 4.2
    pack_capacity_c: float | None = None
    supply_v: float | None = None
    supply_current_a: float | None = None
    propeller_max_speed_rad_s: float | None = None
    no_load_speed_rad_s: float | None = None
    speed_per_volt_rad_s: float | None = None
    load_cell_range_n: float | None = None
    winding_max_k: float | None = None
    esc_max_k: float | None = None

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise InputFault(
                    f"the rating {item.name} is {value}; it must be above zero."
                )


@dataclass(frozen=True, slots=True)
class Part:
    """The current that one part carries, for ever and for a while.

    Attributes:
        name: as a person reads it.
        continuous_a: held for as long as one likes; None where nobody knows.
        short_a: held for ``short_s``; None without such a rating.
        short_s: how long that is; None with ``short_a`` where its maker is silent.
        timed: the short-time rating is in use, so somebody has to count.
    """

    name: str
    continuous_a: float | None
    short_a: float | None
    short_s: float | None
    timed: bool

    @property
    def short_words(self) -> str:
        """The short-time rating in words."""
        if self.short_s is None:
            return (
                f"{self.name} burst of {self.short_a:g} A, taken for "
                f"{ASSUMED_BURST_S:g} s"
            )
        return f"{self.name} {self.short_a:g} A for {self.short_s:g} s"


def parts_of(ratings: Ratings, timed: Collection[str] = ()) -> tuple[Part, ...]:
    """Plug, motor and ESC, and for each whether its short-time rating is in use.

    It is where a part has no other, and where a person asked for it.

    Args:
        ratings: what the parts can bear.
        timed: of ``PARTS``, those whose short-time rating may be used.

    Raises:
        InputFault: ``timed`` names a part that is not there, or one without a
            short-time rating above its continuous one.
    """
    r = ratings
    rated = {
        "plug": (r.plug_current_a, r.plug_short_a, r.plug_short_s),
        "motor": (r.motor_max_current_a, r.motor_short_current_a, r.motor_short_s),
        "esc": (r.esc_continuous_a, r.esc_burst_a, r.esc_burst_s),
    }
    for name in timed:
        if name not in rated:
            raise InputFault(
                f"{name!r} has no timed limit; choose from {', '.join(PARTS)}."
            )
        _check_timed(name, *rated[name])
    return tuple(
        Part(
            name=_WORDS[name],
            continuous_a=continuous_a,
            short_a=short_a,
            short_s=short_s,
            timed=name in timed or (continuous_a is None and short_a is not None),
        )
        for name, (continuous_a, short_a, short_s) in rated.items()
    )


def _check_timed(
    name: str, continuous_a: float | None, short_a: float | None, short_s: float | None
) -> None:
    """A person who asks for a short-time rating has to know it."""
    if short_a is None or short_s is None:
        raise InputFault(
            f"the {_WORDS[name]} cannot be timed without a short-time rating: add "
            f"{_KEYS[name]} to the article's file."
        )
    if continuous_a is not None and short_a <= continuous_a:
        raise InputFault(
            f"the {_WORDS[name]} cannot be timed: its short-time {short_a:g} A does "
            f"not lie above its continuous {continuous_a:g} A."
        )

"""Check masses and coins as a person writes them down, and the forces they make.

A file names each mass with how well it is known (a class of OIML R 111, what a balance
said, or a bound), coins by their mint, the lever between masses and thrust, and where
the stand is. What the file does not say is taken with an uncertainty that covers it,
and said. Nothing here is measured.
"""

import math
from pathlib import Path
from typing import Annotated, Final, Literal

import numpy as np
from pydantic import Field, model_validator

from daq.calibration.gravity import (
    ROOT_3,
    Gravity,
    gravity_anywhere,
    local_gravity,
)
from daq.calibration.reference import GRAVITY, Array, Level, Piece, Reference
from daq.calibration.weights import (
    COIN_DENSITY,
    WEIGHT_DENSITY,
    coin,
    permissible_error_g,
)
from daq.errors import InputFault
from daq.typed_toml import Table, check_typed, read_typed

GRAM_KG = 1e-3
# Air buoys up a weight: R 111's convention has air of 1.2 kg/m^3. Air is thinner on a
# mountain and a coin's metal is not a weight's: a third of the effect, as a bound.
AIR_DENSITY: Final = 1.2
BUOYANCY_SHARE: Final = 1.0 / 3.0
# How much of what a class or a mint allows its pieces have in common: the same maker
# adjusts to the same side, and coins of one roll come of one sheet. Half of the
# variance (common practice, no source).
COMMON_SHARE: Final = 0.5
# A mass set down by hand where the file says nothing of a lever: within 1 mm of the
# thrust axis on an arm of 100 mm (common practice, no source). A bound.
UNSAID_LEVER_REL: Final = 0.01
MOST_PIECES: Final = 40

Name = Annotated[str, Field(min_length=1, max_length=60)]
PositiveG = Annotated[float, Field(gt=0, le=20_000)]


class Mass(Table):
    """A mass.

    Attributes:
        name: what is written on it.
        mass_g: what it is.
        oiml_class: its class, where it has one.
        u_g: standard uncertainty, where a balance said what it is.
        tolerance_g: plus or minus, where that is all that is known.
        balance: which balance said so; what it reads too much or too little all
            that it weighed share.
        balance_u_percent: standard uncertainty of that balance's scale.
    """

    name: Name
    mass_g: PositiveG
    oiml_class: str | None = None
    u_g: PositiveG | None = None
    tolerance_g: PositiveG | None = None
    balance: Name | None = None
    balance_u_percent: Annotated[float, Field(ge=0, le=20)] | None = None

    @model_validator(mode="after")
    def _is_known_somehow(self) -> "Mass":
        said = [self.oiml_class, self.u_g, self.tolerance_g]
        if sum(known is not None for known in said) != 1:
            raise ValueError(
                f'"{self.name}" needs one of oiml_class, u_g and tolerance_g: how well '
                "it is known"
            )
        if self.balance is not None and self.u_g is None:
            raise ValueError(f'"{self.name}" names a balance without u_g')
        if self.balance_u_percent is not None and self.balance is None:
            raise ValueError(f'"{self.name}" gives balance_u_percent without a balance')
        return self


class Coins(Table):
    """Coins of one kind, new and clean.

    Attributes:
        coin: currency and coin, such as "EUR 2 euro".
        count: how many.
        batch: how many are set down at a time.
    """

    coin: Name
    count: Annotated[int, Field(ge=1, le=500)]
    batch: Annotated[int, Field(ge=1, le=500)] | None = None


class Lever(Table):
    """The lever between where masses hang and where thrust acts.

    Attributes:
        mass_arm_mm: from the pivot or the cell to the masses.
        thrust_arm_mm: from there to the thrust axis.
        u_mm: standard uncertainty of each.
    """

    mass_arm_mm: Annotated[float, Field(gt=1, le=5000)]
    thrust_arm_mm: Annotated[float, Field(gt=1, le=5000)]
    u_mm: Annotated[float, Field(gt=0, le=50)]


class Place(Table):
    """Where the stand is, or its gravity as somebody measured it."""

    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = None
    height_m: Annotated[float, Field(ge=-500, le=6000)] | None = None
    g_m_s2: float | None = None
    u_m_s2: Annotated[float, Field(gt=0, lt=0.1)] | None = None

    @model_validator(mode="after")
    def _is_one_of_both(self) -> "Place":
        if (self.latitude_deg is None) == (self.g_m_s2 is None):
            raise ValueError("needs latitude_deg, or g_m_s2 with u_m_s2, and not both")
        if (self.g_m_s2 is None) != (self.u_m_s2 is None):
            raise ValueError("gives g_m_s2 and u_m_s2 only together")
        return self

    def gravity(self) -> Gravity:
        """What it comes to.

        Raises:
            InputFault: there is no such place.
        """
        if self.latitude_deg is not None:
            return local_gravity(self.latitude_deg, self.height_m)
        return Gravity(self.g_m_s2 or math.nan, self.u_m_s2 or 0.0, "as measured")


class Standards(Table):
    """A whole standards file.

    Attributes:
        format: version of this layout.
        name: what a person calls the set.
        simulated: true where it exists only as a simulation.
        mass: masses, lightest first for the best steps.
        coins: coins.
        order: whether each is set down on top of what is there, or by itself.
        pushes: whether a mass pushes as thrust does, or against it.
        lever: None where masses press on the thrust axis itself.
        on_axis: true where that was looked at.
        gravity: where the stand is.
        temperature_c: of the room.
    """

    format: Literal[1]
    name: Name
    simulated: bool = False
    mass: list[Mass] = Field(default_factory=list)
    coins: list[Coins] = Field(default_factory=list)
    order: Literal["stacked", "one at a time"] = "stacked"
    pushes: Literal["with thrust", "against thrust"] = "with thrust"
    lever: Lever | None = None
    on_axis: bool = False
    gravity: Place | None = None
    temperature_c: Annotated[float, Field(ge=-20, le=60)] | None = None

    @model_validator(mode="after")
    def _has_masses(self) -> "Standards":
        names = [mass.name for mass in self.mass]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f'two masses are called "{twice}"; name them apart')
        if not (self.mass or self.coins):
            raise ValueError("there is no [[mass]] and no [[coins]]")
        if self.on_axis and self.lever is not None:
            raise ValueError("gives on_axis and a [lever]; take one of them out")
        return self


class _Pile:
    """Pieces with what each may be wrong by, and what they share."""

    def __init__(self) -> None:
        self.pieces: list[Piece] = []
        self.own_g: list[float] = []
        self.shared_g: list[dict[str, float]] = []
        self.told: list[dict[str, object]] = []

    def add(
        self, name: str, mass_g: float, own_g: float, shared: dict[str, float], why: str
    ) -> None:
        u_g = math.hypot(own_g, *shared.values())
        self.pieces.append(Piece(name, mass_g, u_g, "g"))
        self.own_g.append(own_g)
        self.shared_g.append(shared)
        self.told.append({"name": name, "mass_g": mass_g, "u_g": u_g, "source": why})

    def factor_g(self) -> Array:
        """Errors of the pieces, shape (pieces, own and shared causes)."""
        names = list(dict.fromkeys(name for row in self.shared_g for name in row))
        shared = [[row.get(name, 0.0) for name in names] for row in self.shared_g]
        table = np.array(shared, dtype=np.float64).reshape(len(self.own_g), len(names))
        return np.concatenate((np.diag(np.array(self.own_g)), table), axis=1)


def _add_mass(pile: _Pile, mass: Mass) -> None:
    if mass.oiml_class is not None:
        bound_g = permissible_error_g(mass.mass_g, mass.oiml_class)
        why = f"class {mass.oiml_class}, OIML R 111-1: within {1e3 * bound_g:g} mg"
        own, shared = _split(bound_g / ROOT_3)
        pile.add(mass.name, mass.mass_g, own, {f"class {mass.oiml_class}": shared}, why)
        return
    if mass.tolerance_g is not None:
        u_g = mass.tolerance_g / ROOT_3
        why = f"within {mass.tolerance_g:g} g, as its owner says"
        pile.add(mass.name, mass.mass_g, u_g, {}, why)
        return
    u_g = mass.u_g or 0.0
    if mass.balance is None:
        pile.add(mass.name, mass.mass_g, u_g, {}, "as its owner says")
        return
    cause = f"balance {mass.balance}"
    why = f"weighed on the {mass.balance}"
    if mass.balance_u_percent is None:
        # What the balance reads wrong it reads wrong each time (GUM F.1.2).
        pile.add(mass.name, mass.mass_g, 0.0, {cause: u_g}, why)
        return
    share_g = mass.balance_u_percent / 100.0 * mass.mass_g
    pile.add(mass.name, mass.mass_g, u_g, {cause: share_g}, why)


def _split(u: float) -> tuple[float, float]:
    """What is a piece's own, and what it has in common with its like."""
    return math.sqrt(1.0 - COMMON_SHARE) * u, math.sqrt(COMMON_SHARE) * u


def _add_coins(pile: _Pile, coins: Coins) -> None:
    known = coin(coins.coin)
    batch = coins.batch or max(1, math.ceil(coins.count / 5))
    own, shared = _split(known.bound_g / ROOT_3)
    published = "" if known.tolerance_g is not None else " (none is published: taken)"
    why = (
        f"{known.source}: {known.mass_g:g} g, within {known.bound_g:g} g a coin"
        f"{published}"
    )
    for first in range(0, coins.count, batch):
        n = min(batch, coins.count - first)
        name = f"{n} x {known.name} ({first + 1} to {first + n})"
        cause = {f"mint of {known.name}": n * shared}
        pile.add(name, n * known.mass_g, math.sqrt(n) * own, cause, why)


def masses_of(standards: Standards) -> Reference:
    """The forces that a set of masses makes on the thrust axis.

    Raises:
        InputFault: a class, coin or place that there is not, or too many pieces.
    """
    pile = _Pile()
    for mass in standards.mass:
        _add_mass(pile, mass)
    for coins in standards.coins:
        _add_coins(pile, coins)
    count = len(pile.pieces)
    if count > MOST_PIECES:
        raise InputFault(
            f"{standards.name}: {count} pieces are too many to set down one by one; "
            f"give a larger batch, so that there are {MOST_PIECES} at most."
        )
    made_of = np.eye(count)
    if standards.order == "stacked":
        made_of = np.tril(np.ones((count, count)))
    gravity = gravity_anywhere()
    if standards.gravity is not None:
        gravity = standards.gravity.gravity()
    ratio, ratio_u_rel, lever = _lever(standards)
    sign = 1.0 if standards.pushes == "with thrust" else -1.0
    density = COIN_DENSITY if standards.coins else WEIGHT_DENSITY
    buoyancy = AIR_DENSITY / density
    # Newton on the thrust axis for one gram.
    per_g = sign * GRAM_KG * gravity.value_m_s2 * (1.0 - buoyancy) * ratio
    mass_g = made_of @ np.array([piece.value for piece in pile.pieces])
    force_n = per_g * mass_g
    gain_u_rel = math.hypot(ratio_u_rel, buoyancy * BUOYANCY_SHARE / ROOT_3)
    names = _names(pile.pieces, made_of)
    return Reference(
        levels=tuple(
            Level(name, float(force), tuple(row))
            for name, force, row in zip(names, force_n, made_of.tolist(), strict=True)
        ),
        causes={
            "standards": per_g * made_of @ pile.factor_g(),
            "gain": (gain_u_rel * force_n)[:, np.newaxis],
            GRAVITY: (gravity.u_rel * force_n)[:, np.newaxis],
        },
        pieces=tuple(pile.pieces),
        si_per_piece_unit=per_g,
        told=tuple(pile.told),
        facts={
            "set": standards.name,
            "simulated": standards.simulated,
            "order": standards.order,
            "pushes": standards.pushes,
            "gravity_m_s2": gravity.value_m_s2,
            "gravity_u_m_s2": gravity.u_m_s2,
            "gravity_source": gravity.source,
            "lever_ratio": ratio,
            "lever_u": ratio * ratio_u_rel,
            "lever_source": lever,
            "buoyancy": buoyancy,
            "temperature_c": standards.temperature_c,
        },
        cautions=_cautions(standards, mass_g, pile),
    )


def _lever(standards: Standards) -> tuple[float, float, str]:
    """Ratio from force at the masses to force on the thrust axis, and how good."""
    lever = standards.lever
    if lever is None:
        if standards.on_axis:
            return 1.0, 0.0, "masses press on the thrust axis, as their owner says"
        return 1.0, UNSAID_LEVER_REL / ROOT_3, "none said: within 1 % of 1 taken"
    u_rel = lever.u_mm * math.hypot(1.0 / lever.mass_arm_mm, 1.0 / lever.thrust_arm_mm)
    words = f"arms of {lever.mass_arm_mm:g} mm and {lever.thrust_arm_mm:g} mm"
    return lever.mass_arm_mm / lever.thrust_arm_mm, u_rel, words


def _names(pieces: list[Piece], made_of: Array) -> list[str]:
    names = []
    for row in made_of:
        total = sum(p.value * share for p, share in zip(pieces, row, strict=True))
        names.append(f"{total:g} g")
    return names


def _cautions(standards: Standards, mass_g: Array, pile: _Pile) -> tuple[str, ...]:
    said = []
    if standards.gravity is None:
        said.append(
            "It is not said where the stand is, so gravity is only known to 0.21 %: "
            "give latitude_deg under [gravity], and it is 0.01 %."
        )
    if standards.lever is None and not standards.on_axis:
        said.append(
            "Nothing is said of a lever between masses and thrust, so 0.58 % is taken "
            "for it: measure both arms and give [lever], or say on_axis = true."
        )
    if standards.coins:
        factor = pile.factor_g().sum(axis=0)
        u_percent = 100.0 * float(np.sqrt(factor @ factor)) / float(mass_g.max())
        said.append(
            f"Coins by their mints' figures: together known to {u_percent:.1f} %. A "
            "100 g weight of class M2 costs little and is known to 0.01 %."
        )
    return tuple(said)


def read_standards(path: Path) -> Standards:
    """Read a standards file.

    Raises:
        InputFault: naming file, key, fault and what is allowed.
    """
    return read_typed(path, Standards)


def standards_from(data: dict[str, object], where: str) -> Standards:
    """Check standards that were read already.

    Raises:
        InputFault: as ``read_standards``.
    """
    return check_typed(data, Standards, where)

"""What an article is meant to fly on, and how well that is known.

Weight, electronics and pack as their owner wrote them down, each with what such a
figure is usually worth. Nothing here flies.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from daq.analysis.measured import Measured, stated
from daq.units import gf_to_n

#: A kitchen scale (common practice, no source): half of its last gram, and a share.
SCALE_U_G: Final = 0.5
SCALE_U_REL: Final = 0.002
#: Electronics are known from a data sheet or one reading (common practice, no source).
ELECTRONICS_U_REL: Final = 0.15
#: Mean open-circuit voltage of a lithium polymer cell from full to a fifth left, and
#: the share of its rated charge that is flown (common practice, no source).
FLOWN_CELL_V: Final = (3.88, 0.04)
FLOWN_SHARE: Final = (0.80, 0.03)
#: What a pack really holds against what is printed (common practice, no source).
CAPACITY_U_REL: Final = 0.05


@dataclass(frozen=True, slots=True)
class Rating:
    """What a part is rated for, for as long as one likes.

    Attributes:
        part: In words.
        current_a: Its rating.
        each: Whether each motor has one of its own; else one carries everything.
    """

    part: str
    current_a: float
    each: bool


@dataclass(frozen=True, slots=True)
class Aircraft:
    """What the article is meant to fly on.

    Attributes:
        motors: How many share the pack.
        all_up_n: All-up weight, by the gravity that thrust is counted by; None if not
            known.
        electronics_a: Constant current of all else.
        capacity_c: Rated charge of the pack; None where there is none.
        cells: In series; None where there is no pack.
        ratings: What its parts are rated for.
        all_up_g: What the scale says, where that is another than the weight is by
            standard gravity.
        full_a: What all of it takes at full throttle, as somebody says; None if nobody
            does.
    """

    motors: int
    all_up_n: float | None
    electronics_a: float
    capacity_c: float | None
    cells: int | None
    ratings: tuple[Rating, ...] = ()
    all_up_g: float | None = None
    full_a: float | None = None

    def weighing(self, all_up_g: float) -> "Aircraft":
        """The same aircraft with another all-up weight, by the same gravity."""
        per_g = gf_to_n(1.0)
        if self.all_up_n is not None and self.all_up_g is not None:
            per_g = self.all_up_n / self.all_up_g
        return replace(self, all_up_n=per_g * all_up_g, all_up_g=all_up_g)

    def weight(self) -> Measured | None:
        """All-up weight in newton, by a kitchen scale; None if it is not known."""
        if self.all_up_n is None:
            return None
        u = math.hypot(gf_to_n(SCALE_U_G), SCALE_U_REL * self.all_up_n)
        return stated(self.all_up_n, "all-up weight", u)

    def load(self) -> Measured:
        """Current of the electronics in ampere."""
        u = ELECTRONICS_U_REL * self.electronics_a
        return stated(self.electronics_a, "current of the electronics", u)

    def cells_v(self) -> Measured | None:
        """Open-circuit voltage of the pack, over a flight; None without cells."""
        if self.cells is None:
            return None
        cell_v, cell_u_v = FLOWN_CELL_V
        cause = "voltage of the cells in flight"
        return stated(self.cells * cell_v, cause, self.cells * cell_u_v)

    def flown_c(self) -> Measured | None:
        """Charge that is flown, in coulomb; None without a pack."""
        if self.capacity_c is None:
            return None
        share, share_u = FLOWN_SHARE
        flown_c = share * self.capacity_c
        left_u = np.array([[share_u * self.capacity_c]])
        holds = stated(flown_c, "capacity of the pack", CAPACITY_U_REL * flown_c)
        return holds.with_source("charge left", left_u)

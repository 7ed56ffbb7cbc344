"""Figures of a run as if it had been made in another air.

How a figure goes with the density of the air depends on what is held, and no run says
exactly how: each goes with a power of it that lies between two bounds, evenly. Thrust
goes in proportion to it at one speed and with its cube root at one shaft power; at one
voltage at the bridge it lies between. At one thrust speed squared goes inversely with
the density, and torque, with the current that makes it, not at all (constant C_T and
C_P; momentum theory; J. G. Leishman, Principles of Helicopter Aerodynamics, 2000,
chapter 2): what copper takes stays, all else goes with speed, so that power goes with
-1/2 where nothing is lost in copper and with -1/4 where half is (common practice, no
source, for the worst that is flown). Nothing here knows what is compared.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.analysis.air import ASSUMED_U_KG_M3, Air, standard_atmosphere
from daq.analysis.measured import Measured, combine
from daq.analysis.series import Array

#: The exponent itself, the same in all runs that are held against each other.
HELD: Final = "what is held in other air"
#: What of a density its barometer is off by, the same for all runs at one bench.
BAROMETER: Final = "barometer"
#: What of it is each run's own.
DENSITY: Final = "air density"
#: The air that nobody noted: of one bench, hence alike as far as anybody knows.
UNKNOWN: Final = "air density not noted"
#: What belongs to a bench, and not to a run.
OF_BENCH: Final = frozenset((BAROMETER, UNKNOWN))


@dataclass(frozen=True, slots=True)
class Between:
    """An exponent that lies anywhere between two bounds.

    Attributes:
        low: One bound.
        high: The other.
    """

    low: float
    high: float

    @property
    def middle(self) -> float:
        """The best guess."""
        return (self.low + self.high) / 2

    @property
    def inverse(self) -> "Between":
        """That of what is inversely as large."""
        return Between(-self.low, -self.high)

    @property
    def u(self) -> float:
        """Its standard uncertainty (GUM, 4.3.7)."""
        return abs(self.high - self.low) / math.sqrt(12.0)


#: Thrust at one voltage at the bridge.
THRUST_AT_ONE_VOLTAGE: Final = Between(1.0 / 3.0, 1.0)
#: Power at one thrust; specific thrust, and time in hover, go the other way.
POWER_AT_ONE_THRUST: Final = Between(-0.5, -0.25)


@dataclass(frozen=True, slots=True)
class MadeUp:
    """What making up for the air did to a difference.

    Attributes:
        density_kg_m3: What all runs were restated to: their mean.
        apart: Density around the second article's runs over that around the first's,
            less one.
        moved: What was added to the difference, as a share.
        u: Standard uncertainty of that, from densities and exponent, as a share.
        exponent: Bounds of the power of density that the quantity goes with.
    """

    density_kg_m3: float
    apart: float
    moved: float
    u: float
    exponent: Between

    def to_dict(self) -> dict[str, object]:
        """The same for JSON."""
        return {
            "density_kg_m3": self.density_kg_m3,
            "second_over_first_less_one": self.apart,
            "moved_difference": self.moved,
            "moved_u": self.u,
            "exponent_from_to": [self.exponent.low, self.exponent.high],
        }


def common_density(airs: Sequence[Air | None]) -> float | None:
    """Mean density of some runs' air in kg/m^3; None where one's is not known."""
    known = [air.density_kg_m3 for air in airs if air is not None and not air.assumed]
    if not known or len(known) < len(airs):
        return None
    return math.exp(sum(map(math.log, known)) / len(known))


def in_one_air(
    value: Measured, exponent: Between, air: Air | None, to_kg_m3: float | None
) -> Measured:
    """A run's values as they would be in air of another density.

    Args:
        value: What was measured.
        exponent: The power of the density that it goes with.
        air: The air of the run.
        to_kg_m3: The density; None where a run's air is not known: then nothing is
            changed, and what that leaves open is a source of the bench.

    Returns:
        The values with what densities and exponent are uncertain by.
    """
    size = value.value.size
    if to_kg_m3 is None or air is None:
        open_rel = ASSUMED_U_KG_M3 / standard_atmosphere(0.0).density_kg_m3
        off = exponent.middle * open_rel * value.value
        return value.with_source(UNKNOWN, off[:, np.newaxis])
    rise = math.log(to_kg_m3 / air.density_kg_m3)
    factor = math.exp(exponent.middle * rise)
    found = combine(factor * value.value, [(np.full(size, factor), value)])
    barometer_kg_m3 = air.barometer_u_kg_m3
    own_kg_m3 = math.sqrt(max(0.0, air.u_kg_m3**2 - barometer_kg_m3**2))
    for name, off_rel in (
        (HELD, exponent.u * rise),
        (BAROMETER, -exponent.middle * barometer_kg_m3 / air.density_kg_m3),
        (DENSITY, -exponent.middle * own_kg_m3 / air.density_kg_m3),
    ):
        found = found.with_source(name, (off_rel * found.value)[:, np.newaxis])
    return found


def in_standard_air(thrust: Measured, air: Air) -> Measured:
    """Thrust at the same throttle in standard air at sea level (ISO 2533)."""
    standard_kg_m3 = standard_atmosphere(0.0).density_kg_m3
    return in_one_air(thrust, THRUST_AT_ONE_VOLTAGE, air, standard_kg_m3)


def made_up(
    to_kg_m3: float | None,
    exponent: Between,
    airs: tuple[Sequence[Air | None], Sequence[Air | None]],
    apart: Measured,
) -> MadeUp | None:
    """What making up for the air did; None where a run's air is not known.

    Args:
        to_kg_m3: As for ``in_one_air``.
        exponent: Likewise.
        airs: Of the first article's runs, and of the second's.
        apart: Second over first in logarithms, restated, over the whole range.
    """
    first, second = (common_density(side) for side in airs)
    if to_kg_m3 is None or first is None or second is None:
        return None
    rise = math.log(second / first)
    causes = (HELD, BAROMETER, DENSITY)
    size = apart.value.size
    over: Array = np.full((1, size), 1.0 / size)
    kept = {
        name: source for name, source in apart.sources.items() if _cause(name) in causes
    }
    u = float(Measured(apart.value, kept).mapped(over).standard_uncertainty()[0])
    moved = -exponent.middle * rise
    return MadeUp(to_kg_m3, math.expm1(rise), math.expm1(moved), u, exponent)


def _cause(name: str) -> str:
    """A source's name without what it belongs to."""
    return name.partition(" [")[0]

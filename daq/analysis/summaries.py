"""A run as a club keeps it: a curve at some points, and what is whose in its errors.

What ``across`` and ``round_robin`` take. Nothing here compares.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.analysis.air import ASSUMED_U_KG_M3, ISA_PRESSURE_PA, standard_atmosphere
from daq.analysis.compare import NARROWEST_SHARE, POINTS, Mounting
from daq.analysis.measured import Measured, combine
from daq.analysis.quantities import QUANTITIES
from daq.analysis.series import Array
from daq.errors import InputFault

#: Points along a curve: between two of them a straight line is near enough.
TOLD_POINTS: Final = 25
#: What a density that was noted is off by, as a share: 200 Pa of a barometer, and a
#: kelvin with humidity that nobody read.
BAROMETER_U_REL: Final = 200.0 / ISA_PRESSURE_PA
DENSITY_U_REL: Final = 0.0045
#: The air of a bench where nobody noted it.
NOT_NOTED_U_REL: Final = ASSUMED_U_KG_M3 / standard_atmosphere(0.0).density_kg_m3


@dataclass(frozen=True, slots=True)
class Summary:
    """One run, as a club keeps it.

    Attributes:
        article: What was on the stand; the same text is the same specimen.
        stand: The stand; the same text is the same stand.
        scale: The stand with its calibrations: the same text shares their errors.
        x: What it is matched at, SI, rising, shape (n,), n at least 2.
        log: Natural logarithm of the value there.
        own_u: Standard uncertainty of that from what belongs to this run alone.
        scale_u: The same from what all runs of the same scale share.
        dof: Degrees of freedom of ``own_u``; infinite for many.
        density_kg_m3: Of the air; None where it was not noted.
    """

    article: str
    stand: str
    scale: str
    x: Array
    log: Array
    own_u: Array
    scale_u: Array
    dof: float = math.inf
    density_kg_m3: float | None = None


def summary_of(
    what: str,
    mounting: Mounting,
    points: int = TOLD_POINTS,
    alike: Collection[str] = (),
) -> Summary | None:
    """A run's curve of a quantity over its whole range; None where it has none.

    Args:
        what: A key of ``QUANTITIES``.
        mounting: The run.
        points: At how many points.
        alike: Names of sources that are the same in all runs that are to be held
            against each other, and are left out: those of an article that travels.
    """
    quantity = QUANTITIES[what]
    curve = quantity.curve(mounting.analysis)
    if curve is None:
        return None
    x = np.linspace(float(curve.x.min()), float(curve.x.max()), points)
    found = curve.at(x)
    if not np.all(found.value > 0):
        return None
    slope = np.full(points, float(quantity.sign)) / found.value
    log = combine(quantity.sign * np.log(found.value), [(slope, found)])
    of_scale = mounting.analysis.evidence.of_scale
    shared = Measured(
        log.value,
        {n: s for n, s in log.sources.items() if n in of_scale and n not in alike},
    )
    own = Measured(
        log.value,
        {n: s for n, s in log.sources.items() if n not in of_scale and n not in alike},
    )
    air = mounting.air
    noted = air is not None and not air.assumed
    return Summary(
        article=mounting.article,
        stand=mounting.bench or mounting.scale,
        scale=mounting.scale,
        x=x,
        # Specific thrust is what it is matched at over the power that is drawn.
        log=log.value + (np.log(x) if quantity.sign < 0 else 0.0),
        own_u=own.standard_uncertainty(),
        scale_u=shared.standard_uncertainty(),
        dof=_least(own),
        density_kg_m3=air.density_kg_m3 if air is not None and noted else None,
    )


def _least(own: Measured) -> float:
    dof = float(own.dof().min())
    return dof if math.isfinite(dof) else math.inf


def as_share(log: float, half: float) -> tuple[float, float, float]:
    """A difference of logarithms as a share, less one: value, low and high limit."""
    return math.expm1(log), math.expm1(log - half), math.expm1(log + half)


def common_range(runs: Sequence[Summary]) -> Array:
    """Points over the range that all runs cover, shape (POINTS,).

    Raises:
        InputFault: There is none to speak of.
    """
    low = max(float(run.x[0]) for run in runs)
    high = min(float(run.x[-1]) for run in runs)
    widest = max(float(run.x[-1] - run.x[0]) for run in runs)
    if not high - low >= NARROWEST_SHARE * widest:
        raise InputFault(
            "the runs have hardly any range in common; measure them over the same "
            "levels."
        )
    return np.linspace(low, high, POINTS)


@dataclass(frozen=True, slots=True)
class Ranged:
    """Runs at the same points, in one air where every density is known.

    Attributes:
        log: Of each run at each point, shape (n, m).
        own: Own standard uncertainty of each, its mean over the points, shape (n,).
        scale: The same from its scale.
        rise: Mean logarithm of all densities less each one's; None where not all are
            known, and nothing was restated.
    """

    log: Array
    own: Array
    scale: Array
    rise: Array | None


def over_range(what: str, runs: Sequence[Summary], x: Array) -> Ranged:
    """Runs at some points of a range that all of them cover."""
    log, own, scale = (
        np.stack([np.interp(x, run.x, getattr(run, name)) for run in runs])
        for name in ("log", "own_u", "scale_u")
    )
    densities = [run.density_kg_m3 for run in runs]
    known = [math.log(one) for one in densities if one is not None]
    rise = None
    if len(known) == len(runs):
        rise = float(np.mean(known)) - np.array(known)
        log = log + QUANTITIES[what].told_in_air.middle * rise[:, np.newaxis]
    return Ranged(log, own.mean(axis=1), scale.mean(axis=1), rise)

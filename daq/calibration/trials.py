"""What a channel does besides following a line, each with how well that is known.

Linearity, hysteresis, repeatability, creep and zero return, out of the readings that a
calibration is made of. What was not tried has a bound that stands in for it, and the
sentence says so. Nothing here is used to choose readings.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from daq.calibration.fit import Polynomial, fit_polynomial
from daq.calibration.readings import Reading, Table, returns
from daq.calibration.value import Trial

Array = NDArray[np.float64]

#: What stands in for what was not tried, as a share of the largest known value, half-
#: width: cheap bending-beam cells are sold with 0.03 to 0.05 % for each (common
#: practice, no source).
UNTRIED_HYSTERESIS: Final = 0.001
UNTRIED_CREEP: Final = 0.001
UNTRIED_SEATING: Final = 0.002
#: A share that nobody has to mind.
NEXT_TO_NOTHING: Final = "less than 0.001 %"
ROOT_3: Final = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Behaviour:
    """What the readings show, in SI.

    Attributes:
        scatter_si: standard deviation of one reading about its like.
        scatter_dof: degrees of freedom of that.
        seating_rel: standard deviation of the slope from one seating to the next.
        seating_dof: degrees of freedom of that; infinite where a bound stands in.
        straight_si: rms departure of known values from the fit.
        straight_dof: degrees of freedom of that.
        hysteresis_si: rms of half the way between up and down.
        hysteresis_dof: degrees of freedom of that; infinite where a bound stands in.
        creep_rel: standard uncertainty for creep, as a share of the load.
        trials: the same for people.
    """

    scatter_si: float
    scatter_dof: float
    seating_rel: float
    seating_dof: float
    straight_si: float
    straight_dof: float
    hysteresis_si: float
    hysteresis_dof: float
    creep_rel: float
    trials: tuple[Trial, ...]


def behaviour(
    table: Table,
    value: Array,
    fitted: Polynomial,
    readings: Sequence[Reading],
    *,
    loads: bool,
) -> Behaviour:
    """Look at what the fit leaves.

    Args:
        table: the points of the fit.
        value: known values, shape (n,).
        fitted: the fit.
        readings: all readings, those for creep among them.
        loads: whether it is a load cell, of which creep and the like are wanted.
    """
    largest = float(np.abs(value).max())
    rest, slopes = _without_seating(table, value, fitted)
    cells = _cells(table)
    scatter, scatter_dof = _scatter(rest, cells, fitted, slopes.size)
    straight, straight_dof, off = _straightness(fitted, table, value)
    trials = [_linearity(off, straight, largest)]
    if not loads:
        return Behaviour(
            scatter, scatter_dof, 0.0, math.inf, straight, straight_dof, 0.0,
            math.inf, 0.0, tuple(trials),
        )  # fmt: skip
    half = _halves(fitted.residuals, table)
    hysteresis, hysteresis_dof, told = _hysteresis(half, scatter, largest)
    seating, seating_dof, seated = _seating(slopes, table, value, scatter)
    creep, crept = _creep(readings)
    trials += [told, seated, crept, _zero_return(table, fitted, largest)]
    return Behaviour(
        scatter, scatter_dof, seating, seating_dof, straight, straight_dof,
        hysteresis, hysteresis_dof, creep, tuple(trials),
    )  # fmt: skip


def _cells(table: Table) -> NDArray[np.intp]:
    """A number for each reading; alike for readings of one value on one leg."""
    keys = [(reading.level, reading.leg) for reading in table.readings]
    known = {key: number for number, key in enumerate(dict.fromkeys(keys))}
    return np.array([known[key] for key in keys], dtype=np.intp)


def _without_seating(
    table: Table, value: Array, fitted: Polynomial
) -> tuple[Array, Array]:
    """Residuals with each series' own slope taken off, and those slopes (shares)."""
    rest = fitted.residuals.copy()
    slopes = []
    for series in np.unique(table.series):
        own = np.flatnonzero(table.series == series)
        weight = float(value[own] @ value[own])
        share = float(rest[own] @ value[own]) / weight if weight else 0.0
        slopes.append(share)
        rest[own] -= share * value[own]
    return rest, np.array(slopes)


def _scatter(
    rest: Array, cells: NDArray[np.intp], fitted: Polynomial, series: int
) -> tuple[float, float]:
    """Standard deviation of one reading about its like, and how well it is known.

    Where nothing was read twice the scatter about the fit stands for it.
    """
    count = int(cells.max()) + 1
    dof = rest.size - count - (series - 1)
    if dof < 1:
        return fitted.residual_sd, float(fitted.dof)
    means = np.array([rest[cells == cell].mean() for cell in range(count)])
    inside = rest - means[cells]
    return math.sqrt(float(inside @ inside) / dof), float(dof)


def _straightness(
    fitted: Polynomial, table: Table, value: Array
) -> tuple[float, float, dict[float, float]]:
    """Rms of the levels' departures, how well it is known, and each of them.

    The readings' own scatter is left in: what is smaller than they can show is not
    believed.
    """
    levels = np.unique(table.level)
    off = {
        float(value[table.level == level][0]): float(
            fitted.residuals[table.level == level].mean()
        )
        for level in levels
    }
    dof = max(1, levels.size - len(fitted.powers))
    squares = sum(gap**2 for gap in off.values())
    return math.sqrt(squares / dof), float(dof), off


def _linearity(off: dict[float, float], straight: float, largest: float) -> Trial:
    worst = max(off.values(), key=abs)
    return Trial(
        "linearity",
        abs(worst) / largest,
        straight / largest,
        f"It departs from the fitted line by {within(abs(worst) / largest)} "
        "of the largest known value.",
    )


def _halves(rest: Array, table: Table) -> list[Array]:
    """Half of what the way down lies off the way up: a level each, a series each."""
    legs = np.array([reading.leg for reading in table.readings])
    found = []
    for level in np.unique(table.level):
        half = []
        for series in np.unique(table.series):
            here = (table.series == series) & (table.level == level)
            up, down = rest[here & (legs == "up")], rest[here & (legs == "down")]
            if up.size and down.size:
                half.append(float(up.mean() - down.mean()) / 2.0)
        if half:
            found.append(np.array(half))
    return found


def _hysteresis(
    halves: list[Array], scatter: float, largest: float
) -> tuple[float, float, Trial]:
    """How far apart the ways lie where they lie furthest apart.

    A run turns round where it likes, so what a load has in the calibration's loop is
    no use to it: the widest place stands for all.
    """
    if not halves:
        u = UNTRIED_HYSTERESIS / ROOT_3
        words = f"No way down was read; {percent(UNTRIED_HYSTERESIS)} stands in."
        return u * largest, math.inf, _untried("hysteresis", words)
    worst = max(halves, key=lambda half: abs(float(half.mean())))
    mean = abs(float(worst.mean()))
    rms = math.sqrt(float(worst @ worst) / worst.size)
    u_mean = scatter / math.sqrt(2.0 * worst.size)
    told = Trial(
        "hysteresis",
        2.0 * mean / largest,
        2.0 * u_mean / largest,
        f"The way down lies {within(2.0 * mean / largest)} (\N{PLUS-MINUS SIGN} "
        f"{percent(4.0 * u_mean / largest)}) of the largest known value off the way "
        "up.",
    )
    # How well it is known: by its own scatter about what it is.
    dof = float(worst.size) * (1.0 + mean**2 / max(u_mean**2, 1e-30))
    return rms, dof, told


def _seating(
    slopes: Array, table: Table, value: Array, scatter: float
) -> tuple[float, float, Trial]:
    if slopes.size < 2:
        words = (
            "The masses were set down in one series only, so what setting them down "
            f"anew changes is not known; {percent(UNTRIED_SEATING)} stands in."
        )
        u = UNTRIED_SEATING / ROOT_3
        return u, math.inf, _untried("repeatability", words)
    sd = float(slopes.std(ddof=1))
    own = table.series == table.series[0]
    noise = scatter / math.sqrt(float(value[own] @ value[own]))
    dof = float(slopes.size - 1)
    # A seating scatter below what the readings can show is not believed.
    seating = max(sd, noise)
    told = Trial(
        "repeatability",
        sd,
        sd / math.sqrt(2.0 * dof),
        f"From one seating to the next the scale moves by {percent(sd)} (standard "
        f"deviation of {slopes.size}).",
    )
    return seating, dof if sd > noise else math.inf, told


def _creep(readings: Sequence[Reading]) -> tuple[float, Trial]:
    """What a held load moved by, as a share of it."""
    zero = next(r.counts for r in readings if r.kind == "zero")
    found = []
    for place, held in enumerate(readings):
        if held.kind != "held":
            continue
        begun = [
            r
            for r in readings[:place]
            if r.kind == "load" and (r.series, r.level) == (held.series, held.level)
        ]
        if begun:
            first = begun[-1]
            load = first.counts - zero
            found.append(
                (
                    float(held.counts - first.counts) / load,
                    math.hypot(held.u_counts, first.u_counts) / abs(load),
                    held.at_s - first.at_s,
                )
            )
    if not found:
        words = f"No load was held; {percent(UNTRIED_CREEP)} stands in for creep."
        return UNTRIED_CREEP / ROOT_3, _untried("creep", words)
    share, u, over_s = max(found, key=lambda one: abs(one[0]))
    told = Trial(
        "creep",
        abs(share),
        u,
        f"Held for {over_s:.0f} s, the reading moved by {percent(abs(share))} "
        f"(\N{PLUS-MINUS SIGN} {percent(2.0 * u)}) of the load.",
    )
    return math.hypot(share, u) / ROOT_3, told


def _zero_return(table: Table, fitted: Polynomial, largest: float) -> Trial:
    moved = returns(table.zeros)
    if not moved:
        words = "Zero was not read again after the loads."
        return _untried("zero return", words)
    slope = abs(float(fitted.coefficients[fitted.powers.index(1)]))
    worst = max(moved.values(), key=abs)
    u = math.hypot(*[z.u_counts for z in table.zeros[:2]])
    return Trial(
        "zero return",
        abs(worst) * slope / largest,
        u * slope / largest,
        f"With everything taken off, zero had moved by "
        f"{within(abs(worst) * slope / largest)} of the largest known value.",
    )


def _untried(name: str, words: str) -> Trial:
    return Trial(name, math.nan, math.nan, words)


def within(share: float) -> str:
    """What something is by at most, as a person reads it."""
    words = percent(share)
    return words if words == NEXT_TO_NOTHING else f"at most {words}"


def percent(share: float) -> str:
    """A share as a person reads it."""
    value = 100.0 * share
    if abs(value) < 1e-3:
        return NEXT_TO_NOTHING
    return f"{value:.2g} %" if value < 9.95 else f"{value:.0f} %"


def curvature(
    table: Table, value: Array, powers: tuple[int, ...]
) -> tuple[float, float]:
    """How curved readings are: t of the square, and its share at the largest x.

    Readings of one known value are averaged first, so that what the legs and the
    seatings differ by does not hide a bend that they share; the scatter within them
    is what t is counted in.
    """
    levels = np.unique(table.level)
    groups = [np.flatnonzero(table.level == level) for level in levels]
    x = np.array([float(table.x[group].mean()) for group in groups])
    known = np.array([float(value[group[0]]) for group in groups])
    if levels.size <= len(powers) + 1:
        return 0.0, 0.0
    curved = fit_polynomial(x, known, (*powers, 2))
    square = float(curved.coefficients[-1])
    fitted = fit_polynomial(table.x, value, (*powers, 2))
    rest, slopes = _without_seating(table, value, fitted)
    scatter, _ = _scatter(rest, _cells(table), fitted, slopes.size)
    own = scatter / np.sqrt([group.size for group in groups])
    se = float(np.linalg.norm(curved.estimator[-1] * own))
    share = square * float(np.abs(x).max()) ** 2 / float(np.abs(known).max())
    return (abs(square) / se if se > 0.0 else math.inf), abs(share)

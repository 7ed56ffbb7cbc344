"""What was read while a channel was held against known values.

Raw counts with when and how they were come to, and nothing made of them but the zero
that belongs to each. A reading is never changed; a step taken back is left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Kind: TypeAlias = Literal["zero", "load", "held"]
Leg: TypeAlias = Literal["up", "down", ""]

ZERO: Final = -1


@dataclass(frozen=True, slots=True)
class Reading:
    """One settled reading.

    Attributes:
        kind: ``zero`` (nothing on it), ``load``, or ``held`` (the same load some time
            later, for creep; no point of the fit).
        series: number of the series, from 0; the loads are taken off and set down anew
            between two.
        leg: ``up`` while loads are added, ``down`` while they are taken off.
        level: index of the known value; -1 for zero.
        counts: mean.
        u_counts: standard uncertainty of it, from its own scatter.
        sd_counts: standard deviation of single readings.
        low_counts: lowest single reading.
        high_counts: highest single reading.
        count: how many single readings.
        at_s: when, on one clock for all.
    """

    kind: Kind
    series: int
    leg: Leg
    level: int
    counts: float
    u_counts: float
    sd_counts: float
    low_counts: int
    high_counts: int
    count: int
    at_s: float


@dataclass(frozen=True, slots=True)
class Table:
    """Readings as arrays, with the zero of each.

    Attributes:
        readings: the points of the fit, in order of time.
        level: shape (n,).
        series: shape (n,).
        counts: as read, shape (n,).
        zero: what was read with nothing on, straight from one zero to the next in
            each series, shape (n,).
        zero_share: shape (n, zeros): weights of the zeros in that.
        zeros: the zero readings.
    """

    readings: tuple[Reading, ...]
    level: NDArray[np.intp]
    series: NDArray[np.intp]
    counts: Array
    zero: Array
    zero_share: Array
    zeros: tuple[Reading, ...]

    @property
    def x(self) -> Array:
        """Counts from zero, shape (n,)."""
        return self.counts - self.zero


def tabled(readings: Sequence[Reading], *, zeroed: bool) -> Table:
    """Readings as arrays.

    Args:
        readings: in order of time.
        zeroed: whether the zeros are taken off, or are points like the others.
    """
    kinds = ("load",) if zeroed else ("load", "zero")
    points = tuple(r for r in readings if r.kind in kinds)
    zeros = tuple(r for r in readings if r.kind == "zero")
    share = np.zeros((len(points), len(zeros)))
    for row, point in enumerate(points):
        share[row] = _share(point, zeros)
    at_zero = np.array([zero.counts for zero in zeros], dtype=np.float64)
    level = [point.level for point in points]
    return Table(
        readings=points,
        level=np.array(level, dtype=np.intp),
        series=np.array([point.series for point in points], dtype=np.intp),
        counts=np.array([point.counts for point in points], dtype=np.float64),
        zero=share @ at_zero if zeroed else np.zeros(len(points)),
        zero_share=share if zeroed else np.zeros_like(share),
        zeros=zeros,
    )


def _share(point: Reading, zeros: Sequence[Reading]) -> Array:
    """Weights of the zeros about one reading: of its series, straight in time."""
    weights = np.zeros(len(zeros))
    own = [i for i, zero in enumerate(zeros) if zero.series == point.series]
    before = [i for i in own if zeros[i].at_s <= point.at_s]
    after = [i for i in own if zeros[i].at_s > point.at_s]
    if before and after:
        a, b = before[-1], after[0]
        late = (point.at_s - zeros[a].at_s) / (zeros[b].at_s - zeros[a].at_s)
        weights[a], weights[b] = 1.0 - late, late
    elif before or after:
        weights[(before or after)[-1 if before else 0]] = 1.0
    elif zeros:
        weights[:] = 1.0 / len(zeros)
    return weights


def returns(zeros: Sequence[Reading]) -> dict[int, float]:
    """How far zero had moved at the end of each series, counts; by series."""
    found = {}
    for series in sorted({zero.series for zero in zeros}):
        own = [zero.counts for zero in zeros if zero.series == series]
        if len(own) > 1:
            found[series] = own[-1] - own[0]
    return found

"""One article that travelled between stands: how the stands agree, and who is off.

Each stand spins the very same specimen several times, mounted again each time. Of each
run one number is taken, the mean logarithm of a curve over the range that all runs
cover, in one air where every run's was noted: then differences are ratios. What it says
of the method follows ISO 5725-2, what it says of a stand ISO 13528 (``precision``). A
stand's bias is against the robust mean of all, which is the best that a club has where
nobody knows the truth: what all stands have wrong alike is not seen. Nothing here reads
a run, leaves one out, or corrects one.

Where the air of every run was noted, what a motor feels of its density is not known
exactly. That error is the same for all, so of two stands it leaves the difference of
their airs; each stand carries its own distance from the mean, times the root of two,
which is exact for two stands on either side of it and careful otherwise.

A stand's own mean is in the mean that it is held against. With what its own runs leave
of it, v, its share of the mean, w, and the mean's u, its bias is uncertain by the root
of v^2 (1 - 2 w) + u^2. v is by the repeatability of all stands, but for one whose
scatter Cochran's test finds to be larger, which goes by its own.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.analysis.agreed import Agreed, Spread, StandBias
from daq.analysis.measured import t_factor
from daq.analysis.precision import (
    Precision,
    Robust,
    Suspect,
    algorithm_a,
    cochran,
    critical_h,
    critical_k,
    grubbs,
    precision,
)
from daq.analysis.series import Array
from daq.analysis.stand_found import StandFound, Visits, stands_found
from daq.analysis.summaries import (
    Summary,
    as_share,
    common_range,
    over_range,
)
from daq.errors import InputFault

#: Fewer stands than this say little of how stands differ (common practice, no source;
#: ISO 5725-1 asks for 8 to 15).
FEW: Final = 5


@dataclass(frozen=True, slots=True)
class Closing:
    """The stand that began the round and ended it: did the article change?

    Attributes:
        scale: The stand with its calibrations.
        runs: How many it made at first, and how many at last.
        log: Last over first, as a logarithm.
        half: Half of the 95 % interval; NaN where nobody mounted the article again.
        changed: Whether it changed; None where that cannot be told.
    """

    scale: str
    runs: tuple[int, int]
    log: float
    half: float
    changed: bool | None

    @property
    def ratio(self) -> tuple[float, float, float]:
        """By how much, as a share: value, low and high limit."""
        return as_share(self.log, self.half)


@dataclass(frozen=True, slots=True)
class RoundFound:
    """What a round robin says in one quantity.

    Attributes:
        what: The quantity, a key of ``QUANTITIES``.
        x: Where, in SI, shape (m,).
        level: Consensus over the range as a plain value, SI: the exponential of its
            logarithm.
        stands: In the order in which they were first visited.
        precision: Repeatability, between stands, reproducibility.
        consensus: The robust mean, which biases are held against.
        suspects: What the tests of consistency say; nothing was left out for it.
        without: The same figures without the outliers, to be seen beside; None where
            there are none, or too few stands are left.
        closing: Whether the article changed; None where no stand closed the round.
        drift_u: What a change of the article adds to every stand's bias.
        more_than_claimed: Chance that stands differ so much if each only had what it
            claims and its mounting; NaN where that is not known.
        claimed: What the stands claim, its root mean square.
        one_air: Whether the air of every run was noted, and all were restated.
    """

    what: str
    x: Array
    level: float
    stands: tuple[StandFound, ...]
    precision: Precision
    consensus: Robust
    suspects: tuple[Suspect, ...]
    without: Precision | None
    closing: Closing | None
    drift_u: float
    more_than_claimed: float
    claimed: float
    one_air: bool

    @property
    def agreed(self) -> Agreed:
        """What a comparison across stands takes of it.

        Between stands it gives the stands' means about theirs, which hold a share of
        repeatability: careful, never nothing, and with plain degrees of freedom.
        """
        found = self.precision
        within = None
        biases: Mapping[str, StandBias] = {}
        if found.within is not None:
            within = Spread(found.within.sd, found.within.dof)
            biases = {
                one.scale: StandBias(one.log, one.own_u, one.own_dof)
                for one in self.stands
            }
        between = Spread(found.of_means.sd, found.of_means.dof)
        return Agreed(within, between, self.consensus.u, biases)

    @property
    def critical(self) -> tuple[float, float]:
        """Beyond these Mandel's h and k lie once in a hundred; NaN where none do."""
        stands = len(self.stands)
        usual = round(float(np.median(self.precision.count)))
        h = critical_h(stands, 0.01) if stands > 2 else math.nan
        return h, critical_k(stands, usual, 0.01) if usual > 1 else math.nan


def round_robin(what: str, runs: Sequence[Summary]) -> RoundFound:
    """What a round robin says in one quantity.

    Args:
        what: A key of ``QUANTITIES``.
        runs: All runs of the article, in the order in which they were made.

    Raises:
        InputFault: They are of fewer than two stands, or have hardly any range in
            common.
    """
    scales = list(dict.fromkeys(run.scale for run in runs))
    if len(scales) < 2:
        raise InputFault(
            "a round robin takes runs of two stands or more, and these are of one."
        )
    x = common_range(runs)
    ranged = over_range(what, runs, x)
    means = ranged.log.mean(axis=1)
    closing_runs = _closing_runs(runs)
    taken = [
        [place for place, run in enumerate(runs) if run.scale == scale]
        for scale in scales
    ]
    if closing_runs:
        taken[0] = [place for place in taken[0] if place not in closing_runs]
    visits = Visits(what, runs, taken, ranged)
    results = visits.results
    last = means[closing_runs]
    found = precision(results, [last] if closing_runs else [])
    closing = _closing(scales[0], results[0], last, found)
    drift_u = 0.0
    if closing is not None and closing.changed:
        # The article was anywhere between what it was at first and at last.
        drift_u = abs(closing.log) / math.sqrt(12.0)
    consensus = algorithm_a(found.means)
    suspects = (*cochran(results), *grubbs(found.means))
    loose = [one.places[0] for one in suspects if one.test == "Cochran"]
    return RoundFound(
        what=what,
        x=x,
        level=math.exp(consensus.mean),
        stands=stands_found(visits, found, consensus, drift_u, loose),
        precision=found,
        consensus=consensus,
        suspects=suspects,
        without=_without(results, suspects),
        closing=closing,
        drift_u=drift_u,
        more_than_claimed=_more_than_claimed(visits, found, drift_u),
        claimed=math.sqrt(float((visits.claims**2).mean())),
        one_air=ranged.rise is not None,
    )


# ---------------------------------------------------------------- the article


def _closing_runs(runs: Sequence[Summary]) -> list[int]:
    """Runs that the stand which began the round made when it came home, if it did."""
    scales = [run.scale for run in runs]
    home = [place for place, scale in enumerate(scales) if scale == scales[0]]
    away = next(place for place, scale in enumerate(scales) if scale != scales[0])
    last = [place for place in home if place > away]
    begun = last[0] if last else len(runs)
    # Two stays at one stand, and the second ends the round.
    return last if last == list(range(begun, len(runs))) else []


def _closing(scale: str, first: Array, last: Array, found: Precision) -> Closing | None:
    if not last.size:
        return None
    log = float(last.mean() - first.mean())
    half, changed = math.nan, None
    if found.within is not None:
        u = found.within.sd * math.sqrt(1.0 / first.size + 1.0 / last.size)
        half = float(t_factor(found.within.dof)) * u
        changed = abs(log) > half
    return Closing(scale, (first.size, last.size), log, half, changed)


# ---------------------------------------------------------------- the round


def _without(results: Sequence[Array], suspects: Sequence[Suspect]) -> Precision | None:
    """The figures without the outliers, where two stands or more are left."""
    out = {place for one in suspects if one.level == "outlier" for place in one.places}
    left = [one for place, one in enumerate(results) if place not in out]
    return precision(left) if out and len(left) > 1 else None


def _more_than_claimed(visits: Visits, found: Precision, drift_u: float) -> float:
    """Chance of means so far apart, each with its claim and its mounting alone."""
    from scipy.special import chdtrc

    if found.within is None:
        return math.nan
    variance = visits.claims**2 + visits.air_u**2 + drift_u**2
    variance = variance + found.within.sd**2 / found.count
    if not np.all(variance > 0):
        return math.nan
    weight = 1.0 / variance
    mean = float(weight @ found.means / weight.sum())
    return float(
        chdtrc(found.means.size - 1, float(weight @ (found.means - mean) ** 2))
    )

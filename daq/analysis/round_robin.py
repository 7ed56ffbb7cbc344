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
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from daq.analysis.agreed import Agreed, Spread, StandBias
from daq.analysis.measured import COVERAGE, effective_dof, t_factor
from daq.analysis.precision import (
    Precision,
    Robust,
    Suspect,
    algorithm_a,
    cochran,
    critical_h,
    critical_k,
    grubbs,
    mandel_h,
    mandel_k,
    precision,
)
from daq.analysis.quantities import QUANTITIES
from daq.analysis.series import Array
from daq.analysis.summaries import (
    DENSITY_U_REL,
    Summary,
    common_range,
    over_range,
)
from daq.errors import InputFault

#: What a claimed standard uncertainty is multiplied with for 95 %.
CLAIMED: Final = 1.96
#: A finding among several stands is one if it would come by chance so seldom.
CHANCE: Final = 1.0 - COVERAGE
#: Fewer stands than this say little of how stands differ (common practice, no source;
#: ISO 5725-1 asks for 8 to 15).
FEW: Final = 5

Claim = Literal["holds", "cannot tell", "does not hold"]


@dataclass(frozen=True, slots=True)
class Along:
    """How a stand's bias changes along the range.

    Attributes:
        rise: Of the logarithm from the middle of the range to its end.
        u: Standard uncertainty of that.
        changes: Whether it is more than chance, among all stands.
    """

    rise: float
    u: float
    changes: bool


@dataclass(frozen=True, slots=True)
class StandFound:
    """One stand in the round.

    Attributes:
        stand: The stand.
        scale: The stand with its calibrations.
        runs: How many it made.
        log: Its bias: the logarithm of what it reads over the consensus.
        u: Standard uncertainty of that; NaN where nobody mounted the article again.
        half: Half of the 95 % interval; NaN likewise.
        own_u: What its own runs leave of ``u``, with its air, a bias that is not one
            factor, and a change of the article.
        own_dof: Degrees of freedom of that.
        claim_u: What it says itself that its scales are uncertain by.
        claim: Whether that holds its bias.
        e_n: Bias over what claim and round are uncertain by, both at 95 % (E_n of
            ISO 13528, 9.6): beyond 1 the claim does not hold.
        zeta: The same with standard uncertainties (zeta of 9.7): beyond 2 a warning,
            beyond 3 for action.
        z: Bias in robust standard deviations of all stands (z of 9.4).
        h: Mandel's h.
        k: Mandel's k; NaN where it made one run.
        along: Whether the bias is one factor; None where that cannot be seen.
    """

    stand: str
    scale: str
    runs: int
    log: float
    u: float
    half: float
    own_u: float
    own_dof: float
    claim_u: float
    claim: Claim
    e_n: float
    zeta: float
    z: float
    h: float
    k: float
    along: Along | None

    @property
    def ratio(self) -> tuple[float, float, float]:
        """What it reads too much, as a share: value, low and high limit."""
        return (
            math.expm1(self.log),
            math.expm1(self.log - self.half),
            math.expm1(self.log + self.half),
        )


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
        return (
            math.expm1(self.log),
            math.expm1(self.log - self.half),
            math.expm1(self.log + self.half),
        )


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
    results = [means[places] for places in taken]
    last = means[closing_runs]
    found = precision(results, [last] if closing_runs else [])
    closing = _closing(scales[0], results[0], last, found)
    drift_u = 0.0
    if closing is not None and closing.changed:
        # The article was anywhere between what it was at first and at last.
        drift_u = abs(closing.log) / math.sqrt(12.0)
    consensus = algorithm_a(found.means)
    claims = np.array([float(ranged.scale[places].mean()) for places in taken])
    suspects = (*cochran(results), *grubbs(found.means))
    return RoundFound(
        what=what,
        x=x,
        level=math.exp(consensus.mean),
        stands=_stands(
            runs,
            taken,
            ranged.log,
            claims,
            found,
            consensus,
            drift_u,
            _of_air(what, ranged.rise, taken),
            [one.places[0] for one in suspects if one.test == "Cochran"],
        ),
        precision=found,
        consensus=consensus,
        suspects=suspects,
        without=_without(results, suspects),
        closing=closing,
        drift_u=drift_u,
        more_than_claimed=_more_than_claimed(
            found, np.hypot(claims, _of_air(what, ranged.rise, taken)), drift_u
        ),
        claimed=math.sqrt(float((claims**2).mean())),
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


# ---------------------------------------------------------------- the stands


def _stands(
    runs: Sequence[Summary],
    taken: Sequence[Sequence[int]],
    log: Array,
    claims: Array,
    found: Precision,
    consensus: Robust,
    drift_u: float,
    of_air: Array,
    scattering: Collection[int],
) -> tuple[StandFound, ...]:
    alongs = _alongs(log, taken)
    h = mandel_h(found)
    k = mandel_k([log[places].mean(axis=1) for places in taken])
    stands = []
    for place, places in enumerate(taken):
        run, along = runs[places[0]], alongs[place]
        bias = float(found.means[place] - consensus.mean)
        more_u = math.hypot(drift_u, float(of_air[place]))
        results = log[places].mean(axis=1)
        scatter = _scatter(found, results, loose=place in scattering)
        own_u, own_dof = _own(scatter, len(places), more_u, along)
        parts = (_apart(own_u, float(consensus.share[place])), consensus.u)
        u = math.hypot(*parts)
        dof = effective_dof(parts, (own_dof, found.of_means.dof))
        half = float(t_factor(dof)) * u if math.isfinite(u) else math.nan
        claim_u = float(claims[place])
        e_n = _over(bias, math.hypot(CLAIMED * claim_u, half))
        stands.append(
            StandFound(
                stand=run.stand,
                scale=run.scale,
                runs=len(places),
                log=bias,
                u=u,
                half=half,
                own_u=own_u,
                own_dof=own_dof,
                claim_u=claim_u,
                claim=_claim(bias, claim_u, e_n),
                e_n=e_n,
                zeta=_over(bias, math.hypot(claim_u, u)),
                z=_over(bias, consensus.sd),
                h=float(h[place]),
                k=float(k[place]),
                along=along,
            )
        )
    return tuple(stands)


def _scatter(found: Precision, results: Array, *, loose: bool) -> Spread | None:
    """What mounting does at a stand: as at all, but for one that scatters more."""
    if loose:
        return Spread(float(results.std(ddof=1)), float(results.size - 1))
    within = found.within
    return None if within is None else Spread(within.sd, within.dof)


def _own(
    scatter: Spread | None, runs: int, more_u: float, along: Along | None
) -> tuple[float, float]:
    """What a stand's own runs leave of its bias; NaN where nobody mounted again."""
    if scatter is None:
        return math.nan, math.nan
    changes = along is not None and along.changes
    # A line from the middle to both ends: its root mean square over the range.
    rise = abs(along.rise) / math.sqrt(3.0) if along is not None and changes else 0.0
    parts = (scatter.sd / math.sqrt(runs), more_u, rise)
    return math.hypot(*parts), effective_dof(parts, (scatter.dof, math.inf, math.inf))


def _claim(bias: float, claim_u: float, e_n: float) -> Claim:
    if abs(bias) <= CLAIMED * claim_u:
        return "holds"
    return "does not hold" if abs(e_n) > 1.0 else "cannot tell"


def _of_air(what: str, rise: Array | None, taken: Sequence[Sequence[int]]) -> Array:
    """What each stand's air, other than the mean of all, leaves open, shape (p,)."""
    if rise is None:
        return np.zeros(len(taken))
    exponent = QUANTITIES[what].told_in_air
    off = np.array([float(rise[places].mean()) for places in taken])
    # And what was off by a thermometer's reading, that once.
    found: Array = np.hypot(
        math.sqrt(2.0) * exponent.u * off, exponent.middle * DENSITY_U_REL
    )
    return found


def _over(value: float, unit: float) -> float:
    return value / unit if unit > 0 else math.nan


def _alongs(log: Array, taken: Sequence[Sequence[int]]) -> list[Along | None]:
    """How each stand's curve rises against the robust mean of all stands' curves."""
    if all(len(places) < 2 for places in taken):
        return [None] * len(taken)
    across = np.linspace(-1.0, 1.0, log.shape[1])
    rises = log @ across / float(across @ across)
    found = precision([rises[places] for places in taken])
    if found.within is None:
        return [None] * len(taken)
    consensus = algorithm_a(found.means)
    alongs: list[Along | None] = []
    for place, count in enumerate(found.count):
        rise = float(found.means[place]) - consensus.mean
        own = found.within.sd / math.sqrt(float(count))
        parts = (_apart(own, float(consensus.share[place])), consensus.u)
        dof = effective_dof(parts, (found.within.dof, found.of_means.dof))
        u = math.hypot(*parts)
        # Looked at in every stand, and found in one by chance as often as in none.
        factor = float(t_factor(dof, 1.0 - CHANCE / len(taken)))
        alongs.append(Along(rise, u, abs(rise) > factor * u))
    return alongs


def _apart(own_u: float, share: float) -> float:
    """What a stand's own runs leave against a mean of which they are a share."""
    return own_u * math.sqrt(max(0.0, 1.0 - 2.0 * share))


# ---------------------------------------------------------------- the round


def _without(results: Sequence[Array], suspects: Sequence[Suspect]) -> Precision | None:
    """The figures without the outliers, where two stands or more are left."""
    out = {place for one in suspects if one.level == "outlier" for place in one.places}
    left = [one for place, one in enumerate(results) if place not in out]
    return precision(left) if out and len(left) > 1 else None


def _more_than_claimed(found: Precision, claims: Array, drift_u: float) -> float:
    """Chance of means so far apart, each with its claim and its mounting alone."""
    from scipy.special import chdtrc

    if found.within is None:
        return math.nan
    variance = claims**2 + found.within.sd**2 / found.count + drift_u**2
    if not np.all(variance > 0):
        return math.nan
    weight = 1.0 / variance
    mean = float(weight @ found.means / weight.sum())
    return float(
        chdtrc(found.means.size - 1, float(weight @ (found.means - mean) ** 2))
    )

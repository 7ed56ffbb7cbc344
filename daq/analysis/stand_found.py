"""One stand in a round robin: its bias, how sure that is, and what it claims.

Values in, values out; ``round_robin`` gathers the runs, and says of the round what is
said of it. Nothing here leaves a run out, or corrects one.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from daq.analysis.agreed import Spread
from daq.analysis.measured import COVERAGE, effective_dof, t_factor
from daq.analysis.precision import (
    Precision,
    Robust,
    algorithm_a,
    mandel_h,
    mandel_k,
    precision,
)
from daq.analysis.quantities import QUANTITIES
from daq.analysis.series import Array
from daq.analysis.summaries import DENSITY_U_REL, Ranged, Summary, as_share

#: What a claimed standard uncertainty is multiplied with for 95 %.
CLAIMED: Final = 1.96
#: A finding among several stands is one if it would come by chance so seldom.
CHANCE: Final = 1.0 - COVERAGE

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
        return as_share(self.log, self.half)


@dataclass(frozen=True, slots=True)
class Visits:
    """The runs of a round by stand.

    Attributes:
        what: The quantity.
        runs: All of them.
        taken: Places of each stand's among them.
        ranged: All over the range that they cover.
    """

    what: str
    runs: Sequence[Summary]
    taken: Sequence[Sequence[int]]
    ranged: Ranged

    @property
    def results(self) -> list[Array]:
        """One number a run, the mean logarithm over the range; by stand."""
        means = self.ranged.log.mean(axis=1)
        return [means[places] for places in self.taken]

    @property
    def claims(self) -> Array:
        """What each stand claims that its scales are uncertain by, shape (p,)."""
        return np.array([self.ranged.scale[places].mean() for places in self.taken])

    @property
    def air_u(self) -> Array:
        """What each stand's air leaves open, shape (p,); nothing if not noted.

        Other than the mean of all, and off by what a thermometer was, that once.
        """
        if self.ranged.rise is None:
            return np.zeros(len(self.taken))
        exponent = QUANTITIES[self.what].told_in_air
        off = np.array([self.ranged.rise[places].mean() for places in self.taken])
        found: Array = np.hypot(
            math.sqrt(2.0) * exponent.u * off, exponent.middle * DENSITY_U_REL
        )
        return found


def stands_found(
    visits: Visits,
    found: Precision,
    consensus: Robust,
    drift_u: float,
    loose: Collection[int],
) -> tuple[StandFound, ...]:
    """Each stand in the round.

    Args:
        visits: The runs.
        found: How well the stands agree.
        consensus: What biases are held against.
        drift_u: What a change of the article adds to every bias.
        loose: Places of stands that scatter more than the others.
    """
    alongs = _alongs(visits.ranged.log, visits.taken)
    h, k = mandel_h(found), mandel_k(visits.results)
    claims, air_u = visits.claims, visits.air_u
    stands = []
    for place, results in enumerate(visits.results):
        run = visits.runs[visits.taken[place][0]]
        bias = float(found.means[place] - consensus.mean)
        more_u = math.hypot(drift_u, float(air_u[place]))
        scatter = _scatter(found, results, loose=place in loose)
        own_u, own_dof = _own(scatter, results.size, more_u, alongs[place])
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
                runs=results.size,
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
                along=alongs[place],
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

"""Whether two articles differ, measured on stands that need not be the same.

From summaries of runs alone (a curve at points of its range, with what belongs to the
run and what to its scales), as a club keeps them, in closed form: whoever has no runs
at hand can do the same sums in any language, and ``tests/club/across_vectors.json``
holds cases to be held to. ``compare`` does more, and is to be preferred where the runs
are there. Nothing here reads a run, and nothing here learns how stands differ.

What is summed, for one quantity of ``QUANTITIES``. Run i has points (x, ln y), its
article, stand k(i) and scale s(i), which names the stand with its calibrations; w_i is
1/n for the n runs of the second article and -1/m for the m of the first.

1. Range: from the largest first x to the smallest last x of all runs; nothing is said
   where it is less than ``NARROWEST_SHARE`` of the widest run's. ``POINTS`` points lie
   evenly on it, ends included; ln y, own u and scale u are drawn to them in straight
   lines between a run's points, and each run is taken as the plain mean over them:
   l_i, a_i (own), b_i (scale). A mean of standard uncertainties is what the mean has
   where the errors of all points are one and the same: the careful bound.
2. Air: where every run's density is known, L = mean over all runs of ln(density), and
   l_i becomes l_i + e (L - ln density_i), with e the middle of the quantity's exponent
   (``told_in_air``) and v its standard uncertainty. Otherwise l_i stays.
3. Biases: l_i becomes l_i - B_s where the agreement knows the bias B_s of scale s(i);
   such a scale is called known, every other unknown.
4. Difference: d = sum of w_i l_i, that is the second less the first.
5. Scatter of mounting again, pooled over the agreement's (S_a, f_a) and these runs'
   own: f_o = sum over groups of one article on one scale of (size - 1), and
   q_o = sum of squares of l_i about its group's mean; f = f_a + f_o and
   S^2 = (f_a S_a^2 + q_o) / f. Without any f there is no verdict.
6. Parts of the variance of d, with their degrees of freedom:

   mounting    S^2 (1/n + 1/m) + sum over known scales of (C_s u_s)^2, where C_s is the
               sum of w_i of the runs on s and u_s what the bias of s is uncertain by
               from its own runs; min(f, the f_s of all known scales with C_s not 0).
               All of it rests on how mountings scatter, so it is one part, not several.
   stands      Z^2 (sum over stands of D_k^2) + (N U)^2, where D_k is the sum of w_i of
               the runs of unknown scale on stand k, Z the spread between stands, N the
               sum of all D_k, and U what the consensus is uncertain by that all known
               biases are held against (it cancels where all are known); the degrees of
               freedom of Z. Not 0 without a known Z: there is no verdict.
   scales      sum over scales of E_s^2 + F_s^2. E_s = sum of w_i b_i over the runs of
               an unknown scale, 0 for a known one, whose bias holds its error already.
               F_s = ``LEFT_OVER``/2 times the sum of |w_i| b_i over the runs of any
               scale: what no factor is. Many degrees of freedom.
   own         sum of (w_i a_i)^2; Welch and Satterthwaite's of its terms (each run's
               own degrees of freedom).
   air         densities known: (v sum of w_i (L - ln density_i))^2
               + sum over stands of (e ``BAROMETER_U_REL`` times the sum of w_i)^2
               + sum over runs of (e ``DENSITY_U_REL`` w_i)^2.
               Otherwise: sum over stands of (e ``NOT_NOTED_U_REL`` times the sum of
               w_i)^2. Many degrees of freedom.

7. u^2 is the sum of the parts, F = u^4 / sum of (part^2 / its degrees of freedom) and
   at least 1, where a part is a variance; half of the 95 % interval is t(F) u, with
   Student's two-sided factor and no rounding of F, or t(f) times the root of one part
   with its own degrees of freedom f, where that is more for any part: what is certain
   to be uncertain may not make what is known from a few runs look known. The interval
   is d -+ half; as a share: exp(.) - 1.
8. Verdict: "more" where the lower limit is above zero, "less" where the upper one is
   below, else "cannot tell"; "no verdict" as said above.

Which way each approximation errs. Careful (intervals too wide, never too narrow): own
errors taken as one over the range; what a run is uncertain by is in the scatter of
mountings already, and counts twice; scales of unknown stands count beside a spread
between stands that holds them already; a known bias and the consensus, which it is part
of, are taken as independent, which leaves out twice its share; ``Agreement.between``
as a round robin writes it holds a share of repeatability. The other way: what cancels
between runs of one scale is more than factors only if their currents are alike, for
which ``LEFT_OVER`` stands; the spread between stands is that of stands which took part
in a round, and a stand that never did may be worse; runs that taught the biases count
as new ones when they are compared again; and the verdict is on the mean over the range,
where ``compare`` decides by a band over all of it: two curves that cross may be told
apart there and not here.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from daq.analysis.agreed import Agreed, Agreement, Spread
from daq.analysis.between_stands import LEFT_OVER
from daq.analysis.compare import NO_VERDICT, Verdict
from daq.analysis.measured import t_factor, welch
from daq.analysis.quantities import QUANTITIES
from daq.analysis.series import Array
from daq.analysis.summaries import (
    BAROMETER_U_REL,
    DENSITY_U_REL,
    NOT_NOTED_U_REL,
    Summary,
    as_share,
    common_range,
    over_range,
)


@dataclass(frozen=True, slots=True)
class Part:
    """One part of what a difference is uncertain by.

    Attributes:
        u: Standard uncertainty of the logarithm.
        dof: Degrees of freedom of it; infinite for many.
    """

    u: float
    dof: float


@dataclass(frozen=True, slots=True)
class Across:
    """The second article against the first, over a range.

    Attributes:
        what: What is compared, a key of ``QUANTITIES``.
        x_from: Where the range begins, SI.
        x_to: Where it ends.
        log: Mean of the logarithm of second over first.
        u: Its standard uncertainty; NaN without a verdict.
        dof: Effective degrees of freedom of that; NaN without a verdict.
        half: Half of the 95 % interval of ``log``; NaN without a verdict.
        parts: What ``u`` is made of, by name; what is not known is not there.
        runs: How many of the first and of the second.
        stands: How many stands they are from.
        moved: What biases that were taken off moved ``log`` by.
        verdict: What follows.
        missing: What would have to be known for a verdict: "mounting", "stands" or
            "" where there is one.
    """

    what: str
    x_from: float
    x_to: float
    log: float
    u: float
    dof: float
    half: float
    parts: Mapping[str, Part]
    runs: tuple[int, int]
    stands: int
    moved: float
    verdict: Verdict
    missing: str

    @property
    def ratio(self) -> tuple[float, float, float]:
        """Second over first less one: value, low and high limit."""
        return as_share(self.log, self.half)


@dataclass(frozen=True, slots=True)
class _Taken:
    """Runs over their common range, in one air and without known biases.

    Attributes:
        runs: All of them, the first article's before the second's.
        w: Weight of each in the difference.
        log: Of each, its mean.
        own: Mean own standard uncertainty of each.
        scale: Mean standard uncertainty of each from its scale.
        rise: Mean logarithm of all densities less its own; None where not all are
            known.
        moved: What taking off biases did to the difference.
    """

    runs: tuple[Summary, ...]
    w: Array
    log: Array
    own: Array
    scale: Array
    rise: Array | None
    moved: float


def hold_across(
    what: str,
    first: Sequence[Summary],
    second: Sequence[Summary],
    agreement: Agreement | None = None,
) -> Across:
    """The second article against the first, whatever stands they were measured on.

    Args:
        what: A key of ``QUANTITIES``.
        first: Runs of one article, one or more.
        second: Runs of another.
        agreement: How the stands agree; None where nothing is known of that.

    Raises:
        InputFault: The runs have hardly any range in common.
    """
    agreed = (agreement or Agreement()).of(what)
    runs = (*first, *second)
    x = common_range(runs)
    taken = _taken(what, runs, len(first), x, agreed)
    within = _within(taken, agreed.within)
    parts = {
        name: part
        for name, part in (
            ("mounting", _mounting(taken, agreed, within, (len(first), len(second)))),
            ("stands", _between(taken, agreed)),
            ("scales", _scales(taken, agreed)),
            ("own", _own(taken)),
            ("air", _air(what, taken)),
        )
        if part is not None
    }
    missing = next((name for name in ("mounting", "stands") if name not in parts), "")
    log = float(taken.w @ taken.log)
    u = dof = half = math.nan
    verdict = NO_VERDICT
    if not missing:
        u, dof = _combined(list(parts.values()))
        alone = [float(t_factor(part.dof)) * part.u for part in parts.values()]
        half = max(float(t_factor(dof)) * u, *alone)
        verdict = _verdict(log, half)
    return Across(
        what=what,
        x_from=float(x[0]),
        x_to=float(x[-1]),
        log=log,
        u=u,
        dof=dof,
        half=half,
        parts=parts,
        runs=(len(first), len(second)),
        stands=len({run.stand for run in runs}),
        moved=taken.moved,
        verdict=verdict,
        missing=missing,
    )


# ---------------------------------------------------------------- what is taken


def _taken(
    what: str, runs: tuple[Summary, ...], firsts: int, x: Array, agreed: Agreed
) -> _Taken:
    seconds = len(runs) - firsts
    w = np.array([-1.0 / firsts] * firsts + [1.0 / seconds] * seconds)
    ranged = over_range(what, runs, x)
    off = np.array(
        [agreed.biases[r.scale].log if r.scale in agreed.biases else 0.0 for r in runs]
    )
    return _Taken(
        runs=runs,
        w=w,
        log=ranged.log.mean(axis=1) - off,
        own=ranged.own,
        scale=ranged.scale,
        rise=ranged.rise,
        moved=-float(w @ off),
    )


def _sums(names: Sequence[str], values: Array) -> dict[str, float]:
    """Values summed by name."""
    found: dict[str, float] = {}
    for name, value in zip(names, values, strict=True):
        found[name] = found.get(name, 0.0) + float(value)
    return found


def _within(taken: _Taken, known: Spread | None) -> Spread | None:
    """How one article scatters, mounted again: the club's and these runs' pooled."""
    groups: dict[tuple[str, str], list[float]] = {}
    for run, log in zip(taken.runs, taken.log, strict=True):
        groups.setdefault((run.article, run.scale), []).append(float(log))
    dof = float(sum(len(group) - 1 for group in groups.values()))
    squares = sum(
        float(((np.array(group) - np.mean(group)) ** 2).sum())
        for group in groups.values()
    )
    if known is not None:
        dof, squares = dof + known.dof, squares + known.dof * known.sd**2
    return Spread(math.sqrt(squares / dof), dof) if dof else None


# ---------------------------------------------------------------- the parts


def _mounting(
    taken: _Taken, agreed: Agreed, within: Spread | None, runs: tuple[int, int]
) -> Part | None:
    if within is None:
        return None
    variance = within.sd**2 * (1.0 / runs[0] + 1.0 / runs[1])
    dof = within.dof
    for scale, share in _sums([r.scale for r in taken.runs], taken.w).items():
        bias = agreed.biases.get(scale)
        if bias is not None and not _cancels(share):
            variance += (share * bias.u) ** 2
            dof = min(dof, bias.dof)
    return Part(math.sqrt(variance), dof)


def _between(taken: _Taken, agreed: Agreed) -> Part | None:
    unknown = [run.scale not in agreed.biases for run in taken.runs]
    shares = _sums(
        [run.stand for run in taken.runs], np.where(unknown, taken.w, 0.0)
    ).values()
    if all(_cancels(share) for share in shares):
        return Part(0.0, math.inf)
    if agreed.between is None:
        return None
    variance = agreed.between.sd**2 * sum(share**2 for share in shares)
    variance += (sum(shares) * agreed.consensus_u) ** 2
    return Part(math.sqrt(variance), agreed.between.dof)


def _cancels(share: float) -> bool:
    """Whether a sum of weights is nothing but rounding."""
    return abs(share) < 1e-9


def _scales(taken: _Taken, agreed: Agreed) -> Part:
    names = [run.scale for run in taken.runs]
    left = _sums(names, LEFT_OVER / 2.0 * np.abs(taken.w) * taken.scale)
    variance = sum(value**2 for value in left.values())
    for scale, value in _sums(names, taken.w * taken.scale).items():
        variance += 0.0 if scale in agreed.biases else value**2
    return Part(math.sqrt(variance), math.inf)


def _own(taken: _Taken) -> Part:
    variances = (taken.w * taken.own) ** 2
    dof = float(welch(variances, np.array([run.dof for run in taken.runs])))
    return Part(math.sqrt(float(variances.sum())), dof)


def _air(what: str, taken: _Taken) -> Part:
    exponent = QUANTITIES[what].told_in_air
    benches = _sums([run.stand for run in taken.runs], taken.w).values()
    of_benches = exponent.middle**2 * sum(share**2 for share in benches)
    if taken.rise is None:
        return Part(NOT_NOTED_U_REL * math.sqrt(of_benches), math.inf)
    held = exponent.u * float(taken.w @ taken.rise)
    own = exponent.middle * DENSITY_U_REL * taken.w
    variance = held**2 + BAROMETER_U_REL**2 * of_benches + float(own @ own)
    return Part(math.sqrt(variance), math.inf)


# ---------------------------------------------------------------- the verdict


def _combined(parts: Sequence[Part]) -> tuple[float, float]:
    variances = np.array([part.u**2 for part in parts])
    dof = float(welch(variances, np.array([part.dof for part in parts])))
    return math.sqrt(float(variances.sum())), dof


def _verdict(log: float, half: float) -> Verdict:
    if log - half > 0:
        return "more"
    return "less" if log + half < 0 else "cannot tell"

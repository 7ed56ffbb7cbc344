"""Whether two articles can be told apart, and by how much they differ.

Each article has one run or several, each with the article taken off the stand and put
back: what that does is the largest part of most differences, and no number of readings
in one run shows it. So there is no verdict without replicate mountings, or a
reproducibility known from elsewhere. Differences are ratios: a scale factor that both
share cancels by itself, through its name. The band holds over the whole range at once
(R. G. Miller, Simultaneous Statistical Inference, 2nd ed. 1981, chapter 2, from memory;
here by simulation of the largest deviation), so that a verdict does not come from
looking at many points. Nothing here knows where runs came from.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from daq.analysis.agreed import Agreed, Agreement
from daq.analysis.air import Air
from daq.analysis.between_stands import (
    BIASES,
    STANDS,
    Correction,
    Stands,
    correction,
    stands_of,
)
from daq.analysis.curves import Curve
from daq.analysis.measured import (
    COVERAGE,
    Measured,
    Source,
    averaged,
    combine,
    minus,
)
from daq.analysis.one_air import (
    HELD,
    OF_BENCH,
    MadeUp,
    common_density,
    in_one_air,
    made_up,
)
from daq.analysis.quantities import QUANTITIES, Quantity
from daq.analysis.remounting import Reproducibility, scatter_of, simultaneous
from daq.analysis.run import Analysis
from daq.analysis.series import Array
from daq.errors import InputFault

#: Points over the common range at which articles are compared.
POINTS: Final = 9
#: A common range narrower than this share of the wider one carries no comparison.
NARROWEST_SHARE: Final = 0.2

Verdict = Literal["more", "less", "cannot tell", "no verdict"]
NO_VERDICT: Final[Verdict] = "no verdict"


@dataclass(frozen=True, slots=True)
class Mounting:
    """One run: an article, mounted once.

    Attributes:
        name: Of the run.
        article: What was on the stand, in words that name the specimen.
        scale: What stood for the scale factors: runs with the same one share their
            errors (the same stand, the same calibration).
        analysis: What it says.
        bench: Where it was made, by whose barometer; None where the scale stands for
            that too.
    """

    name: str
    article: str
    scale: str
    analysis: Analysis
    bench: str | None = None

    @property
    def air(self) -> Air | None:
        """The air of the run, as far as it is known with its propeller's disc."""
        disc = self.analysis.evidence.disc
        return None if disc is None else disc.air


@dataclass(frozen=True, slots=True)
class Difference:
    """The second article against the first, over a range.

    Attributes:
        what: What is compared, a key of ``QUANTITIES``.
        x: Where, in SI, shape (m,).
        first: The first article's values, shape (m,).
        second: The second's.
        ratio: Second over first less one, shape (m,).
        low: Simultaneous lower limit, shape (m,); NaN without a reproducibility.
        high: Upper limit.
        mean: Ratio over the whole range: its value, low and high limit (one
            statement, not simultaneous).
        alone: Half of the interval of ``mean`` from what the runs themselves are
            uncertain by, without any re-mounting.
        reproducibility: What was used; None if there is none.
        shared_u: Standard uncertainty that more runs would not take away.
        runs: How many of the first and of the second.
        verdict: What follows.
        where: From and to which x the band excludes zero; None where nowhere.
        made_up: What making up for different air did; None where a run's air is not
            known, and nothing was made up for.
        stands: What a round robin knew of the stands; None where it was not asked, or
            all runs are of one.
    """

    what: str
    x: Array
    first: Array
    second: Array
    ratio: Array
    low: Array
    high: Array
    mean: tuple[float, float, float]
    alone: float
    reproducibility: Reproducibility | None
    shared_u: float
    runs: tuple[int, int]
    verdict: Verdict
    where: tuple[float, float] | None
    made_up: MadeUp | None = None
    stands: Stands | None = None

    def to_dict(self) -> dict[str, object]:
        """Everything needed to draw or to judge it again, for JSON."""
        found = self.reproducibility
        return {
            "what": self.what,
            "x_quantity": QUANTITIES[self.what].x_quantity,
            "x": self.x.tolist(),
            "first": self.first.tolist(),
            "second": self.second.tolist(),
            "ratio": self.ratio.tolist(),
            "low": _known(self.low),
            "high": _known(self.high),
            "mean": _known(np.array(self.mean)),
            "coverage": COVERAGE,
            "re_mounting": None
            if found is None
            else {"sd_rel": found.sd_rel, "dof": found.dof, "from": found.words},
            "shared_u": self.shared_u,
            "runs": list(self.runs),
            "verdict": self.verdict,
            "clear_from_to": None if self.where is None else list(self.where),
            "one_air": None if self.made_up is None else self.made_up.to_dict(),
            "stands": None if self.stands is None else self.stands.to_dict(),
        }


def _known(values: Array) -> list[float | None]:
    return [float(value) if math.isfinite(value) else None for value in values]


@dataclass(frozen=True, slots=True)
class Compared:
    """One article held against another.

    Attributes:
        differences: In each quantity that both have.
        missing: Why a quantity could not be compared, by its name.
    """

    differences: tuple[Difference, ...]
    missing: Mapping[str, str]


def compare(
    first: Sequence[Mounting],
    second: Sequence[Mounting],
    known: Mapping[str, Reproducibility] | None = None,
    agreement: Agreement | None = None,
) -> Compared:
    """The second article against the first, in each quantity that both have.

    Specific thrust at matched thrust; thrust at matched voltage at the bridge, which
    is matched throttle on one bus voltage.

    Args:
        first: Runs of one article.
        second: Runs of another.
        known: Reproducibility by quantity; where it is not given the runs' own
            scatter is taken, if any was mounted again.
        agreement: How the stands agree that the runs were made on, by their scales;
            None where nothing is known of that.
    """
    found: list[Difference] = []
    missing: dict[str, str] = {}
    for what, quantity in QUANTITIES.items():
        try:
            agreed = None if agreement is None else agreement.quantities.get(what)
            found.append(_compared(what, quantity, first, second, known or {}, agreed))
        except InputFault as fault:
            missing[what] = str(fault)
    return Compared(tuple(found), missing)


def learn(groups: Sequence[Sequence[Mounting]]) -> dict[str, Reproducibility]:
    """What re-mounting does on a stand, from articles that were run more than once.

    Args:
        groups: Runs, each group of one article on one stand.

    Returns:
        By quantity; empty where nothing was run twice.
    """
    learned = {}
    for what, quantity in QUANTITIES.items():
        logs = [_logs(quantity, group) for group in groups]
        found = scatter_of(logs)
        if found is not None:
            count = sum(len(group) for group in logs if len(group) > 1)
            words = f"{count} runs of articles that were mounted again"
            learned[what] = Reproducibility(*found, words)
    return learned


def _logs(quantity: Quantity, group: Sequence[Mounting]) -> list[Array]:
    """Logarithms of a group's curves over their common range; empty without one."""
    curves = [quantity.curve(mounting.analysis) for mounting in group]
    drawn = [curve for curve in curves if curve is not None]
    if not drawn:
        return []
    try:
        x = _common(drawn)
    except InputFault:
        return []
    airs = [m.air for m, curve in zip(group, curves, strict=True) if curve is not None]
    to_kg_m3 = common_density(airs)
    values = [Measured(curve.fit.predict(x), {}) for curve in drawn]
    return [
        np.log(in_one_air(value, quantity.in_air, air, to_kg_m3).value)
        for value, air in zip(values, airs, strict=True)
    ]


def belonging(
    measured: Measured, mounting: Mounting, assumed: Collection[str] = ()
) -> Measured:
    """The same value, each source named after what it belongs to.

    Scale factors belong to the stand and its calibration, a barometer to the bench,
    what is held in other air to all, and all else to the run.

    Args:
        measured: A value of that run.
        mounting: The run.
        assumed: Sources that are assumptions, the same in every run.
    """

    def name(source: str) -> str:
        if source in assumed or source == HELD:
            return source
        if source in OF_BENCH:
            return f"{source} [{mounting.bench or mounting.scale}]"
        shared = source in mounting.analysis.evidence.of_scale
        return f"{source} [{mounting.scale if shared else mounting.name}]"

    return measured.renamed(name)


# ---------------------------------------------------------------- one quantity


def _compared(
    what: str,
    quantity: Quantity,
    first: Sequence[Mounting],
    second: Sequence[Mounting],
    known: Mapping[str, Reproducibility],
    agreed: Agreed | None,
) -> Difference:
    everything = (*first, *second)
    curves = [_curve(what, quantity, mounting) for mounting in everything]
    x = _common(curves)
    to_kg_m3 = common_density([mounting.air for mounting in everything])
    of_stands = correction(agreed, everything)
    logs = [
        _log_at(curve, x, quantity, mounting, to_kg_m3, of_stands)
        for curve, mounting in zip(curves, everything, strict=True)
    ]
    one, other = logs[: len(first)], logs[len(first) :]
    apart = _mean_difference(one, other)
    reproducibility = known.get(what) or _reproducibility(one, other)
    shared = _only_shared(apart, everything)
    over = np.full((1, x.size), 1.0 / x.size)
    alone = apart.mapped(over)
    low = high = np.full(x.size, math.nan)
    half_mean, where = math.nan, None
    verdict = NO_VERDICT
    if reproducibility is not None:
        whole = _with_reproducibility(apart, reproducibility, (len(one), len(other)))
        half = simultaneous(whole)
        low, high = apart.value - half, apart.value + half
        half_mean = float(whole.mapped(over).half_width()[0])
        verdict, where = _verdict(x, low, high)
    value = float(alone.value[0])
    limits = (value, value - half_mean, value + half_mean)
    names = [np.exp(averaged(side).value) for side in (one, other)]
    scale = x if quantity.sign < 0 else np.ones(x.size)
    return Difference(
        what=what,
        x=x,
        first=scale * names[0],
        second=scale * names[1],
        ratio=np.expm1(apart.value),
        low=np.expm1(low),
        high=np.expm1(high),
        mean=(math.expm1(limits[0]), math.expm1(limits[1]), math.expm1(limits[2])),
        alone=float(alone.half_width()[0]),
        reproducibility=reproducibility,
        shared_u=float(shared.mapped(over).standard_uncertainty()[0]),
        runs=(len(one), len(other)),
        verdict=verdict,
        where=where,
        made_up=made_up(
            to_kg_m3,
            quantity.told_in_air,
            ([one.air for one in first], [one.air for one in second]),
            apart,
        ),
        stands=stands_of(
            of_stands,
            apart,
            [(-1.0 / len(first), one) for one in first]
            + [(1.0 / len(second), one) for one in second],
        ),
    )


def _curve(what: str, quantity: Quantity, mounting: Mounting) -> Curve:
    curve = quantity.curve(mounting.analysis)
    if curve is None:
        raise InputFault(
            f"{mounting.name} has no curve of {what}: it takes thrust, voltage and "
            "current at five levels or more."
        )
    return curve


def _common(curves: Sequence[Curve]) -> Array:
    """Points over the range that all curves cover.

    Raises:
        InputFault: There is none to speak of.
    """
    low = max(float(curve.x.min()) for curve in curves)
    high = min(float(curve.x.max()) for curve in curves)
    widest = max(float(np.ptp(curve.x)) for curve in curves)
    if high - low < NARROWEST_SHARE * widest:
        raise InputFault(
            "the runs have hardly any range in common; measure them over the same "
            "levels."
        )
    return np.linspace(low, high, POINTS)


def _log_at(
    curve: Curve,
    x: Array,
    quantity: Quantity,
    mounting: Mounting,
    to_kg_m3: float | None,
    of_stands: Correction | None,
) -> Measured:
    """Logarithm of a curve in one air with its sources, each named as its owner's."""
    found = in_one_air(curve.at(x), quantity.in_air, mounting.air, to_kg_m3)
    if np.any(found.value <= 0):
        raise InputFault(f"{mounting.name}: {curve.name} is not above zero everywhere.")
    ones = np.full(x.size, float(quantity.sign)) / found.value
    log = combine(quantity.sign * np.log(found.value), [(ones, found)])
    if of_stands is None:
        return belonging(log, mounting)
    of_scale = mounting.analysis.evidence.of_scale
    shared = {name: one for name, one in log.sources.items() if name in of_scale}
    scale_u = float(Measured(log.value, shared).standard_uncertainty().mean())
    own = belonging(of_stands.taken_off(log, mounting, of_scale), mounting)
    return of_stands.opened(own, mounting, scale_u)


def _mean_difference(one: Sequence[Measured], other: Sequence[Measured]) -> Measured:
    return minus(averaged(other), averaged(one))


def _only_shared(apart: Measured, mountings: Sequence[Mounting]) -> Measured:
    """The part that another mounting would not change: what scales and air leave."""
    scales = {f"[{mounting.scale}]" for mounting in mountings}
    scales |= {f"[{mounting.bench}]" for mounting in mountings if mounting.bench}
    kept = {
        name: source
        for name, source in apart.sources.items()
        if name in (HELD, BIASES, STANDS)
        or any(name.endswith(scale) for scale in scales)
    }
    return Measured(apart.value, kept)


def _reproducibility(
    one: Sequence[Measured], other: Sequence[Measured]
) -> Reproducibility | None:
    """From the scatter of replicates about their article, pooled; None without."""
    found = scatter_of([[run.value for run in side] for side in (one, other)])
    if found is None:
        return None
    words = f"the scatter of these {len(one) + len(other)} runs"
    return Reproducibility(*found, words)


def _with_reproducibility(
    apart: Measured, found: Reproducibility, runs: tuple[int, int]
) -> Measured:
    """The difference with what re-mounting does in it, the same along the curve.

    What the replicates show holds the runs' own noise too, which is in the difference
    already: it counts twice, on the careful side.
    """
    size = apart.value.size
    u = found.sd_rel * math.sqrt(1.0 / runs[0] + 1.0 / runs[1])
    mounted = Source(np.full((size, 1), u), np.full(size, found.dof))
    return Measured(apart.value, {**apart.sources, "re-mounting": mounted})


def _verdict(
    x: Array, low: Array, high: Array
) -> tuple[Verdict, tuple[float, float] | None]:
    above, below = low > 0, high < 0
    if not (above.any() or below.any()):
        return "cannot tell", None
    clear = above if np.count_nonzero(above) >= np.count_nonzero(below) else below
    where = np.flatnonzero(clear)
    span = (float(x[where[0]]), float(x[where[-1]]))
    return ("more" if clear is above else "less"), span

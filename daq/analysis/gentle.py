"""Where a model is not gentle: intervals drawn instead of carried along a tangent.

The law of propagation (GUM, JCGM 100:2008, 5.2) follows a model along its tangent. Here
each model is asked how much it bends over what its inputs are uncertain by, and where
that moves an end of the interval by more than a stated tolerance the interval is drawn
through the whole model instead (JCGM 101:2008, GUM Supplement 1; comparing both against
a numerical tolerance is its clause 8). The budget stays that of the tangent. Nothing
here knows what is computed.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from typing_extensions import override

from daq.analysis.measured import (
    COVERAGE,
    Measured,
    Source,
    combine,
    small_step,
)
from daq.analysis.series import Array, Index

#: An end may lie off by this share of the half width: intervals are printed with two
#: digits of it, so that it is a unit of the second at most for every other figure.
TOLERANCE: Final = 0.1
#: How often a model is drawn: a batch of JCGM 101, 7.9.4. An end of a normal's interval
#: scatters by 1.4 % of the half width then, a seventh of the tolerance.
DRAWS: Final = 10_000
#: What draws begin from unless another seed is given: the same run gives the same
#: figures.
SEED: Final = 101
#: What is smaller than this share of the inputs' spread is rounding.
SMALLEST_SPREAD: Final = 1e-9

Model = Callable[..., Sequence[Array]]
"""Arrays of shape (n,), one an input, to figures of shape (n,), value by value; NaN
where there is no answer."""
#: From so many degrees of freedom on a t is drawn as a normal: its ends lie 0.6 %
#: further out (GUM table G.2).
AS_NORMAL_DOF: Final = 200.0


@dataclass(frozen=True, slots=True)
class Drawn(Measured):
    """A value whose interval was drawn; its sources are those of the tangent.

    Attributes:
        low: Low limit at ``COVERAGE``, shape (n,).
        high: High limit.
        draws: How many.
    """

    low: Array
    high: Array
    draws: int

    @override
    def interval(self, coverage: float = COVERAGE) -> tuple[Array, Array]:
        """What was drawn; at another coverage than ``COVERAGE`` that of the tangent."""
        if coverage == COVERAGE:
            return self.low, self.high
        return Measured.interval(self, coverage)

    @override
    def half_width(self, coverage: float = COVERAGE) -> Array:
        """Half of the interval, which need not lie about the value."""
        if coverage == COVERAGE:
            return (self.high - self.low) / 2
        return Measured.half_width(self, coverage)

    @override
    def take(self, index: Index | Sequence[int]) -> "Drawn":
        """The values at ``index``, as they were drawn."""
        where = np.asarray(index, dtype=np.intp)
        found = Measured.take(self, where)
        low, high = self.low[where], self.high[where]
        return Drawn(found.value, found.sources, low, high, self.draws)

    @override
    def renamed(self, name: Callable[[str], str]) -> "Drawn":
        """The same values, their sources under other names."""
        found = Measured.renamed(self, name)
        return Drawn(found.value, found.sources, self.low, self.high, self.draws)


def propagated(
    model: Model, *inputs: Measured, rng: np.random.Generator, draws: int = DRAWS
) -> list[Measured]:
    """Figures of a model, the intervals drawn of those that are not gentle.

    Args:
        model: Of as many arrays as there are inputs.
        inputs: Of one value each.
        rng: What draws are taken from, if any are; the same ones for all figures.
        draws: How many.

    Returns:
        One value a figure, at the best estimates and with the sources of the tangent.
        A drawn interval is probabilistically symmetric (JCGM 101, 7.7.2), and carried
        on to the value where that lies outside: a mean of draws, which would not, need
        not exist where a source has few degrees of freedom.
    """
    found = _tangents(model, inputs)
    bends = _bends(model, inputs, found)
    steep = [place for place, bent in enumerate(bends) if not bent <= TOLERANCE]
    if not steep:
        return found
    answers = _asked(model, np.stack(drawn(inputs, rng, draws)))
    for place in steep:
        one = found[place]
        low, high = drawn_interval(answers[place])
        value = one.value
        found[place] = Drawn(
            value,
            one.sources,
            np.minimum(value, low),
            np.maximum(value, high),
            draws,
        )
    return found


def bend(model: Model, *inputs: Measured) -> list[float]:
    """By how much a model's bend moves an end of each interval, of its half width.

    By the terms of second order: first and second differences over one standard
    uncertainty along independent directions of the inputs, which give mean, variance
    and third cumulant of a quadratic form, and those the ends (E. A. Cornish, R. A.
    Fisher, Rev. Inst. Int. Stat. 5, 1938, 307-320, first term, from memory).

    Args:
        model: As for ``propagated``.
        inputs: Of one value each.

    Returns:
        One a figure. Infinite where the model has no answer within a standard
        uncertainty, or moves while its tangent says that it does not; 0 where nothing
        is uncertain; NaN where it has no answer at the best estimates.
    """
    return _bends(model, inputs, _tangents(model, inputs))


def drawn_interval(answers: Array, coverage: float = COVERAGE) -> tuple[float, float]:
    """The probabilistically symmetric interval of draws (JCGM 101, 7.7.2).

    A draw without an answer counts as lying beyond either end, so that the interval is
    never too short for it; without limits where there are too many of those.
    """
    known = np.sort(answers[np.isfinite(answers)])
    beyond = (1.0 - coverage) / 2 * answers.size - (answers.size - known.size)
    if not (beyond > 0.0 and known.size):
        return -math.inf, math.inf
    share = beyond / known.size
    low, high = np.quantile(known, (share, 1.0 - share))
    return float(low), float(high)


def drawn(
    inputs: Sequence[Measured], rng: np.random.Generator, draws: int
) -> list[Array]:
    """Draws of inputs that share sources, each of shape (draws,).

    A source that is known acts as a normal, though it may have been a bound: its shape
    is not kept, and a normal reaches further. One that was estimated acts as Student's
    t with its degrees of freedom (JCGM 101, 6.4.9), one scale for all that it does, so
    that it is a t of as many in any sum of its parts. Where few degrees of freedom
    prevail that reaches further than Welch and Satterthwaite's formula (GUM, G.4).
    """
    values = np.array([float(one.value[0]) for one in inputs])
    total = np.repeat(values[:, np.newaxis], draws, axis=1)
    known = np.zeros((values.size, values.size))
    for factor, dof in _acting(inputs):
        if dof >= AS_NORMAL_DOF:
            known += factor @ factor.T
            continue
        root = _root(factor @ factor.T)
        unit = rng.standard_normal((root.shape[1], draws))
        total += root @ (unit * np.sqrt(dof / rng.chisquare(dof, draws)))
    root = _root(known)
    total += root @ rng.standard_normal((root.shape[1], draws))
    return list(total)


def _acting(inputs: Sequence[Measured]) -> Iterator[tuple[Array, float]]:
    """What each source does to the inputs, shape (inputs, k), and its fewest dof."""
    names = dict.fromkeys(name for one in inputs for name in one.sources)
    for name in names:
        found = [one.sources.get(name) for one in inputs]
        width = max(_row(source).size for source in found if source is not None)
        rows = [np.zeros(width) if one is None else _row(one) for one in found]
        dof = min(float(one.dof[0]) for one in found if one is not None)
        yield np.stack(rows), dof


def _row(source: Source) -> Array:
    return source.factor[0] if source.common else source.factor


def _root(covariance: Array) -> Array:
    """R with R R^T = covariance, shape (n, rank), however different the scales."""
    u = np.sqrt(np.diag(covariance))
    scale = np.where(u > 0.0, u, 1.0)
    values, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    kept = values > SMALLEST_SPREAD
    root = scale[:, np.newaxis] * vectors[:, kept] * np.sqrt(values[kept])
    return np.asarray(root, dtype=np.float64)


def _asked(model: Model, at: Array) -> Array:
    """Every figure at points, shape (inputs, n) given, (figures, n) returned."""
    with np.errstate(all="ignore"):
        answers = [np.asarray(one, dtype=np.float64) for one in model(*at)]
    return np.stack([np.broadcast_to(one, at.shape[1:]) for one in answers])


def _tangents(model: Model, inputs: Sequence[Measured]) -> list[Measured]:
    """Each figure by the law of propagation, as ``derived`` does it."""
    values = np.array([float(one.value[0]) for one in inputs])
    steps = np.array([float(small_step(one)[0]) for one in inputs])
    moved = np.diag(steps)
    points = np.hstack([np.zeros((values.size, 1)), moved, -moved])
    answers = _asked(model, values[:, np.newaxis] + points)
    middle, more, less = np.split(answers, (1, 1 + values.size), axis=1)
    slopes = (more - less) / (2 * steps)
    return [
        combine(
            value,
            [
                (slope[[place]], one)
                for place, one in enumerate(inputs)
                if slope[place] != 0.0
            ],
        )
        for value, slope in zip(middle, slopes, strict=True)
    ]


def _bends(
    model: Model, inputs: Sequence[Measured], found: Sequence[Measured]
) -> list[float]:
    slopes, curvatures = _differences(model, inputs)
    return [
        _bend(slope, curvature, one)
        for slope, curvature, one in zip(slopes, curvatures, found, strict=True)
    ]


def _bend(slope: Array, curvature: Array, found: Measured) -> float:
    if not np.isfinite(found.value).all():
        return math.nan
    if not (np.isfinite(slope).all() and np.isfinite(curvature).all()):
        return math.inf
    u, half = float(found.standard_uncertainty()[0]), float(found.half_width()[0])
    sigma = math.sqrt(float(slope @ slope) + 0.5 * float((curvature**2).sum()))
    if not half > 0.0:
        return math.inf if sigma > 0.0 else 0.0
    factor = half / u
    shift = 0.5 * float(np.trace(curvature))
    third = 3.0 * float(slope @ curvature @ slope)
    third += float(np.trace(curvature @ curvature @ curvature))
    leaning = (factor**2 - 1.0) / 6.0 * third / sigma**2 if sigma > 0.0 else 0.0
    wider = factor * (sigma - u)
    return max(abs(shift + leaning + wider), abs(shift + leaning - wider)) / half


def _differences(model: Model, inputs: Sequence[Measured]) -> tuple[Array, Array]:
    """First and second differences over one standard uncertainty.

    Returns:
        Shapes (figures, k) and (figures, k, k), along k independent directions of
        length one.
    """
    values = np.array([float(one.value[0]) for one in inputs])
    covariance = np.zeros((values.size, values.size))
    for factor, _ in _acting(inputs):
        covariance += factor @ factor.T
    root = _root(covariance)
    size = root.shape[1]
    units = np.eye(size)
    first, second = np.triu_indices(size, 1)
    both, across = units[first] + units[second], units[first] - units[second]
    steps = np.concatenate(
        [np.zeros((1, size)), units, -units, both, -both, across, -across]
    )
    found = _asked(model, values[:, np.newaxis] + root @ steps.T)
    pairs = first.size
    ends = np.cumsum([1, size, size, pairs, pairs, pairs])
    middle, more, less, up, down, along, back = np.split(found, ends, axis=1)
    curvature = np.zeros((found.shape[0], size, size))
    straight = np.arange(size)
    curvature[:, straight, straight] = more + less - 2.0 * middle
    mixed = (up + down - along - back) / 4.0
    curvature[:, first, second] = curvature[:, second, first] = mixed
    return (more - less) / 2.0, curvature

"""Values that share causes of error, with their covariance.

A ``Measured`` is n values, each a sum of independent named sources of error.
A source carries a factor: error = factor @ (independent unit errors), so two
results that rest on the same source stay correlated without anyone keeping
book. The law of propagation is GUM (JCGM 100:2008) 5.2, effective degrees of
freedom G.4.1. Nothing here decides what the sources are.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from daq.analysis.series import Array, Index

COVERAGE = 0.95
#: Above this many degrees of freedom Student's t is the normal to 1e-6.
MANY_DOF = 1e6


@dataclass(frozen=True, slots=True)
class Source:
    """One cause of error in n values.

    Attributes:
        factor: Shape (n,): a standard uncertainty of its own for each value,
            independent between values. Shape (n, k): the values share k
            independent unit errors.
        dof: Degrees of freedom of the uncertainty of each value, shape (n,);
            infinite where it is not an estimate from scatter.
    """

    factor: Array
    dof: Array

    @property
    def common(self) -> bool:
        """Whether the values share it."""
        return self.factor.ndim == 2

    def variance(self) -> Array:
        """Variance it gives each value, shape (n,)."""
        squared = self.factor**2
        return squared.sum(axis=1) if self.common else squared

    def covariance(self) -> Array:
        """Covariance it gives the values, shape (n, n)."""
        if self.common:
            return self.factor @ self.factor.T
        return np.diag(self.factor**2)

    def scaled(self, sensitivity: Array) -> "Source":
        """The source as it acts through a sensitivity for each value, (n,)."""
        factor = (sensitivity * self.factor.T).T
        return Source(factor, self.dof)

    def take(self, index: Index | Sequence[int]) -> "Source":
        """The part of the source that acts on the values at ``index``."""
        where = np.asarray(index, dtype=np.intp)
        return Source(self.factor[where], self.dof[where])

    def grouped(self, groups: Sequence[Index]) -> "Source":
        """The source in the plain means of some groups of values, (len(groups),).

        Groups have no value in common, so what was each value's own stays each
        mean's own.
        """
        if self.common:
            factor = np.stack([self.factor[group].mean(axis=0) for group in groups])
            dof = np.array([float(self.dof[group].min()) for group in groups])
            return Source(factor, dof)
        parts = [self.factor[group] ** 2 / group.size**2 for group in groups]
        own = np.array([math.sqrt(float(part.sum())) for part in parts])
        dofs = [
            float(welch(part, self.dof[group]))
            for part, group in zip(parts, groups, strict=True)
        ]
        return Source(own, np.array(dofs))

    def mapped(self, matrix: Array) -> "Source":
        """The source in ``matrix @ values``, shape (m, n) given.

        What each value had for itself is shared afterwards.
        """
        factor = matrix @ self.factor if self.common else matrix * self.factor
        dof = np.full(matrix.shape[0], np.inf)
        for row, weights in enumerate(matrix):
            used = np.flatnonzero(weights)
            if not used.size:
                continue
            if self.common:
                dof[row] = float(self.dof[used].min())
            else:
                parts = (weights[used] * self.factor[used]) ** 2
                dof[row] = float(welch(parts, self.dof[used]))
        return Source(factor, dof)


@dataclass(frozen=True, slots=True)
class Measured:
    """n values with the sources of their errors, by name.

    Attributes:
        value: Shape (n,); NaN where there is none.
        sources: Name to source. The same name in two results is the same cause.
    """

    value: Array
    sources: Mapping[str, Source]

    def variance(self) -> Array:
        """Combined variance, shape (n,)."""
        total = np.zeros(self.value.size)
        for source in self.sources.values():
            total += source.variance()
        return total

    def standard_uncertainty(self) -> Array:
        """Combined standard uncertainty, shape (n,)."""
        return np.sqrt(self.variance())

    def covariance(self) -> Array:
        """Full covariance of the values, shape (n, n)."""
        total = np.zeros((self.value.size, self.value.size))
        for source in self.sources.values():
            total += source.covariance()
        return total

    def own_uncertainty(self) -> Array:
        """Standard uncertainty from what no two values share, shape (n,)."""
        total = np.zeros(self.value.size)
        for source in self.sources.values():
            if not source.common:
                total += source.variance()
        return np.sqrt(total)

    def common_sources(self) -> tuple[Source, ...]:
        """The sources that values share."""
        return tuple(s for s in self.sources.values() if s.common)

    def dof(self) -> Array:
        """Effective degrees of freedom of each value (GUM G.4.1), shape (n,)."""
        if not self.sources:
            return np.full(self.value.size, np.inf)
        variances = np.stack([s.variance() for s in self.sources.values()])
        dofs = np.stack([s.dof for s in self.sources.values()])
        return welch(variances, dofs)

    def interval(self, coverage: float = COVERAGE) -> tuple[Array, Array]:
        """Low and high limit of each value, shapes (n,)."""
        half = self.half_width(coverage)
        return self.value - half, self.value + half

    def half_width(self, coverage: float = COVERAGE) -> Array:
        """Half of the interval of each value, shape (n,)."""
        return t_factor(self.dof(), coverage) * self.standard_uncertainty()

    def take(self, index: Index | Sequence[int]) -> "Measured":
        """The values at ``index``, still sharing their sources."""
        where = np.asarray(index, dtype=np.intp)
        sources = {name: s.take(where) for name, s in self.sources.items()}
        return Measured(self.value[where], sources)

    def grouped(self, groups: Sequence[Index]) -> "Measured":
        """Plain means of groups of values, each group given by its indices."""
        value = np.array([float(self.value[group].mean()) for group in groups])
        sources = {name: s.grouped(groups) for name, s in self.sources.items()}
        return Measured(value, sources)

    def mapped(self, matrix: Array) -> "Measured":
        """``matrix @ value``, shape (m, n) given, with its errors."""
        sources = {name: s.mapped(matrix) for name, s in self.sources.items()}
        return Measured(matrix @ self.value, sources)

    def renamed(self, name: Callable[[str], str]) -> "Measured":
        """The same values, their sources under other names.

        What is called the same in two results is the same cause: of another run it
        has to be called something else.
        """
        return Measured(self.value, {name(n): s for n, s in self.sources.items()})

    def where(self, used: Index) -> "Measured":
        """All values, those not used as zeros without any error."""
        keep = np.zeros(self.value.size, dtype=np.bool_)
        keep[used] = True
        sources = {}
        for name, source in self.sources.items():
            mask = keep[:, np.newaxis] if source.common else keep
            factor = np.where(mask, source.factor, 0.0)
            sources[name] = Source(factor, np.where(keep, source.dof, np.inf))
        return Measured(np.where(keep, self.value, 0.0), sources)

    def with_source(self, name: str, factor: Array) -> "Measured":
        """The same values with one more source of known size (not estimated)."""
        dof = np.full(self.value.size, np.inf)
        return Measured(self.value, {**self.sources, name: Source(factor, dof)})


def combine(value: Array, terms: Iterable[tuple[Array, Measured]]) -> Measured:
    """A result with the sensitivities of its inputs.

    Args:
        value: The result, shape (n,).
        terms: Pairs of partial derivative, shape (n,), and input.

    Returns:
        The result; a source met in two inputs acts once, through the sum of
        its paths (GUM 5.2, written with sources instead of covariances).

    Raises:
        ValueError: Two inputs use one name for sources of different kinds.
    """
    sources: dict[str, Source] = {}
    for sensitivity, measured in terms:
        for name, source in measured.sources.items():
            scaled = source.scaled(sensitivity)
            if name not in sources:
                sources[name] = scaled
                continue
            known = sources[name]
            if known.factor.shape != scaled.factor.shape:
                raise ValueError(f'two different sources are named "{name}"')
            sources[name] = Source(
                known.factor + scaled.factor, np.minimum(known.dof, scaled.dof)
            )
    return Measured(value, sources)


def derived(function: Callable[..., Array], *inputs: Measured) -> Measured:
    """A function of inputs, value by value, with their sources.

    Output i rests on the i-th value of each input alone. Sensitivities are central
    differences over a tenth of each standard uncertainty (GUM 5.1.3, note 2).

    Args:
        function: Of as many arrays of shape (n,) as there are inputs.
        inputs: Of n values each.
    """
    values = [measured.value for measured in inputs]
    terms: list[tuple[Array, Measured]] = []
    for place, measured in enumerate(inputs):
        step = small_step(measured)
        high, low = list(values), list(values)
        high[place], low[place] = values[place] + step, values[place] - step
        slope = (function(*high) - function(*low)) / (2 * step)
        terms.append((np.asarray(slope, dtype=np.float64), measured))
    return combine(np.asarray(function(*values), dtype=np.float64), terms)


def small_step(measured: Measured) -> Array:
    """How far each value is moved to see what that does, shape (n,)."""
    size = np.abs(measured.value)
    u = measured.standard_uncertainty()
    return np.where(u > 0, u / 10, np.where(size > 0, 1e-6 * size, 1e-6))


def exact(*value: float) -> Measured:
    """Values without any error."""
    return Measured(np.array(value), {})


def stated(value: float, cause: str, u: float) -> Measured:
    """One value that somebody stated, with its standard uncertainty and its cause."""
    return exact(value).with_source(cause, np.array([[u]]))


def minus(one: Measured, other: Measured) -> Measured:
    """The difference, with what the two share."""
    ones = np.ones(one.value.size)
    return combine(one.value - other.value, [(ones, one), (-ones, other)])


def plus(one: Measured, other: Measured) -> Measured:
    """The sum, with what the two share."""
    ones = np.ones(one.value.size)
    return combine(one.value + other.value, [(ones, one), (ones, other)])


def averaged(results: Sequence[Measured]) -> Measured:
    """The mean of some results of equal length, each with an equal share."""
    if len(results) == 1:
        return results[0]
    share = np.full(results[0].value.size, 1.0 / len(results))
    value = np.mean([one.value for one in results], axis=0)
    return combine(value, [(share, one) for one in results])


def effective_dof(u: ArrayLike, dof: ArrayLike) -> float:
    """Welch-Satterthwaite effective degrees of freedom.

    Args:
        u: Standard uncertainties of independent components.
        dof: Degrees of freedom of each; infinite for components not estimated
            from scatter.

    Returns:
        At least 1; infinite when no component was estimated. Never take the
        components from rounded totals: GUM H.1 gives 16.7 and not 17.5.
    """
    parts = np.asarray(u, dtype=np.float64) ** 2
    return float(welch(parts, np.asarray(dof, dtype=np.float64)))


def t_factor(dof: ArrayLike, coverage: float = COVERAGE) -> Array:
    """Coverage factor from Student's t, two-sided (GUM G.3 and table G.2).

    Degrees of freedom that are no whole number are used as they are, which is
    the interpolation that GUM G.4.1 allows.

    Args:
        dof: Degrees of freedom, above zero; infinite gives the normal factor.
        coverage: Share of the distribution inside plus and minus the factor.

    Returns:
        Factors in the shape of ``dof``.
    """
    # scipy.stats costs 1.7 s to import, scipy.special a tenth of it.
    from scipy.special import ndtri, stdtrit

    upper = 0.5 + coverage / 2
    asked = np.asarray(dof, dtype=np.float64)
    few = np.where(asked < MANY_DOF, asked, 1.0)
    student = np.asarray(stdtrit(few, upper), dtype=np.float64)
    return np.where(asked < MANY_DOF, student, float(ndtri(upper)))


def numeric_gradient(
    function: Callable[[Array], float], at: Array, steps: Array
) -> Array:
    """Central differences of a scalar function, shape of ``at``."""
    gradient = np.empty(at.size)
    for index, step in enumerate(steps):
        offset = np.zeros(at.size)
        offset[index] = step
        gradient[index] = (function(at + offset) - function(at - offset)) / (2 * step)
    return gradient


def welch(variances: Array, dof: Array) -> Array:
    """Effective degrees of freedom along the first axis (GUM G.2b).

    Args:
        variances: Shape (k, ...), variances of k independent components.
        dof: Degrees of freedom of each, broadcast against ``variances``.

    Returns:
        Shape (...), at least 1; infinite where nothing was estimated.
    """
    total = variances.sum(axis=0)
    spread = (variances**2 / dof).sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        nu = np.where(spread > 0, total**2 / spread, np.inf)
    return np.maximum(nu, 1.0)

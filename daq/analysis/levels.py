"""Fitting through levels: the plateaus of a staircase that share a throttle.

A model that misses the world misses both legs alike, so plateaus at one
throttle must not pass for independent witnesses. They are averaged first, with
what the legs disagree about as an uncertainty. Nothing here chooses a model.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from daq.analysis.fits import Fit, fit
from daq.analysis.legs import SAME_THROTTLE
from daq.analysis.measured import Measured, Source, combine
from daq.analysis.models import Model, PowerLaw, Rooted
from daq.analysis.series import Array, Index
from daq.errors import InputFault

#: No point weighs more than one of this relative uncertainty of the largest y.
SMALLEST_U_REL = 1e-6


@dataclass(frozen=True, slots=True)
class Relation:
    """What a curve is drawn through.

    Attributes:
        name: Name of the curve.
        x_quantity: What x is.
        y_quantity: What y is.
        x: Shape (n,), exact (throttle) or measured.
        y: Values against it.
        models: Candidates, simplest first.
        positive: Whether points at or below zero must be left out.
    """

    name: str
    x_quantity: str
    y_quantity: str
    x: Array | Measured
    y: Measured
    models: tuple[Model, ...]
    positive: bool = field(default=False)

    def x_value(self) -> Array:
        """Values of x without their errors, shape (n,)."""
        return self.x.value if isinstance(self.x, Measured) else self.x


def usable(relation: Relation, throttle_frac: Array) -> Index:
    """Plateaus that can carry the relation: spinning, with values and errors."""
    x, y = relation.x_value(), relation.y.value
    good = (throttle_frac > 0) & np.isfinite(x) & np.isfinite(y)
    good &= np.isfinite(relation.y.standard_uncertainty())
    if isinstance(relation.x, Measured):
        good &= np.isfinite(relation.x.standard_uncertainty())
    if relation.positive:
        good &= (x > 0) & (y > 0)
    return np.flatnonzero(good)


def levels(throttle_frac: Array, points: Index) -> list[Index]:
    """Plateaus in groups of one throttle, by rising throttle."""
    order = points[np.argsort(throttle_frac[points], kind="stable")]
    breaks = np.flatnonzero(np.diff(throttle_frac[order]) > SAME_THROTTLE) + 1
    return [group for group in np.split(order, breaks) if group.size]


@dataclass(frozen=True, slots=True)
class LevelFit:
    """A fit through levels, and how errors of the plateaus get into it.

    Attributes:
        fit: The fit.
        slope: Its derivative at each level, shape (levels,); zero for an exact x.
        scatter: What each level's mean is off by beyond noise: what the legs disagree
            about, and the misfit.
    """

    fit: Fit
    slope: Array
    scatter: Source


@dataclass(frozen=True, slots=True)
class Leveled:
    """A relation's plateaus as levels, for any model to be drawn through.

    Attributes:
        relation: What it is of.
        groups: Plateaus of each level.
        x: Mean of each level, shape (levels,).
        y: Likewise, with its errors.
        x_errors: Means of x with their errors; None for an exact x.
    """

    relation: Relation
    groups: list[Index]
    x: Array
    y: Measured
    x_errors: Measured | None


def leveled(relation: Relation, groups: list[Index]) -> Leveled:
    """Means of the levels of a relation."""
    x, y = relation.x, relation.y.grouped(groups)
    if isinstance(x, Measured):
        measured = x.grouped(groups)
        return Leveled(relation, groups, measured.value, y, measured)
    means = np.array([float(x[group].mean()) for group in groups])
    return Leveled(relation, groups, means, y, None)


def fit_levels(found: Leveled, model: Model) -> LevelFit | None:
    """Fit, with errors of x turned into errors of y along the slope.

    An error of x by d moves the point off the curve like an error of y by
    -f'(x) d. Errors that x and y share (the same thrust in both, the same
    current scale) meet in one source and may cancel. Two passes: the first
    gives the slope.
    """
    relation, groups, x, y = found.relation, found.groups, found.x, found.y
    floor = SMALLEST_U_REL * float(np.abs(y.value).max())
    if floor == 0 or (
        isinstance(model, PowerLaw | Rooted)
        and not (np.all(x > 0) and np.all(y.value > 0))
    ):
        return None
    slope = np.zeros(len(groups))
    through: LevelFit | None = None
    for _ in range(2):
        errors = y
        if found.x_errors is not None:
            ones = np.ones(len(groups))
            errors = combine(y.value, [(ones, y), (-slope, found.x_errors)])
        legs_u, legs_dof = _leg_scatter(relation, groups, slope)
        own = np.maximum(np.hypot(errors.own_uncertainty(), legs_u), floor)
        share = float(np.mean((legs_u / own) ** 2))
        try:
            fitted = fit(
                model,
                x,
                y.value,
                own,
                shared=errors.common_sources(),
                misfit_in_proportion=True,
                u_dof=legs_dof / share**2 if share > 0 else math.inf,
            )
        except InputFault:
            return None
        misfit = fitted.misfit_at(fitted.predict(x))
        dof = np.full(len(groups), fitted.own_dof)
        through = LevelFit(fitted, slope, Source(np.hypot(legs_u, misfit), dof))
        if found.x_errors is None:
            break
        slope = fitted.slope(x)
    return through


def _leg_scatter(
    relation: Relation, groups: list[Index], slope: Array
) -> tuple[Array, float]:
    """What the legs' disagreement is worth in each level's mean.

    Within a level plateaus differ by noise and by what changed between the
    legs. The variance beyond noise, in proportion to the square of the value,
    is estimated over all levels at once.

    Returns:
        Standard uncertainty of each mean, shape (levels,), and the degrees of
        freedom of the estimate.
    """
    y, x = relation.y.value, relation.x_value()
    own2 = relation.y.own_uncertainty() ** 2
    x_own2 = np.zeros(y.size)
    if isinstance(relation.x, Measured):
        x_own2 = relation.x.own_uncertainty() ** 2
    top = max(float(np.abs(y[group]).max()) for group in groups)
    excess, weight, dof = 0.0, 0.0, 0
    for group, rise in zip(groups, slope, strict=True):
        spare = group.size - 1
        off = y[group] - y[group].mean() - rise * (x[group] - x[group].mean())
        noise = (own2[group] + rise**2 * x_own2[group]).sum() * spare / group.size
        size = abs(float(y[group].mean())) / top
        excess += float(off @ off) - float(noise)
        weight += size**2 * spare
        dof += spare
    scatter = math.sqrt(max(0.0, excess) / weight) if weight > 0 else 0.0
    means = [
        abs(float(y[group].mean())) / top / math.sqrt(group.size) for group in groups
    ]
    return scatter * np.array(means), float(max(dof, 1))

"""Curves of a run: how one quantity goes with another, each with a band.

A staircase gives four to ten levels, up and down, so models are small and
chosen by a stated rule, and no curve claims anything outside the levels that
were measured. What plateaus share goes through every fit. Nothing here averages
readings or turns a curve into a sentence.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.analysis.fits import Fit
from daq.analysis.levels import (
    Relation,
    fit_levels,
    leveled,
    levels,
    usable,
)
from daq.analysis.measured import COVERAGE, Measured, Source, combine, t_factor
from daq.analysis.models import CubeRoot, Model, Polynomial, PowerLaw, Rooted
from daq.analysis.plateaus import Plateaus
from daq.analysis.series import Array, Index

#: Models for a quantity against throttle. Thrust, current and power are zero
#: with the motor at rest, so those through the origin come first; with a
#: constant where the motor starts with a step. Order breaks ties.
THROTTLE_MODELS: tuple[Model, ...] = (
    Polynomial((1,)),
    PowerLaw(),
    Polynomial((0, 1)),
    Polynomial((1, 2)),
    Polynomial((0, 1, 2)),
    Polynomial((1, 2, 3)),
    Polynomial((0, 1, 2, 3)),
)
#: Models for specific thrust against thrust: nothing forces it through zero.
SPECIFIC_MODELS: tuple[Model, ...] = (
    PowerLaw(),
    Polynomial((0, 1)),
    Polynomial((0, 1, 2)),
    Polynomial((0, 1, 2, 3)),
)
#: Thrust against power. What motor and speed controller lose is a large share at
#: low power, so the exponent falls with power and a single one rarely fits. With
#: a constant: momentum theory's square of the root less a fixed loss.
POWER_MODELS: tuple[Model, ...] = (
    PowerLaw(),
    CubeRoot((1, 2)),
    CubeRoot((0, 2)),
    CubeRoot((1, 2, 3)),
)
#: For the exponent of thrust against power, which is a figure of its own: how
#: thrust grew over the whole range, whatever curve goes through the points best.
EXPONENT_MODELS: tuple[Model, ...] = (PowerLaw(),)
#: What a bare motor takes against its speed: friction is there from the start.
BARE_MODELS: tuple[Model, ...] = (
    Polynomial((0, 1)),
    Polynomial((0, 1, 2)),
    PowerLaw(),
)
#: A model within this much of the best by Akaike's criterion is as good.
AICC_TIE = 2.0
#: Levels that a fit must leave to spare, to see whether it fits.
SPARE_LEVELS = 2
#: Akaike weights below this change nothing.
SMALLEST_WEIGHT = 1e-3
BAND_POINTS = 41


@dataclass(frozen=True, slots=True)
class Origin:
    """What a curve was drawn through, so that its errors can be followed back.

    Attributes:
        x: All plateaus' x; None where it is exact.
        y: All plateaus' y.
        groups: Plateaus of each level.
        slope: Derivative of the curve at each level, shape (levels,).
        scatter: What each level's mean is off by beyond noise.
    """

    x: Measured | None
    y: Measured
    groups: tuple[Index, ...]
    slope: Array
    scatter: Source

    @property
    def used(self) -> Index:
        """The plateaus used."""
        return np.concatenate(self.groups)

    def averaging(self) -> Array:
        """Means of levels from plateaus, a matrix (levels, plateaus)."""
        matrix = np.zeros((len(self.groups), self.y.value.size))
        for level, group in enumerate(self.groups):
            matrix[level, group] = 1.0 / group.size
        return matrix


@dataclass(frozen=True, slots=True)
class Curve:
    """A fitted relation with its covariance.

    Attributes:
        name: Which curve.
        x_quantity: What x is, with its SI unit as suffix.
        y_quantity: What y is, with its SI unit as suffix.
        fit: The fit.
        rivals: The other models with their Akaike weights, as far as they
            count: what they disagree about is in the band.
        points: Numbers of the plateaus used, m of them.
        x: Shape (m,).
        y: Shape (m,).
        y_u: Combined standard uncertainty of each y, shape (m,).
        throttle_frac: Throttle of each point, shape (m,).
        origin: What it was drawn through.
    """

    name: str
    x_quantity: str
    y_quantity: str
    fit: Fit
    rivals: tuple[tuple[Fit, float], ...]
    points: tuple[int, ...]
    x: Array
    y: Array
    y_u: Array
    throttle_frac: Array
    origin: Origin

    @property
    def model(self) -> str:
        """The model in words."""
        return self.fit.model.words

    @property
    def coefficients(self) -> Array:
        """Coefficients in SI, shape (p,)."""
        return self.fit.coefficients

    @property
    def covariance(self) -> Array:
        """Covariance of the coefficients, shape (p, p)."""
        return self.fit.covariance

    @property
    def lack_of_fit(self) -> float:
        """Standard deviation by which the points miss the model beyond noise."""
        return self.fit.misfit_sd

    @property
    def misfit_share(self) -> float:
        """The same as a share of the largest y."""
        return self.lack_of_fit / float(np.abs(self.y).max())

    def band(self, x: Array, coverage: float = COVERAGE) -> tuple[Array, Array, Array]:
        """The curve and the interval of the true relation at x (SI).

        The interval holds the fit's own band and, after K. P. Burnham, D. R.
        Anderson, Model Selection and Multimodel Inference (2002) 4.3, how far
        models that do nearly as well lie from the chosen one.

        Returns:
            y, low and high, shapes (n,); NaN outside the measured range, where
            the curve says nothing.
        """
        asked = np.asarray(x, dtype=np.float64)
        inside = (asked >= self.x.min()) & (asked <= self.x.max())
        safe = np.where(inside, asked, self.x.max())
        y, low, high = self.fit.band(safe, coverage)
        factor = float(t_factor(math.inf, coverage))
        half = np.hypot((high - low) / 2, factor * self._rivalry(safe))
        y = np.where(inside, y, math.nan)
        return y, y - half, y + half

    def at(self, x: Array) -> Measured:
        """The curve at x (SI) with the sources of its errors, by name.

        What the band holds, but kept apart, so that it can be combined with what
        shares a source with it: another curve of the run, or another run's. The
        misfit and the rivals' disagreement are a source of the curve's own: alike at
        neighbouring x, each for itself from one level to the next. Outside the
        measured range the curve is carried on as it is: whoever asks there must say
        so.

        Args:
            x: Shape (n,), exact.
        """
        fit, origin = self.fit, self.origin
        y = fit.predict(x)
        weights = fit.model.gradient(x, fit.coefficients) @ fit.estimator
        onto_levels = origin.averaging()
        ones = np.ones(x.size)
        terms = [(ones, origin.y.where(origin.used).mapped(weights @ onto_levels))]
        if origin.x is not None:
            along = (weights * -origin.slope) @ onto_levels
            terms.append((ones, origin.x.where(origin.used).mapped(along)))
        dof = np.full(x.size, fit.own_dof)
        shape = np.hypot(fit.misfit_at(y), self._rivalry(x))
        found = combine(y, terms)
        return Measured(
            y,
            {
                **found.sources,
                f"scatter about {self.name}": Source(
                    weights * origin.scatter.factor, dof
                ),
                f"shape of {self.name}": Source(
                    self._nearby(x) * shape[:, np.newaxis], dof
                ),
            },
        )

    def _nearby(self, x: Array) -> Array:
        """Shares of each level in what the curve misses at x, rows of length one."""
        known = dict(zip(self.points, self.x.tolist(), strict=True))
        levels_x = [[known[int(p)] for p in group] for group in self.origin.groups]
        knots = np.sort([sum(level) / len(level) for level in levels_x])
        units = np.eye(knots.size)
        weights = np.stack([np.interp(x, knots, unit) for unit in units], axis=1)
        length = np.sqrt((weights**2).sum(axis=1))
        return np.asarray(weights / length[:, np.newaxis], dtype=np.float64)

    def covers(self, x: float, beyond: float = 0.0) -> bool:
        """Whether x was measured, or lies beyond by at most that share of the range."""
        low, high = float(self.x.min()), float(self.x.max())
        margin = beyond * (high - low)
        return low - margin <= x <= high + margin

    def _rivalry(self, x: Array) -> Array:
        """How far models that do nearly as well lie away, shape (n,)."""
        spread = np.zeros(x.size)
        y = self.fit.predict(x)
        for rival, weight in self.rivals:
            spread += weight * (rival.predict(x) - y) ** 2
        return np.sqrt(spread)

    def to_dict(self) -> dict[str, object]:
        """Everything needed to draw or use the curve again, for JSON."""
        x = np.linspace(self.x.min(), self.x.max(), BAND_POINTS)
        y, low, high = self.band(x)
        return {
            "name": self.name,
            "x_quantity": self.x_quantity,
            "y_quantity": self.y_quantity,
            "model": self.model,
            "powers": list(self.fit.model.powers)
            if isinstance(self.fit.model, Polynomial | Rooted)
            else None,
            "powers_of": _powers_of(self.fit.model),
            "rivals": [
                {
                    "model": rival.model.words,
                    "weight": weight,
                    "coefficients": rival.coefficients.tolist(),
                }
                for rival, weight in self.rivals
            ],
            "coefficients": self.coefficients.tolist(),
            "covariance": self.covariance.tolist(),
            "points": list(self.points),
            "x": self.x.tolist(),
            "y": self.y.tolist(),
            "y_u": self.y_u.tolist(),
            "lack_of_fit": self.lack_of_fit,
            "lack_of_fit_in_proportion": self.fit.misfit_top is not None,
            "chi2": None if math.isnan(self.fit.chi2) else self.fit.chi2,
            "dof": self.fit.dof,
            "residual_sd": self.fit.residual_sd,
            "r_squared": None if math.isnan(self.fit.r_squared) else self.fit.r_squared,
            "r_squared_about": self.fit.r_squared_about,
            "coverage": COVERAGE,
            "band": {
                "x": x.tolist(),
                "y": y.tolist(),
                "low": low.tolist(),
                "high": high.tolist(),
            },
        }


def draw_curves(
    plateaus: Plateaus, power: Measured | None, specific: Measured | None
) -> tuple[Curve, ...]:
    """All curves for which the run has the channels and enough points.

    The model is chosen among those that leave ``SPARE_LEVELS`` levels to spare:
    the fewest coefficients within ``AICC_TIE`` of the lowest small-sample Akaike
    criterion, the earlier in the list if two are equal. What the others say
    counts in the band by their Akaike weights.

    Args:
        plateaus: The averaged run.
        power: Electrical power of the plateaus, in watt.
        specific: Specific thrust of the plateaus, in N/W.

    Returns:
        Curves; one that cannot be drawn honestly is left out.
    """
    throttle = plateaus.throttle_frac
    thrust = plateaus.measured("thrust")
    relations = _against_throttle(
        throttle,
        (
            ("thrust against throttle", "thrust_n", thrust),
            ("current against throttle", "current_a", plateaus.measured("current")),
            ("power against throttle", "power_w", power),
            ("speed against throttle", "speed_rad_s", plateaus.measured("speed")),
        ),
    )
    if thrust is not None and power is not None:
        relations.append(_by_power(power, thrust, POWER_MODELS))
    if thrust is not None and specific is not None:
        relations.append(
            Relation(
                "specific thrust against thrust",
                "thrust_n",
                "specific_thrust_n_w",
                thrust,
                specific,
                SPECIFIC_MODELS,
                positive=True,
            )
        )
    curves = (draw(relation, throttle) for relation in relations)
    return tuple(curve for curve in curves if curve is not None)


def _against_throttle(
    throttle_frac: Array, wanted: Sequence[tuple[str, str, Measured | None]]
) -> list[Relation]:
    """Relations against throttle, for what the run has."""
    return [
        Relation(
            name, "throttle_frac", quantity, throttle_frac, measured, THROTTLE_MODELS
        )
        for name, quantity, measured in wanted
        if measured is not None
    ]


def draw_bare_curves(plateaus: Plateaus, power: Measured | None) -> tuple[Curve, ...]:
    """The curves of a motor without its propeller, chosen as in ``draw_curves``.

    Args:
        plateaus: The averaged run.
        power: Electrical power of the plateaus, in watt.
    """
    throttle = plateaus.throttle_frac
    current, speed = plateaus.measured("current"), plateaus.measured("speed")
    relations = _against_throttle(
        throttle,
        (
            ("current against throttle", "current_a", current),
            ("power against throttle", "power_w", power),
            ("speed against throttle", "speed_rad_s", speed),
        ),
    )
    if current is not None and speed is not None:
        relations.append(
            Relation(
                "current against speed",
                "speed_rad_s",
                "current_a",
                speed,
                current,
                BARE_MODELS,
            )
        )
    curves = (draw(relation, throttle) for relation in relations)
    return tuple(curve for curve in curves if curve is not None)


def draw_exponent(plateaus: Plateaus, power: Measured | None) -> Curve | None:
    """A single power law of thrust against power, for its exponent.

    Args:
        plateaus: The averaged run.
        power: Electrical power of the plateaus, in watt.

    Returns:
        None without the channels or with too few levels.
    """
    thrust = plateaus.measured("thrust")
    if thrust is None or power is None:
        return None
    return draw(_by_power(power, thrust, EXPONENT_MODELS), plateaus.throttle_frac)


def _by_power(power: Measured, thrust: Measured, models: tuple[Model, ...]) -> Relation:
    return Relation(
        "thrust against power",
        "power_w",
        "thrust_n",
        power,
        thrust,
        models,
        positive=True,
    )


def _powers_of(model: Model) -> str | None:
    """What the powers in ``powers`` are of."""
    if isinstance(model, Rooted):
        return f"{model.root_words} of x"
    return "x" if isinstance(model, Polynomial) else None


def draw(relation: Relation, throttle_frac: Array) -> Curve | None:
    """One curve, or None when no model leaves levels to spare.

    Plateaus at one throttle are one level: the fit goes through the means of
    levels, since a model that misses the world misses both legs alike. By how
    much the legs differ beyond their noise is an uncertainty of those means.

    Args:
        relation: What to draw.
        throttle_frac: Throttle of each plateau; those at zero are not used, and
            it tells which belong to one level.
    """
    points = usable(relation, throttle_frac)
    groups = levels(throttle_frac, points)
    taken = relation.y.take(points)
    models = [m for m in relation.models if m.count <= len(groups) - SPARE_LEVELS]
    if not models:
        return None
    means = leveled(relation, groups)
    tried = [f for m in models if (f := fit_levels(means, m)) is not None]
    if not tried:
        return None
    fits = [found.fit for found in tried]
    chosen = _chosen(fits)
    through = next(found for found in tried if found.fit is chosen)
    return Curve(
        name=relation.name,
        x_quantity=relation.x_quantity,
        y_quantity=relation.y_quantity,
        fit=chosen,
        rivals=_rivals(fits, chosen),
        points=tuple(int(point) for point in points),
        x=relation.x_value()[points],
        y=taken.value,
        y_u=taken.standard_uncertainty(),
        throttle_frac=throttle_frac[points],
        origin=Origin(
            x=relation.x if isinstance(relation.x, Measured) else None,
            y=relation.y,
            groups=tuple(groups),
            slope=through.slope,
            scatter=through.scatter,
        ),
    )


def _chosen(fits: Sequence[Fit]) -> Fit:
    lowest = min(found.aicc for found in fits)
    as_good = [f for f in fits if f.aicc <= lowest + AICC_TIE] or list(fits)
    return min(as_good, key=lambda found: found.model.count)


def _rivals(fits: Sequence[Fit], chosen: Fit) -> tuple[tuple[Fit, float], ...]:
    """Models that were not chosen, with Akaike weights worth keeping."""
    lowest = min(found.aicc for found in fits)
    if not math.isfinite(lowest):
        return ()
    likelihood = [math.exp((lowest - found.aicc) / 2) for found in fits]
    total = sum(likelihood)
    return tuple(
        (found, share / total)
        for found, share in zip(fits, likelihood, strict=True)
        if found is not chosen and share / total > SMALLEST_WEIGHT
    )

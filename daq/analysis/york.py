"""A straight line through points that are uncertain in both directions.

D. York, N. M. Evensen, M. L. Martinez, J. De Basabe Delgado, Unified equations for the
slope, intercept, and standard errors of the best straight line, Am. J. Phys. 72 (2004)
367-375, without correlation between the two errors of a point. Standard errors are
those of that paper, at the adjusted points and not scaled by the misfit. Only what is
each point's own belongs in the weights; what points share is put through
``sensitivities`` afterwards.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.analysis.series import Array
from daq.errors import InputFault

ITERATIONS: Final = 200
#: Relative change of the slope at which it has come to rest.
AT_REST: Final = 1e-14
#: Part of an uncertainty over which a sensitivity is a difference.
STEP: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Line:
    """y = intercept + slope x.

    Attributes:
        slope: In units of y over units of x.
        intercept: In units of y.
        slope_u: Standard uncertainty of the slope.
        intercept_u: Standard uncertainty of the intercept.
        chi2: Weighted sum of squares.
        dof: Points less two.
    """

    slope: float
    intercept: float
    slope_u: float
    intercept_u: float
    chi2: float
    dof: int


@dataclass(frozen=True, slots=True)
class Sensitivities:
    """How slope and intercept move with each coordinate, all of shape (n,)."""

    slope_x: Array
    slope_y: Array
    intercept_x: Array
    intercept_y: Array


def line(x: Array, y: Array, u_x: Array, u_y: Array) -> Line:
    """The best straight line.

    Args:
        x: Shape (n,).
        y: Shape (n,).
        u_x: Standard uncertainty of each x that is its own, shape (n,), above zero.
        u_y: The same of each y.

    Raises:
        InputFault: Fewer than three points, all at one x, a number that is not
            finite, or an uncertainty that is not above zero.
    """
    _check(x, y, u_x, u_y)
    weight_x, weight_y = 1.0 / u_x**2, 1.0 / u_y**2
    slope = _start(x, y, u_y)
    for _ in range(ITERATIONS):
        before = slope
        slope = _next(x, y, weight_x, weight_y, slope)
        if abs(slope - before) <= AT_REST * abs(slope):
            break
    weight = weight_x * weight_y / (weight_x + slope**2 * weight_y)
    x_bar, y_bar = np.average(x, weights=weight), np.average(y, weights=weight)
    intercept = float(y_bar - slope * x_bar)
    adjusted = x_bar + _turned(x, y, weight_x, weight_y, slope)
    middle = np.average(adjusted, weights=weight)
    variance = 1.0 / float((weight * (adjusted - middle) ** 2).sum())
    return Line(
        slope=slope,
        intercept=intercept,
        slope_u=float(np.sqrt(variance)),
        intercept_u=float(np.sqrt(1.0 / weight.sum() + middle**2 * variance)),
        chi2=float((weight * (y - intercept - slope * x) ** 2).sum()),
        dof=x.size - 2,
    )


def sensitivities(x: Array, y: Array, u_x: Array, u_y: Array) -> Sensitivities:
    """How the line moves with each coordinate of each point, weights held.

    By central differences (GUM 5.1.3, note 2).

    Raises:
        InputFault: As ``line``.
    """

    def moved(by_x: Array, by_y: Array, span: float) -> tuple[float, float]:
        high = line(x + by_x, y + by_y, u_x, u_y)
        low = line(x - by_x, y - by_y, u_x, u_y)
        slope, intercept = high.slope - low.slope, high.intercept - low.intercept
        return slope / span, intercept / span

    steps_x, steps_y = np.diag(STEP * u_x), np.diag(STEP * u_y)
    still = np.zeros(x.size)
    of_x = np.array([moved(step, still, 2 * step.max()) for step in steps_x])
    of_y = np.array([moved(still, step, 2 * step.max()) for step in steps_y])
    return Sensitivities(of_x[:, 0], of_y[:, 0], of_x[:, 1], of_y[:, 1])


def _check(x: Array, y: Array, u_x: Array, u_y: Array) -> None:
    if x.size < 3 or not x.shape == y.shape == u_x.shape == u_y.shape:
        raise InputFault(
            f"a line with errors both ways needs three points or more, got {x.size}"
        )
    numbers = np.concatenate((x, y, u_x, u_y))
    if not np.all(np.isfinite(numbers)) or np.ptp(x) <= 0:
        raise InputFault(
            "a line with errors both ways needs finite points, and not all at one x"
        )
    if min(u_x.min(), u_y.min()) <= 0:
        raise InputFault(
            "a line with errors both ways needs an uncertainty above zero at each point"
        )


def _start(x: Array, y: Array, u_y: Array) -> float:
    """The slope by weights of y alone."""
    slope, _ = np.polyfit(x, y, 1, w=1.0 / u_y)
    return float(slope)


def _turned(
    x: Array, y: Array, weight_x: Array, weight_y: Array, slope: float
) -> Array:
    """York's beta: how far each adjusted point lies from the middle."""
    weight = weight_x * weight_y / (weight_x + slope**2 * weight_y)
    u = x - np.average(x, weights=weight)
    v = y - np.average(y, weights=weight)
    beta: Array = weight * (u / weight_y + slope * v / weight_x)
    return beta


def _next(x: Array, y: Array, weight_x: Array, weight_y: Array, slope: float) -> float:
    weight = weight_x * weight_y / (weight_x + slope**2 * weight_y)
    u = x - np.average(x, weights=weight)
    v = y - np.average(y, weights=weight)
    beta = _turned(x, y, weight_x, weight_y, slope)
    return float((weight * beta * v).sum() / (weight * beta * u).sum())

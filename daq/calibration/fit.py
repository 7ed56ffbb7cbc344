"""Least squares of a polynomial that is linear in its coefficients.

The estimate is kept as a matrix (coefficients = matrix @ y), so that every known cause
of error in y can be carried into the coefficients by itself, correlated as it is
(JCGM 100:2008, 5.2.2 and H.3). Nothing here chooses a model.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from daq.errors import InputFault

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Polynomial:
    """A fitted polynomial y = sum of c_p * x**p.

    Attributes:
        powers: which powers it has, rising.
        coefficients: shape (p,).
        estimator: shape (p, n): coefficients = estimator @ y.
        residuals: y less the fit, shape (n,).
        dof: n less the number of coefficients.
    """

    powers: tuple[int, ...]
    coefficients: Array
    estimator: Array
    residuals: Array
    dof: int

    @property
    def residual_sd(self) -> float:
        """Standard deviation of one y about the fit; NaN without freedom."""
        if self.dof <= 0:
            return math.nan
        return math.sqrt(float(self.residuals @ self.residuals) / self.dof)

    def covariance(self, sd: float | None = None) -> Array:
        """Covariance of the coefficients from independent scatter, shape (p, p).

        Args:
            sd: standard deviation of one y; None: that of the residuals.
        """
        scatter = self.residual_sd if sd is None else sd
        spread = scatter**2 * self.estimator @ self.estimator.T
        return np.asarray(spread, dtype=np.float64)

    def basis(self, x: Array) -> Array:
        """The powers of some x, shape (n, p)."""
        return np.stack([x**power for power in self.powers], axis=1)

    def value(self, x: Array) -> Array:
        """The polynomial at some x."""
        return np.asarray(self.basis(x) @ self.coefficients, dtype=np.float64)

    def u(self, x: Array) -> Array:
        """Standard uncertainty of the polynomial at some x, from scatter alone."""
        basis = self.basis(x)
        variance = np.einsum("np,pq,nq->n", basis, self.covariance(), basis)
        return np.asarray(np.sqrt(variance), dtype=np.float64)


def fit_polynomial(
    x: Array,
    y: Array,
    powers: Sequence[int],
    weights: Array | None = None,
) -> Polynomial:
    """Fit by weighted least squares.

    x is scaled by its largest magnitude before the powers are taken, and the columns
    are made orthogonal, or a quadratic of large loads would lose its last digits.

    Args:
        x: shape (n,).
        y: shape (n,).
        powers: of x, rising.
        weights: one over the relative variance of each y; None: all alike, as H.3.

    Raises:
        InputFault: fewer values than coefficients, or all x alike.
    """
    kept = tuple(powers)
    scale = float(np.abs(x).max()) if x.size else 0.0
    design = np.stack([(x / (scale or 1.0)) ** power for power in kept], axis=1)
    root = np.ones(x.size) if weights is None else np.sqrt(weights)
    weighted = design * root[:, np.newaxis]
    if x.size < len(kept) or np.linalg.matrix_rank(weighted) < len(kept):
        raise InputFault(
            f"{np.unique(x).size} different values cannot give {len(kept)} figures of "
            "a scale; take more, further apart"
        )
    ortho, upper = np.linalg.qr(weighted)
    estimator = np.linalg.solve(upper, ortho.T) * root
    scaled = estimator @ y
    # One step of refinement: what rounding left in the residuals.
    scaled = scaled + estimator @ (y - design @ scaled)
    unit = np.array([scale**-power for power in kept])
    return Polynomial(
        powers=kept,
        coefficients=scaled * unit,
        estimator=estimator * unit[:, np.newaxis],
        residuals=np.asarray(y - design @ scaled, dtype=np.float64),
        dof=x.size - len(kept),
    )


@dataclass(frozen=True, slots=True)
class ForceGrade:
    """How low a calibrated instrument may be used, by ASTM E74-18, 8.5 and 8.6.

    Attributes:
        lower_limit_factor: 2.4 standard deviations, in the unit of the load; about
            99 % of errors lie within.
        class_a: lowest load of class A, 400 times that (0.25 % at most).
        class_aa: lowest load of class AA, 2000 times that (0.05 %).
    """

    lower_limit_factor: float
    class_a: float
    class_aa: float


def force_grade(load: Array, deflection: Array, degree: int = 2) -> ForceGrade:
    """ASTM E74's arithmetic: deflection fitted on load, zero no point of it.

    Args:
        load: applied, shape (n,), none of them zero.
        deflection: as read, shape (n,).
        degree: of the polynomial.
    """
    fitted = fit_polynomial(load, deflection, range(degree + 1))
    factor = 2.4 * fitted.residual_sd * float(np.mean(load / deflection))
    return ForceGrade(factor, 400.0 * factor, 2000.0 * factor)

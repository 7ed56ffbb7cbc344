"""Least squares with covariance: polynomials and the power law.

Weights come from what each point has for itself; what points share (scale
factors, zeros, density) is carried through the fit afterwards, because a common
scale error inside the weights would pull the curve down (R. W. Peelle's
puzzle). Where the model is not the world, a misfit is added and said. Fitting
is in the quantity itself, never in logarithms. Nothing here chooses a model.

The iteration is our own although a library has one: the library's costs 0.4 to
0.9 s at import, more than all the rest of an analysis, and this one is held to
the same certified results (NIST StRD).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.analysis.measured import COVERAGE, Source, t_factor, welch
from daq.analysis.models import Model, Polynomial
from daq.analysis.series import Array
from daq.errors import InputFault

MAX_ITERATIONS = 200
#: A misfit in proportion to the value never counts as less than this share of
#: what it is at the largest value.
MISFIT_FLOOR = 0.1


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted model.

    Attributes:
        model: What was fitted.
        coefficients: Shape (p,).
        covariance: Of the coefficients, everything in it, shape (p, p).
        own_covariance: The part from what each point has for itself.
        estimator: How an error of each point's y moves the coefficients, (p, n).
        shared: Errors that points share, as they act on the coefficients:
            pairs of factor (p, k) and degrees of freedom.
        residual_sd: sqrt(sum of squared residuals / dof), in the unit of y.
        dof: Points less coefficients.
        chi2: Weighted sum of squared residuals before any misfit was added;
            NaN without uncertainties.
        misfit_sd: Standard deviation of the world about the model beyond the
            points' own uncertainty; at the largest y if ``misfit_top`` is set.
        misfit_top: Largest fitted y where the misfit goes in proportion to y;
            None where it is the same everywhere.
        own_dof: Degrees of freedom of the own part (and of the misfit).
        r_squared: 1 - SSR/SST with the weights of the fit.
        r_squared_about: ``mean`` or ``zero``: what SST is taken about. About
            zero for a model without a constant, as NIST does.
        aicc: Akaike's criterion with the small-sample term, for choosing
            between models of the same points.
    """

    model: Model
    coefficients: Array
    covariance: Array
    own_covariance: Array
    estimator: Array
    shared: tuple[tuple[Array, float], ...]
    residual_sd: float
    dof: int
    chi2: float
    misfit_sd: float
    misfit_top: float | None
    own_dof: float
    r_squared: float
    r_squared_about: str
    aicc: float

    @property
    def coefficient_sd(self) -> Array:
        """Standard uncertainties of the coefficients, shape (p,)."""
        return np.sqrt(np.diag(self.covariance))

    def predict(self, x: Array) -> Array:
        """The curve at x, shape (n,)."""
        return self.model.value(x, self.coefficients)

    def slope(self, x: Array) -> Array:
        """Its derivative with respect to x, shape (n,)."""
        return self.model.slope(x, self.coefficients)

    def interval(self, index: int, coverage: float = COVERAGE) -> tuple[float, float]:
        """Low and high limit of one coefficient."""
        unit = np.zeros((1, self.model.count))
        unit[0, index] = 1.0
        half = float(self._half_width(unit, np.zeros(1), coverage)[0])
        value = float(self.coefficients[index])
        return value - half, value + half

    def band(self, x: Array, coverage: float = COVERAGE) -> tuple[Array, Array, Array]:
        """The curve with the interval in which the true relation lies at x.

        Pointwise, not simultaneous. The misfit is in it: a model that is not
        the world misses it by about that much anywhere.

        Returns:
            y, low and high, shapes (n,).
        """
        y = self.predict(x)
        gradient = self.model.gradient(x, self.coefficients)
        half = self._half_width(gradient, self.misfit_at(y), coverage)
        return y, y - half, y + half

    def misfit_at(self, y: Array) -> Array:
        """Misfit where the curve has the value y, shape (n,)."""
        return self.misfit_sd * _misfit_shape(y, self.misfit_top)

    def _half_width(self, gradient: Array, misfit: Array, coverage: float) -> Array:
        own = np.einsum("ij,jk,ik->i", gradient, self.own_covariance, gradient)
        parts = [np.maximum(own, 0.0) + misfit**2]
        dofs = [self.own_dof]
        for factor, dof in self.shared:
            parts.append(((gradient @ factor) ** 2).sum(axis=1))
            dofs.append(dof)
        variances = np.stack(parts)
        nu = welch(variances, np.array(dofs)[:, np.newaxis])
        return np.asarray(
            t_factor(nu, coverage) * np.sqrt(variances.sum(axis=0)), dtype=np.float64
        )


def fit_line(x: Array, y: Array, u_y: Array | None = None) -> Fit:
    """Straight line y = c0 + c1 x; see ``fit``."""
    return fit(Polynomial((0, 1)), x, y, u_y)


def fit(
    model: Model,
    x: Array,
    y: Array,
    u_y: Array | None = None,
    *,
    shared: Sequence[Source] = (),
    misfit_in_proportion: bool = False,
    u_dof: float = math.inf,
    start: Array | None = None,
) -> Fit:
    """Fit a model by least squares in y.

    Without uncertainties all points weigh the same and the covariance is scaled
    by the residual variance (the convention of NIST StRD). With them the
    covariance is what they say, and the rule for lack of fit is: when chi^2
    exceeds its degrees of freedom, the same variance (or one in proportion to
    y^2) is added to every point until chi^2 equals them (R. C. Paule, J. Mandel,
    Consensus values and weighting factors, J. Res. NBS 87, 1982, 377-385). It
    widens coefficients and band, and the chi^2 from before is kept.

    Args:
        model: What to fit.
        x: Shape (n,).
        y: Shape (n,).
        u_y: Standard uncertainty that each point has for itself, shape (n,),
            above zero; None if unknown.
        shared: Sources of error of y that points share, with factors (n, k).
        misfit_in_proportion: Whether a misfit grows with the value.
        u_dof: Degrees of freedom of ``u_y``, taken together.
        start: Coefficients to start from, shape (p,); the model's own if None.

    Returns:
        The fit.

    Raises:
        InputFault: Too few points, values that are not finite, uncertainties
            that are not above zero, or an iteration that does not settle.
    """
    _check(model, x, y, u_y)
    sigma = np.ones(x.size) if u_y is None else u_y
    first = model.start(x, y) if start is None else start
    c = minimise(model, x, y, sigma, first)
    dof = x.size - model.count
    chi2 = _chi2(model, x, y, sigma, c)
    misfit, top = 0.0, None
    if u_y is not None and chi2 > dof > 0:
        top = _top(model.value(x, c)) if misfit_in_proportion else None
        c, misfit = _with_misfit(model, x, y, u_y, c, top)
        shape = _misfit_shape(model.value(x, c), top)
        sigma = np.sqrt(u_y**2 + (misfit * shape) ** 2)
    estimator, own = _estimator(model, x, sigma, c)
    residual = y - model.value(x, c)
    variance = math.nan if dof == 0 else float(residual @ residual) / dof
    if u_y is None:
        own = own * variance
        sigma = np.full(x.size, math.sqrt(float(residual @ residual) / x.size))
    acting = tuple(
        (estimator @ source.factor, float(source.dof.min())) for source in shared
    )
    covariance = own + sum(
        (factor @ factor.T for factor, _ in acting), np.zeros_like(own)
    )
    r_squared, about = _r_squared(model, y, residual, sigma)
    return Fit(
        model=model,
        coefficients=c,
        covariance=covariance,
        own_covariance=own,
        estimator=estimator,
        shared=acting,
        residual_sd=math.sqrt(variance),
        dof=dof,
        chi2=math.nan if u_y is None else chi2,
        misfit_sd=misfit,
        misfit_top=top,
        own_dof=float(dof) if u_y is None else _own_dof(dof, u_y, sigma, u_dof),
        r_squared=r_squared,
        r_squared_about=about,
        aicc=_aicc(residual, sigma, model.count),
    )


def minimise(model: Model, x: Array, y: Array, sigma: Array, start: Array) -> Array:
    """Coefficients that minimise sum(((y - f) / sigma)^2).

    Gauss-Newton steps on columns scaled to one length, damped (D. W. Marquardt,
    J. SIAM 11, 1963, 431-441) as soon as one fails to improve. A linear model is
    there after one step; the second takes off its rounding error.

    Raises:
        InputFault: No convergence in ``MAX_ITERATIONS`` steps.
    """
    c, damping = start, 0.0
    best = _chi2(model, x, y, sigma, c)
    for _ in range(MAX_ITERATIONS):
        step = _step(model, x, y, sigma, c, damping)
        with np.errstate(over="ignore", invalid="ignore"):
            new = _chi2(model, x, y, sigma, c + step)
        small = bool(np.all(np.abs(step) <= 1e-13 * np.abs(c)))
        if new <= best:
            c, best = c + step, new
            damping = 0.0 if damping < 1e-8 else damping / 10
        else:
            damping = max(1e-4, damping * 10)
        # No better at any damping: as low as rounding lets it go.
        if small or damping > 1e8:
            return c
    raise InputFault(
        f'no least-squares fit of "{model.words}" was found in {MAX_ITERATIONS} '
        "steps; check the points for a gross error"
    )


def _step(
    model: Model, x: Array, y: Array, sigma: Array, c: Array, damping: float
) -> Array:
    jacobian = model.gradient(x, c) / sigma[:, np.newaxis]
    residual = (y - model.value(x, c)) / sigma
    length = np.linalg.norm(jacobian, axis=0)
    length[length == 0] = 1.0
    scaled = jacobian / length
    if damping:
        scaled = np.vstack([scaled, math.sqrt(damping) * np.eye(c.size)])
        residual = np.concatenate([residual, np.zeros(c.size)])
    step, *_ = np.linalg.lstsq(scaled, residual, rcond=None)
    return np.asarray(step / length, dtype=np.float64)


def _estimator(model: Model, x: Array, sigma: Array, c: Array) -> tuple[Array, Array]:
    """How errors of y move the coefficients (p, n), and (J^T W J)^-1 (p, p)."""
    jacobian = model.gradient(x, c) / sigma[:, np.newaxis]
    length = np.linalg.norm(jacobian, axis=0)
    length[length == 0] = 1.0
    inverse = np.linalg.pinv(jacobian / length) / length[:, np.newaxis]
    return inverse / sigma, inverse @ inverse.T


def _with_misfit(
    model: Model, x: Array, y: Array, u_y: Array, c: Array, top: float | None
) -> tuple[Array, float]:
    """Coefficients and misfit at which chi^2 equals its degrees of freedom.

    Newton's method on 1/chi^2, which is nearly straight in the misfit variance.
    """
    dof = x.size - model.count
    shape2 = _misfit_shape(model.value(x, c), top) ** 2
    variance = 0.0
    for _ in range(MAX_ITERATIONS):
        sigma2 = u_y**2 + variance * shape2
        residual2 = (y - model.value(x, c)) ** 2
        chi2 = float((residual2 / sigma2).sum())
        if abs(chi2 - dof) <= 1e-6 * dof:
            break
        slope = float((shape2 * residual2 / sigma2**2).sum())
        variance = max(0.0, variance + chi2 * (chi2 - dof) / (dof * slope))
        c = minimise(model, x, y, np.sqrt(u_y**2 + variance * shape2), c)
    return c, math.sqrt(variance)


def _misfit_shape(y: Array, top: float | None) -> Array:
    if top is None or top == 0:
        return np.ones_like(y)
    return np.maximum(np.abs(y) / top, MISFIT_FLOOR)


def _top(y: Array) -> float:
    return float(np.abs(y).max())


def _own_dof(dof: int, u_y: Array, sigma: Array, u_dof: float) -> float:
    """Of a variance that is partly known and partly a misfit from residuals."""
    share = float(np.mean(1.0 - (u_y / sigma) ** 2))
    spread = (1.0 - share) ** 2 / u_dof
    if share > 0:
        spread += share**2 / dof
    return math.inf if spread == 0 else 1.0 / spread


def _chi2(model: Model, x: Array, y: Array, sigma: Array, c: Array) -> float:
    scaled = (y - model.value(x, c)) / sigma
    return float(scaled @ scaled)


def _r_squared(
    model: Model, y: Array, residual: Array, sigma: Array
) -> tuple[float, str]:
    weights = 1.0 / np.where(sigma > 0, sigma, 1.0) ** 2
    centre = 0.0 if model.through_zero else float(np.average(y, weights=weights))
    total = float((weights * (y - centre) ** 2).sum())
    about = "zero" if model.through_zero else "mean"
    if total == 0:
        return math.nan, about
    return 1.0 - float((weights * residual**2).sum()) / total, about


def _aicc(residual: Array, sigma: Array, count: int) -> float:
    """Akaike's criterion with the small-sample term (Hurvich and Tsai 1989)."""
    left = residual.size - count - 1
    if left <= 0 or np.any(sigma <= 0):
        return math.inf
    fit_term = float(((residual / sigma) ** 2 + 2 * np.log(sigma)).sum())
    return fit_term + 2 * count + 2 * count * (count + 1) / left


def _check(model: Model, x: Array, y: Array, u_y: Array | None) -> None:
    if x.shape != y.shape or (u_y is not None and u_y.shape != y.shape):
        raise InputFault("x, y and the uncertainties of a fit must be equally long")
    if x.size < model.count:
        raise InputFault(
            f'"{model.words}" needs at least {model.count} points, {x.size} given'
        )
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(y))):
        raise InputFault("a point of the fit is not finite; leave it out")
    if u_y is not None and not (np.all(np.isfinite(u_y)) and np.all(u_y > 0)):
        raise InputFault("every uncertainty of a fit must be above zero")

"""Fits with known uncertainties: misfit, shared errors, bands."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.analysis.fits import fit, fit_line
from daq.analysis.measured import Source
from daq.analysis.models import Polynomial, PowerLaw
from daq.errors import InputFault

X = np.linspace(0.2, 1.0, 9)


def test_weights_pull_towards_the_points_that_are_known_better() -> None:
    y = np.where(np.arange(9) < 5, 1.0, 2.0)
    u_y = np.where(np.arange(9) < 5, 0.01, 10.0)
    found = fit(Polynomial((0,)), X, y, u_y)
    # Weighted mean by hand: variances 1e-4 and 100.
    assert found.coefficients[0] == pytest.approx(1.0, abs=1e-5)
    assert found.coefficient_sd[0] == pytest.approx(0.01 / np.sqrt(5), rel=1e-3)


def test_points_as_good_as_they_say_get_no_misfit() -> None:
    y = 1 + 2 * X + 0.01 * np.array([1, -1, 0.5, -0.5, 0, 0.5, -0.5, 1, -1])
    found = fit_line(X, y, np.full(9, 0.02))
    assert found.misfit_sd == 0.0
    assert found.chi2 < found.dof
    assert found.own_dof == np.inf


def test_a_model_that_is_not_the_world_is_told_by_its_misfit() -> None:
    y = 3 * X**2
    found = fit_line(X, y, np.full(9, 1e-4))
    assert found.chi2 > 1000 * found.dof
    residual = y - found.predict(X)
    # The rule: with the misfit added, chi^2 equals its degrees of freedom.
    assert (residual**2 / (1e-8 + found.misfit_sd**2)).sum() == pytest.approx(
        found.dof, rel=1e-4
    )
    _, low, high = found.band(X)
    assert ((low < y) & (y < high)).all()
    # A misfit from seven residuals: Student's t with seven degrees of freedom.
    assert found.own_dof == pytest.approx(7.0, rel=1e-3)


def test_a_misfit_in_proportion_leaves_small_values_their_weight() -> None:
    rng = np.random.default_rng(1)
    y = 2 * X**2 * (1 + 0.03 * rng.standard_normal(9))
    flat = fit(Polynomial((2,)), X, y, np.full(9, 1e-5))
    scaled = fit(Polynomial((2,)), X, y, np.full(9, 1e-5), misfit_in_proportion=True)
    bands = [f.band(np.array([0.2, 1.0])) for f in (flat, scaled)]
    widths = [(high - low) for _, low, high in bands]
    assert widths[1][0] < 0.3 * widths[0][0]


def test_a_shared_gain_does_not_pull_the_curve_and_widens_it_all_over() -> None:
    y = 2 * X
    gain = Source(0.02 * y[:, np.newaxis], np.full(9, np.inf))
    own = np.full(9, 1e-3)
    alone = fit(Polynomial((1,)), X, y, own)
    shared = fit(Polynomial((1,)), X, y, own, shared=[gain])
    assert shared.coefficients == pytest.approx(alone.coefficients)
    # The slope carries the gain whole: 2 % of 2.
    assert shared.coefficient_sd[0] == pytest.approx(0.04, rel=1e-3)


def test_a_shared_gain_leaves_the_exponent_of_a_power_law_alone() -> None:
    y = 3 * X**0.7
    gain = Source(0.05 * y[:, np.newaxis], np.full(9, np.inf))
    found = fit(PowerLaw(), X, y, np.full(9, 1e-3), shared=[gain])
    assert found.coefficient_sd[0] == pytest.approx(0.05 * 3, rel=1e-3)
    without = fit(PowerLaw(), X, y, np.full(9, 1e-3))
    assert found.coefficient_sd[1] == pytest.approx(without.coefficient_sd[1])


def test_a_shared_estimate_brings_its_few_degrees_of_freedom() -> None:
    y = 2 * X
    zero = Source(np.full((9, 1), 0.1), np.full(9, 2.0))
    found = fit(Polynomial((0, 1)), X, y, np.full(9, 1e-6), shared=[zero])
    low, high = found.interval(0)
    # t(2) = 4.303 (GUM table G.2).
    assert (high - low) / 2 == pytest.approx(0.1 * 4.303, rel=1e-3)


@given(
    st.floats(0.1, 100),
    st.floats(0.3, 3),
    st.floats(1e-3, 1e3),
    st.floats(1e-3, 1e3),
)
def test_a_power_law_is_found_in_any_units(
    a: float, b: float, x_unit: float, y_unit: float
) -> None:
    wobble = 1 + 0.02 * np.sin(np.arange(9.0))
    plain = fit(PowerLaw(), X, a * X**b * wobble)
    scaled = fit(PowerLaw(), X * x_unit, a * X**b * wobble * y_unit)
    assert scaled.coefficients[1] == pytest.approx(plain.coefficients[1], rel=1e-6)
    assert scaled.coefficient_sd[1] == pytest.approx(plain.coefficient_sd[1], rel=1e-5)


def test_slopes_agree_with_differences() -> None:
    for model, c in (
        (Polynomial((0, 1, 3)), np.array([1.0, -2.0, 3.0])),
        (PowerLaw(), np.array([2.0, 0.6])),
    ):
        step = 1e-6
        numeric = (model.value(X + step, c) - model.value(X - step, c)) / (2 * step)
        assert model.slope(X, c) == pytest.approx(numeric, rel=1e-6)


@pytest.mark.parametrize(
    ("x", "y", "u_y", "said"),
    [
        ([1.0], [1.0], [0.1], "at least 2 points"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], [0.1, 0.1], "equally long"),
        ([1.0, 2.0, np.nan], [1.0, 2.0, 3.0], [0.1] * 3, "not finite"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], [0.1, 0.0, 0.1], "above zero"),
    ],
)
def test_points_that_cannot_be_fitted_are_refused(
    x: list[float], y: list[float], u_y: list[float], said: str
) -> None:
    with pytest.raises(InputFault, match=said):
        fit_line(np.array(x), np.array(y), np.array(u_y))


def test_a_power_law_refuses_values_at_or_below_zero() -> None:
    with pytest.raises(InputFault, match="positive"):
        fit(PowerLaw(), X, X - 0.5)

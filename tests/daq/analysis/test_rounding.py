"""The rounding rule: two significant digits of the uncertainty."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.analysis.rounding import decimals, figure, in_passing, with_interval


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        # GUM 7.2.2 and H.1.7: 100.021 47 g with 0.35 mg; 838 nm with 32 nm.
        (100.02147, 0.00035, "100.02147"),
        (50.000838, 93e-6, "50.000838"),
        (251.27, 5.12, "251.3"),
        (41234.0, 356.0, "41230"),
        (0.13154, 0.00342, "0.1315"),
        (12.3456, 0.0996, "12.35"),
        (12.3456, 9.96, "12"),
        (-0.00001, 0.1, "0.00"),
        (5.0, 0.0, "5.00"),
        (0.0, None, "0"),
        (math.nan, 0.1, "unknown"),
        (-3.014, 0.11, "\N{MINUS SIGN}3.01"),
    ],
)
def test_a_value_is_given_to_the_place_of_its_uncertainty(
    value: float, uncertainty: float | None, text: str
) -> None:
    assert figure(value, uncertainty) == text


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        # Review of Particle Physics, Introduction, 5.3 (from memory): 0.827 with
        # 0.119 is 0.83, with 0.367 it is 0.8.
        (0.827, 0.119, "0.83"),
        (0.827, 0.367, "0.8"),
        # 950 to 999 are rounded up to 1000 and keep two digits.
        (12.5421, 0.0983, "12.54"),
        (11.639, 0.094, "11.64"),
        (17.4203, 0.68, "17.4"),
        (119.26, 3.54, "119.3"),
        (119.26, 3.55, "119"),
        (39224.0, 58.0, "39220"),
        (0.0, 0.0, "0"),
    ],
)
def test_a_figure_in_passing_claims_no_digit_that_its_uncertainty_eats(
    value: float, uncertainty: float, text: str
) -> None:
    assert in_passing(value, uncertainty) == text


def test_the_interval_is_given_to_the_same_place() -> None:
    assert with_interval(251.27, 246.16, 256.38, "gf", 0.95) == (
        "251.3 gf (95 % interval 246.2 to 256.4 gf)"
    )
    assert with_interval(0.652, 0.6398, 0.6642, "", 0.95) == (
        "0.652 (95 % interval 0.640 to 0.664)"
    )


@given(st.floats(1e-9, 1e9))
def test_two_significant_digits_are_left(uncertainty: float) -> None:
    places = decimals(uncertainty)
    assert places is not None
    counted = round(round(uncertainty, places) * 10.0**places)
    assert 10 <= counted <= 99


@pytest.mark.parametrize("uncertainty", [0.0, -1.0, math.nan, math.inf])
def test_without_an_uncertainty_there_is_no_place(uncertainty: float) -> None:
    assert decimals(uncertainty) is None

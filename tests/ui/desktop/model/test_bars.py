"""A reading against its limits."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.limits import Limit
from ui.desktop.model.bars import Standing, bar_of

CURRENT = Limit("current", -3.0, 12.0, 3, 0.1, "plug 12 A")
VOLTAGE = Limit("voltage", 9.9, 12.9, 10, 0.1, "3 cells")


@pytest.mark.parametrize(
    ("value", "standing"),
    [
        (0.0, Standing.INSIDE),
        (9.0, Standing.INSIDE),
        (10.5, Standing.NEAR),
        (12.0, Standing.NEAR),
        (12.1, Standing.BEYOND),
        (-3.1, Standing.BEYOND),
        (math.inf, Standing.BEYOND),
        (math.nan, Standing.UNKNOWN),
    ],
)
def test_a_ceiling_is_near_before_it_is_passed(
    value: float, standing: Standing
) -> None:
    assert bar_of(value, CURRENT).standing is standing


@pytest.mark.parametrize(
    ("value", "standing"),
    [
        (12.6, Standing.INSIDE),
        (11.0, Standing.INSIDE),
        (10.2, Standing.NEAR),
        (9.8, Standing.BEYOND),
        (13.0, Standing.BEYOND),
    ],
)
def test_a_floor_is_near_before_it_is_passed(value: float, standing: Standing) -> None:
    assert bar_of(value, VOLTAGE).standing is standing


def test_the_limit_itself_can_be_seen_inside_the_bar() -> None:
    bar = bar_of(6.0, CURRENT)
    assert 0.85 < bar.high_mark < 0.95
    assert bar.filled == pytest.approx(6.0 / 13.2)
    floor = bar_of(11.0, VOLTAGE)
    assert 0.1 < floor.low_mark < 0.35
    assert floor.low_mark < floor.filled < floor.high_mark


def test_nobody_knows_is_no_zero() -> None:
    assert math.isnan(bar_of(math.nan, CURRENT).filled)
    assert bar_of(0.0, CURRENT).filled == 0.0


def test_without_a_limit_there_is_a_bar_only_where_its_end_is_known() -> None:
    assert math.isnan(bar_of(3.0, None).filled)
    assert bar_of(3.0, None, full=6.0).filled == 0.5
    assert math.isnan(bar_of(3.0, None, full=6.0).high_mark)


@given(
    st.floats(allow_nan=True, allow_infinity=True),
    st.floats(-100, 100),
    st.floats(0.1, 200),
)
def test_a_bar_never_leaves_its_frame(value: float, low: float, span: float) -> None:
    limit = Limit("thrust", low, low + span, 2, 0.5, "test")
    bar = bar_of(value, limit)
    for share in (bar.filled, bar.low_mark, bar.high_mark):
        assert math.isnan(share) or 0.0 <= share <= 1.0
    assert (bar.standing is Standing.UNKNOWN) == math.isnan(value)

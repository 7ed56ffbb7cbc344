"""A thinned curve reads as the whole one does, to less than its last digit."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tests.club.invented import invented
from ui.club.entry import CurveTold
from ui.club.site.thinned import OFF_OF_HALF, OFF_OF_VALUE, thinned


def curve_of(seed: int, count: int) -> CurveTold:
    """Some curve with an interval that changes."""
    random = np.random.default_rng(seed)
    x = np.cumsum(random.uniform(0.01, 1, count))
    y = 1 + np.cumsum(random.normal(0, 0.2, count)) ** 2
    half = y * random.uniform(0, 0.1, count)
    ones = (0.01,) * count
    return CurveTold(
        x=tuple(x), y=tuple(y), half=tuple(half), own_u_rel=ones, scale_u_rel=ones
    )


@given(st.integers(0, 10_000), st.integers(2, 64))
def test_no_point_left_out_is_further_off_than_allowed(seed: int, count: int) -> None:
    curve = curve_of(seed, count)
    x, y, half = thinned(curve)
    assert (x[0], x[-1]) == (curve.x[0], curve.x[-1])
    allowed = np.maximum(
        OFF_OF_HALF * np.array(curve.half), OFF_OF_VALUE * np.array(curve.y)
    )
    for kept, told in ((y, curve.y), (half, curve.half)):
        off = np.abs(np.interp(curve.x, x, kept) - np.array(told))
        assert (off <= allowed * (1 + 1e-9)).all()


def test_a_smooth_curve_needs_few_points() -> None:
    curve = invented(1)[0].entry.curves.specific_thrust
    assert curve is not None
    assert thinned(curve).shape[1] < 0.7 * len(curve.x)


def test_a_straight_line_needs_its_ends_alone() -> None:
    x = tuple(float(v) for v in range(1, 30))
    ones = (0.01,) * len(x)
    line = CurveTold(x=x, y=x, half=x, own_u_rel=ones, scale_u_rel=ones)
    assert thinned(line).shape == (3, 2)

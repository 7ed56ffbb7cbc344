import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.stand.plant.polyline import Polyline

XS = (0.0, 1.0, 1.5, 4.0)
YS = (2.0, 3.0, -1.0, 5.0)


@given(st.lists(st.floats(-10.0, 10.0), min_size=1, max_size=20))
def test_any_walk_reads_what_numpy_interpolates(walk: list[float]) -> None:
    # numpy.interp is the independent reading: straight lines, ends held.
    line = Polyline(XS, YS)
    for x in walk:
        assert line.at(x) == pytest.approx(float(np.interp(x, XS, YS)), abs=1e-12)


def test_one_point_is_a_constant() -> None:
    line = Polyline([3.0], [7.0])
    assert [line.at(x) for x in (-1e9, 3.0, 1e9)] == [7.0, 7.0, 7.0]
    assert line.slope == 0.0


def test_the_slope_is_that_of_the_segment_in_use() -> None:
    line = Polyline(XS, YS)
    line.at(1.2)
    assert line.slope == pytest.approx(-8.0)
    line.at(9.0)
    assert line.slope == 0.0


def test_below_the_first_point_the_first_line_can_go_on() -> None:
    line = Polyline(XS, YS, extend_below=True)
    assert line.at(-2.0) == pytest.approx(0.0)
    assert line.at(9.0) == 5.0


@pytest.mark.parametrize(
    ("xs", "ys"), [([], []), ([0.0], []), ([0.0, 0.0], [1.0, 2.0]), ([1, 0], [1, 2])]
)
def test_points_that_make_no_line_are_refused(xs: list[float], ys: list[float]) -> None:
    with pytest.raises(ValueError, match="values"):
        Polyline(xs, ys)

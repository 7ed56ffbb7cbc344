"""How wrong a scale may be, and what of it cancels."""

import math

import numpy as np
import pytest

from daq.analysis.measured import Measured
from daq.analysis.scale import (
    LOOP_SHARE,
    PowerPart,
    Scale,
    StrayPart,
    relative_scale,
)
from daq.analysis.scaled import scale_sources
from daq.analysis.series import Series
from daq.errors import InputFault

T_S = np.arange(3.0)
KNOTS = np.array([1.0, 2.0, 3.0])


def channel(scale: Scale | None = None, gain_u_rel: float = 0.01) -> Series:
    return Series("thrust", "force", T_S, T_S, gain_u_rel, 1e-5, scale)


def u_of(
    scale: Scale, weights: list[float], value: list[float], **how: object
) -> float:
    """Standard uncertainty of a sum of values with weights."""
    sources = scale_sources(channel(scale), np.array(value), **how)  # type: ignore[arg-type]
    found = Measured(np.array(value), sources).mapped(np.array([weights]))
    return float(found.standard_uncertainty()[0])


def test_a_nominal_scale_is_a_gain_and_nothing_else() -> None:
    sources = scale_sources(channel(), np.array([1.0, 3.0]), 0.5)
    assert list(sources) == ["thrust gain"]
    assert sources["thrust gain"].factor[:, 0] == pytest.approx([0.005, 0.025])


def test_a_gain_cancels_in_a_ratio_and_an_offset_in_a_difference() -> None:
    gain = relative_scale(0.01)
    assert u_of(gain, [1.0, -2.0], [2.0, 1.0]) == pytest.approx(0.0, abs=1e-15)
    offset = Scale((PowerPart("offset", (0,), np.array([[0.1]])),))
    assert u_of(offset, [1.0, -1.0], [2.0, 1.0]) == pytest.approx(0.0, abs=1e-15)
    assert u_of(offset, [1.0], [2.0]) == pytest.approx(0.1)
    # A zero that was read as nothing was read with the offset too.
    assert u_of(offset, [1.0], [2.0], zero=0.0) == pytest.approx(0.0, abs=1e-15)
    # Counted from a zero that was read with the same offset it is gone.
    assert u_of(offset, [1.0], [2.0], zero=0.3) == pytest.approx(0.0, abs=1e-15)


def test_slope_and_curvature_of_one_fit_keep_their_covariance() -> None:
    covariance = np.array([[4e-4, -3e-4], [-3e-4, 5e-4]])
    factor = np.linalg.cholesky(covariance)
    scale = Scale((PowerPart("fit", (1, 2), factor, 9.0),))
    basis = np.array([2.0, 4.0])
    wanted = math.sqrt(basis @ covariance @ basis)
    assert u_of(scale, [1.0], [2.0]) == pytest.approx(wanted)
    sources = scale_sources(channel(scale), np.array([2.0]))
    assert sources["thrust fit"].dof[0] == 9.0


def test_departures_are_alike_nearby_and_each_for_itself_further_away() -> None:
    scale = Scale(strays=(StrayPart("straightness", KNOTS, np.full(3, 0.02)),))
    assert u_of(scale, [1.0], [1.5]) == pytest.approx(0.02)
    assert u_of(scale, [1.0, -1.0], [1.5, 1.5]) == pytest.approx(0.0, abs=1e-12)
    near = u_of(scale, [1.0, -1.0], [1.5, 1.6])
    far = u_of(scale, [1.0, -1.0], [1.0, 3.0])
    assert near < 0.3 * far
    assert far == pytest.approx(0.02 * math.sqrt(2.0))
    # None at zero, and more beyond the last knot.
    assert u_of(scale, [1.0], [0.0]) == 0.0
    assert u_of(scale, [1.0], [0.5]) == pytest.approx(0.01)
    assert u_of(scale, [1.0], [6.0]) == pytest.approx(0.04)


def test_hysteresis_opposes_the_legs_and_cancels_in_their_mean() -> None:
    part = StrayPart("hysteresis", KNOTS, np.full(3, 0.02))
    scale = Scale(hysteresis=part)
    legs = ["up", "down"]
    mean = u_of(scale, [0.5, 0.5], [2.0, 2.0], legs=legs)
    apart = u_of(scale, [1.0, -1.0], [2.0, 2.0], legs=legs)
    assert mean == pytest.approx(0.0, abs=1e-15)
    assert apart == pytest.approx(0.04)
    # The loop is no step: two loads on one leg differ by what its shape does.
    same_leg = u_of(scale, [1.0, -1.0], [1.0, 3.0], legs=["up", "up"])
    assert same_leg == pytest.approx(0.02 * math.sqrt(2.0 * LOOP_SHARE))
    anywhere = u_of(scale, [1.0, -1.0], [1.0, 3.0], legs=["first", "first"])
    assert anywhere == pytest.approx(0.02 * math.sqrt(2.0))
    shapes = {
        scale_sources(channel(scale), np.ones(n))["thrust hysteresis"].factor.shape[1]
        for n in (1, 2, 7)
    }
    assert shapes == {4}  # two results can share it whatever their length


def test_beyond_the_range_it_grows_by_the_way_there() -> None:
    scale = Scale(low=0.0, high=3.0, beyond_u_rel=0.01)
    assert "thrust beyond range" not in scale_sources(channel(scale), np.array([3.0]))
    assert u_of(scale, [1.0], [5.0]) == pytest.approx(0.02)
    assert u_of(scale, [1.0], [-1.0]) == pytest.approx(0.01)
    assert scale.beyond(np.array([4.0, np.nan])).tolist()[0] == 1.0


def test_a_cause_of_several_channels_keeps_its_own_name() -> None:
    part = PowerPart("local gravity", (1,), np.array([[1e-4]]), alone=True)
    sources = scale_sources(channel(Scale((part,))), np.array([2.0]))
    assert "local gravity" in sources
    assert "thrust gain" in sources  # always there, as others look for it


def test_one_value_has_all_parts_together() -> None:
    scale = Scale(
        (PowerPart("gain", (1,), np.array([[0.003]])),),
        (StrayPart("straightness", KNOTS, np.full(3, 0.008)),),
    )
    assert scale.u_at(2.0) == pytest.approx(0.01)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Scale((PowerPart("gain", (1,), np.array([[math.nan]])),)),
        lambda: Scale(low=2.0, high=1.0),
        lambda: Scale(beyond_u_rel=-1.0),
        lambda: Scale(hysteresis=StrayPart("h", KNOTS, np.full(3, math.inf))),
    ],
)
def test_what_is_no_scale_is_refused(make: object) -> None:
    with pytest.raises(InputFault):
        make()  # type: ignore[operator]


def test_no_reading_stays_none() -> None:
    scale = Scale(strays=(StrayPart("straightness", KNOTS, np.full(3, 0.02)),))
    factors = scale.factors("thrust", np.array([math.nan, 1.0]), 0.0, ["up", "up"])
    assert np.isnan(factors["thrust straightness"].factor[0]).any()
    assert np.isfinite(factors["thrust straightness"].factor[1]).all()

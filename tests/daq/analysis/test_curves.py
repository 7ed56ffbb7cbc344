"""Curves through a staircase: the model's choice, levels and bands."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from daq.analysis.curves import (
    EXPONENT_MODELS,
    POWER_MODELS,
    THROTTLE_MODELS,
    Curve,
    draw,
)
from daq.analysis.levels import Relation, _leg_scatter
from daq.analysis.measured import Measured, Source
from daq.analysis.models import CubeRoot
from daq.analysis.run import Analysis, analyse
from tests.daq.analysis.invented import (
    POWER_EXPONENT,
    Noise,
    record,
    staircase,
    truth_at,
)

LEVELS = (0.2, 0.35, 0.5, 0.65, 0.8, 0.95)
HOLDS = staircase(LEVELS, rest_every=4)


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return analyse(record(HOLDS, Noise(), np.random.default_rng(21)), HOLDS)


def curve(analysis: Analysis, name: str) -> Curve:
    found = analysis.evidence.curve(name)
    assert found is not None
    return found


def test_every_relation_that_has_channels_is_drawn(analysis: Analysis) -> None:
    assert [c.name for c in analysis.curves] == [
        "thrust against throttle",
        "current against throttle",
        "power against throttle",
        "speed against throttle",
        "thrust against power",
        "specific thrust against thrust",
    ]


def test_the_bands_hold_the_true_relations(analysis: Analysis) -> None:
    throttle = np.linspace(0.22, 0.93, 15)
    truths = [truth_at(float(x)) for x in throttle]
    for name, true in (
        ("thrust against throttle", [t.thrust_n for t in truths]),
        ("current against throttle", [t.current_a for t in truths]),
        ("power against throttle", [t.power_w for t in truths]),
        ("speed against throttle", [t.speed_rad_s for t in truths]),
    ):
        _, low, high = curve(analysis, name).band(throttle)
        assert ((low <= true) & (true <= high)).all(), name


def test_the_exponent_of_thrust_against_power_is_the_invented_one(
    analysis: Analysis,
) -> None:
    found = analysis.evidence.exponent
    assert found is not None
    low, high = found.fit.interval(1)
    assert low <= 1 / POWER_EXPONENT <= high
    # 95 % interval of a few percent: the shared gains do not widen it.
    assert high - low < 0.05


def test_an_exponent_that_falls_with_power_is_followed_by_the_curve() -> None:
    # Momentum theory less what is lost at low power: exponents between levels from
    # 0.94 to 0.65, as a simulated stand of a 1404 motor shows (its raw levels).
    power_w = np.array([3.26, 10.49, 24.78, 47.1, 77.13, 113.4])
    thrust_n = np.array([0.171, 0.513, 0.988, 1.553, 2.163, 2.78])
    u = {"thrust random": Source(1e-3 * thrust_n, np.full(6, 50.0))}
    thrust = Measured(thrust_n, u).with_source(
        "thrust gain", (0.02 * thrust_n)[:, np.newaxis]
    )
    relation = Relation(
        "thrust against power",
        "power_w",
        "thrust_n",
        Measured(power_w, {}),
        thrust,
        POWER_MODELS,
        positive=True,
    )
    found = draw(relation, np.array(LEVELS))
    assert found is not None
    assert isinstance(found.fit.model, CubeRoot)
    assert "r the cube root of x" in found.model
    y, low, high = found.band(power_w)
    assert np.abs(y / thrust_n - 1).max() < 0.02
    point_low, point_high = thrust.interval()
    assert ((point_low <= y) & (y <= point_high)).all()
    assert high[-1] - low[-1] <= 3 * (point_high[-1] - point_low[-1])
    single = draw(replace(relation, models=EXPONENT_MODELS), np.array(LEVELS))
    assert single is not None
    assert np.abs(single.band(power_w)[0] / thrust_n - 1).max() > 0.05


@pytest.mark.parametrize("powers", [(0, 2), (1, 2), (1, 2, 3)])
def test_the_cube_root_model_knows_its_own_slope(powers: tuple[int, ...]) -> None:
    model, x = CubeRoot(powers), np.array([2.0, 40.0, 110.0])
    c = np.array([0.3, -0.2, 0.05])[: model.count]
    rise = (model.value(x + 1e-5, c) - model.value(x - 1e-5, c)) / 2e-5
    assert model.slope(x, c) == pytest.approx(rise, rel=1e-6)


def test_a_true_quadratic_is_not_bent_further(analysis: Analysis) -> None:
    found = curve(analysis, "thrust against throttle")
    assert found.model == "y = c0 x + c1 x^2 (through the origin)"
    # The invented thrust is 2.6 (0.25 x + 0.75 x^2).
    assert found.coefficients == pytest.approx([0.65, 1.95], rel=0.05)


def test_a_curve_says_nothing_outside_the_measured_levels(analysis: Analysis) -> None:
    y, low, high = curve(analysis, "thrust against throttle").band(
        np.array([0.1, 0.2, 0.96])
    )
    assert np.isnan(y).tolist() == [True, False, True]
    assert np.isnan(low).tolist() == np.isnan(high).tolist() == [True, False, True]


def test_both_legs_at_a_throttle_are_one_level(analysis: Analysis) -> None:
    found = curve(analysis, "thrust against throttle")
    assert len(found.points) == 11
    assert found.fit.dof == 6 - 2


def test_legs_that_disagree_widen_the_band() -> None:
    # The second leg reads 4 % less thrust at every level: a sagging pack. The
    # means of the levels still lie on a smooth curve, but each could be 2 % off.
    holds = staircase(LEVELS, rest_every=6, top_twice=True)
    series = record(holds, Noise(), np.random.default_rng(22))
    straight = analyse(series, holds)
    turn_s = next(h.start_s for h in holds if h.leg == "down")
    thrust = series["thrust"]
    zero = 0.7
    value = np.where(
        thrust.t_s < turn_s, thrust.value_si, zero + 0.96 * (thrust.value_si - zero)
    )
    series["thrust"] = replace(thrust, value_si=value)
    sagging = analyse(series, holds)
    own = []
    for found in (straight, sagging):
        fit = curve(found, "thrust against throttle").fit
        at = np.array([0.8])
        gradient = fit.model.gradient(at, fit.coefficients)[0]
        variance = float(gradient @ fit.own_covariance @ gradient)
        own.append(np.sqrt(variance) / fit.predict(at)[0])
    # Six means worth 2 % each make a curve of two coefficients worth about 1 %.
    assert own[0] < 0.003
    assert 0.006 < own[1] < 0.015
    leg = next(leg for leg in sagging.evidence.legs if leg.channel == "thrust")
    assert leg.relative is not None
    assert leg.relative.value[0] == pytest.approx(0.04, abs=0.01)


def test_what_legs_disagree_about_is_an_uncertainty_of_each_level() -> None:
    # Two legs apart by 4 % of the value, without noise: their mean is worth 2 %.
    y = np.array([1.0, 2.0, 0.96 * 2.0, 0.96 * 1.0])
    relation = Relation(
        "thrust",
        "throttle_frac",
        "thrust_n",
        np.array([0.3, 0.6, 0.6, 0.3]),
        Measured(y, {}),
        THROTTLE_MODELS,
    )
    groups = [np.array([0, 3]), np.array([1, 2])]
    u, dof = _leg_scatter(relation, groups, np.zeros(2))
    assert u == pytest.approx([0.02, 0.04], rel=0.05)
    assert dof == 2
    # Points that lie on a slope between the legs do not disagree.
    tilted = replace(relation, x=np.array([1.0, 2.0, 1.92, 0.96]))
    assert _leg_scatter(tilted, groups, np.ones(2))[0] == pytest.approx([0.0, 0.0])


def test_a_gain_of_current_reaches_the_curve_of_thrust_through_power() -> None:
    gains = dict.fromkeys(("thrust", "voltage", "speed"), 0.0) | {"current": 0.02}
    series = record(HOLDS, Noise(gain_u_rel=gains), np.random.default_rng(25))
    exponent = analyse(series, HOLDS).evidence.exponent
    assert exponent is not None
    found = exponent.fit
    # T = a P^b: 2 % of power is 2 b % of a; b does not feel it.
    shared = [factor[:, 0] for factor, _ in found.shared if factor.shape[1] == 1]
    a, b = found.coefficients
    largest = max(abs(float(factor[0])) for factor in shared)
    assert largest == pytest.approx(0.02 * b * a, rel=0.02)
    assert max(abs(float(factor[1])) for factor in shared) < 1e-4


def test_models_that_do_nearly_as_well_widen_the_band(analysis: Analysis) -> None:
    found = curve(analysis, "speed against throttle")
    assert found.rivals
    assert sum(weight for _, weight in found.rivals) < 1
    at = np.array([0.27])
    _, low, high = found.band(at)
    _, fit_low, fit_high = found.fit.band(at)
    off = sum(w * (r.predict(at) - found.fit.predict(at)) ** 2 for r, w in found.rivals)
    expected = np.hypot((fit_high - fit_low) / 2, 1.959964 * np.sqrt(off))
    assert (high - low) / 2 == pytest.approx(expected)
    assert (high - low > fit_high - fit_low).all()


def test_scale_factors_cancel_in_the_difference_of_the_legs(
    analysis: Analysis,
) -> None:
    leg = next(leg for leg in analysis.evidence.legs if leg.channel == "thrust")
    assert leg.relative is not None
    gain_u = np.sqrt(leg.relative.sources["thrust gain"].variance()[0])
    assert gain_u < 1e-10
    # Five levels, independent: by hand from each plateau's own scatter.
    thrust = analysis.plateaus.channels["thrust"]
    pairs = [(0, 10), (1, 9), (2, 8), (3, 7), (4, 6)]
    own = [
        np.hypot(thrust.random_u[up], thrust.random_u[down])
        / ((thrust.mean[up] + thrust.mean[down]) / 2)
        for up, down in pairs
    ]
    random_u = np.sqrt(leg.relative.sources["thrust random"].variance()[0])
    assert random_u == pytest.approx(np.sqrt(np.sum(np.square(own))) / 5, rel=0.02)


def test_three_levels_carry_one_coefficient_only() -> None:
    holds = staircase((0.3, 0.6, 0.9), down=False)
    found = analyse(record(holds, Noise(), np.random.default_rng(23)), holds)
    assert curve(found, "thrust against throttle").fit.model.count == 1
    # A power law needs two and gets no level to spare.
    assert found.evidence.curve("thrust against power") is None


def test_two_levels_are_no_curve() -> None:
    holds = staircase((0.3, 0.6), down=True)
    found = analyse(record(holds, Noise(), np.random.default_rng(24)), holds)
    assert found.curves == ()


def test_a_curve_is_plain_json_and_can_be_drawn_from_it(analysis: Analysis) -> None:
    for found in analysis.curves:
        data = json.loads(json.dumps(found.to_dict(), allow_nan=False))
        assert len(data["band"]["x"]) == len(data["band"]["high"]) == 41
        if data["powers"] is None:
            a, b = data["coefficients"]
            again = [a * x**b for x in data["band"]["x"]]
        else:
            of = 1 / 3 if data["powers_of"] == "cube root of x" else 1
            again = [
                sum(
                    c * x ** (of * power)
                    for c, power in zip(
                        data["coefficients"], data["powers"], strict=True
                    )
                )
                for x in data["band"]["x"]
            ]
        assert again == pytest.approx(data["band"]["y"])
        assert all(math.isfinite(u) for u in data["y_u"])

"""Curves through a staircase: the model's choice, levels and bands."""

import json
import math

import numpy as np
import pytest

from daq.analysis.curves import Curve
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
    found = curve(analysis, "thrust against power")
    low, high = found.fit.interval(1)
    assert low <= 1 / POWER_EXPONENT <= high
    # 95 % interval of a few percent: the shared gains do not widen it.
    assert high - low < 0.05


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
    # The second leg reads 4 % less thrust: a sagging pack.
    series = record(HOLDS, Noise(), np.random.default_rng(22))
    straight = analyse(series, HOLDS)
    turn_s = next(h.start_s for h in HOLDS if h.leg == "down")
    thrust = series["thrust"]
    zero = 0.7
    value = np.where(
        thrust.t_s < turn_s, thrust.value_si, zero + 0.96 * (thrust.value_si - zero)
    )
    series["thrust"] = type(thrust)("thrust", "force", thrust.t_s, value, 0.005, 0.002)
    sagging = analyse(series, HOLDS)
    at = np.array([0.5])
    widths = []
    for found in (straight, sagging):
        y, low, high = curve(found, "thrust against throttle").band(at)
        widths.append(float((high - low)[0] / y[0]))
    assert widths[1] > 1.5 * widths[0]
    leg = next(leg for leg in sagging.evidence.legs if leg.channel == "thrust")
    assert leg.relative is not None
    assert leg.relative.value[0] == pytest.approx(0.04, abs=0.01)


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
            again = [
                sum(
                    c * x**power
                    for c, power in zip(
                        data["coefficients"], data["powers"], strict=True
                    )
                )
                for x in data["band"]["x"]
            ]
        assert again == pytest.approx(data["band"]["y"])
        assert all(math.isfinite(u) for u in data["y_u"])

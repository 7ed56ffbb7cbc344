"""Runs in different air are held against each other as if they had been made in one."""

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.analysis.air import Air, measured_air
from daq.analysis.compare import Difference, Mounting, compare
from daq.analysis.measured import Measured, exact
from daq.analysis.one_air import (
    BAROMETER,
    DENSITY,
    HELD,
    POWER_AT_ONE_THRUST,
    THRUST_AT_ONE_VOLTAGE,
    common_density,
    in_one_air,
    in_standard_air,
)
from daq.analysis.remounting import Reproducibility
from daq.analysis.run import analyse
from daq.analysis.verdicts import rests_on
from tests.daq.analysis.invented import DIAMETER_M, Noise, record, staircase

HOLDS = staircase((0.2, 0.35, 0.5, 0.65, 0.8, 0.95))
CHANNELS = ("thrust", "current", "voltage", "speed")
KNOWN = {
    what: Reproducibility(0.003, 30.0, "a stand that is known")
    for what in ("thrust", "specific thrust")
}
THICK, THIN = 1.20, 1.20 / 1.04


def air(density_kg_m3: float, barometer: float = 0.002, own: float = 0.001) -> Air:
    u = math.hypot(barometer, own)
    return Air(density_kg_m3, u, "invented", barometer_u_kg_m3=barometer)


def mounting(
    seed: int, density_kg_m3: float | None, thrust: float = 1.0, stand: str = "stand"
) -> Mounting:
    """A run whose thrust goes with density, its air noted or not."""
    noise = Noise(gain_u_rel=dict.fromkeys(CHANNELS, 0.0))
    series = record(HOLDS, noise, np.random.default_rng(seed))
    newton = series["thrust"].value_si * thrust
    series["thrust"] = replace(series["thrust"], value_si=newton)
    analysis = analyse(
        series,
        HOLDS,
        diameter_m=DIAMETER_M,
        air=None if density_kg_m3 is None else air(density_kg_m3),
    )
    return Mounting(f"run {seed}", f"article {seed}", stand, analysis)


def apart(first: Mounting, second: Mounting) -> dict[str, Difference]:
    return {d.what: d for d in compare([first], [second], KNOWN).differences}


def u_of(measured: Measured, name: str) -> float:
    return float(np.sqrt(measured.sources[name].variance()[0]))


def test_exponents_are_those_of_momentum_theory_and_the_motor() -> None:
    # A motor of K_t omega + R I on one voltage, torque K_t I = c rho omega^2: with x
    # the share of the voltage that copper takes thrust goes with (1 - x) / (1 + x).
    # Solved here for what is lost in copper from nothing to a half.
    kt_v_s = 2e-3
    for x in (0.0, 0.1, 0.3, 0.5):
        speeds = []
        for density in (1.0, 1.0001):
            drag = x / max(1e-12, 1.0 - x) * density / 1000.0**2
            # K omega + K drag omega^2 1000 = V at density 1 and omega 1000
            a, b, v = kt_v_s * drag * 1000.0, kt_v_s, kt_v_s * 1000.0 / (1.0 - x)
            root = v / b if a == 0.0 else (-b + math.sqrt(b * b + 4 * a * v)) / (2 * a)
            speeds.append(root)
        rise = math.log(1.0001) + 2 * math.log(speeds[1] / speeds[0])
        exponent = rise / math.log(1.0001)
        assert exponent == pytest.approx((1 - x) / (1 + x), abs=1e-3)
        bounds = THRUST_AT_ONE_VOLTAGE
        assert bounds.low - 1e-3 <= exponent <= bounds.high + 1e-3
        # At one thrust current stays and speed goes with rho^-1/2.
        power = -0.5 * (1.0 - x)
        assert POWER_AT_ONE_THRUST.low <= power <= POWER_AT_ONE_THRUST.high


def test_a_value_is_moved_by_the_middle_and_carries_what_is_not_known() -> None:
    found = in_one_air(exact(2.0), THRUST_AT_ONE_VOLTAGE, air(THIN), THICK)
    rise = math.log(1.04)
    assert float(found.value[0]) == pytest.approx(2.0 * 1.04 ** (2 / 3))
    assert u_of(found, HELD) == pytest.approx(
        float(found.value[0]) * rise * (2 / 3) / math.sqrt(12)
    )
    value = float(found.value[0]) * 2 / 3 / THIN
    assert u_of(found, BAROMETER) == pytest.approx(0.002 * value)
    assert u_of(found, DENSITY) == pytest.approx(0.001 * value)
    # Both bounds lie inside of the interval.
    low, high = (float(x[0]) for x in found.interval())
    assert low < 2.0 * 1.04 ** (1 / 3) + 0.01
    assert high > 2.0 * 1.04 - 0.01


def test_a_density_is_common_only_where_all_are_known() -> None:
    assert common_density([air(1.1), air(1.21)]) == pytest.approx(math.sqrt(1.331))
    assert common_density([air(1.1), None]) is None
    assert common_density([air(1.1), Air(1.2, 0.1, "standard", assumed=True)]) is None
    assert common_density([]) is None


def test_a_reading_of_the_air_knows_what_its_barometer_did() -> None:
    given = {"temperature_u_k": 1.0, "humidity_u_frac": 0.05}
    read = measured_air(294.15, 100800.0, 0.45, pressure_u_pa=200.0, **given)
    # Density goes in proportion to pressure.
    assert read.barometer_u_kg_m3 == pytest.approx(
        read.density_kg_m3 * 200 / 100800, rel=0.01
    )
    without = measured_air(294.15, 100800.0, 0.45, pressure_u_pa=0.0, **given)
    assert math.hypot(without.u_kg_m3, read.barometer_u_kg_m3) == pytest.approx(
        read.u_kg_m3
    )


def test_the_same_article_in_two_airs_is_the_same_and_its_shift_is_told() -> None:
    # Thrust went with density to 2/3, between the bounds.
    one, other = mounting(1, THICK), mounting(2, THIN, thrust=1.04 ** (-2 / 3))
    found = apart(one, other)["thrust"]
    assert found.verdict == "cannot tell"
    assert abs(found.mean[0]) < 0.003
    made = found.made_up
    assert made is not None
    assert made.density_kg_m3 == pytest.approx(math.sqrt(THICK * THIN))
    assert made.apart == pytest.approx(1 / 1.04 - 1)
    assert made.moved == pytest.approx(1.04 ** (2 / 3) - 1)
    said = rests_on(found)
    assert "The second's air was 3.8 % thinner" in said
    assert "the mean of the runs" in said
    assert "which moved the difference by 2.6" in said
    assert "no run takes away" in said
    told = found.to_dict()["one_air"]
    assert isinstance(told, dict)
    assert told["moved_difference"] == made.moved
    # Had nobody noted it, the shift of 2.6 % would pass for a difference.
    unknown = apart(mounting(1, None), mounting(2, None, thrust=1.04 ** (-2 / 3)))
    assert unknown["thrust"].made_up is None
    assert unknown["thrust"].mean[0] == pytest.approx(1.04 ** (-2 / 3) - 1, abs=0.003)
    assert unknown["thrust"].verdict == "less"


def test_what_the_exponent_leaves_open_is_in_the_interval() -> None:
    for exponent in (1 / 3, 1.0):
        one, other = mounting(1, THICK), mounting(2, THIN, thrust=1.04 ** (-exponent))
        _, low, high = apart(one, other)["thrust"].mean
        assert low < 0.0 < high


def test_a_barometer_that_both_share_cancels_and_two_do_not() -> None:
    one, other = mounting(1, THICK), mounting(2, THICK)
    same = apart(one, other)["thrust"]
    elsewhere = apart(one, replace(other, bench="another bench"))["thrust"]
    own = 2 / 3 * 0.001 / THICK * math.sqrt(2)
    both = 2 / 3 * 0.002 / THICK * math.sqrt(2)
    assert same.made_up is not None
    assert elsewhere.made_up is not None
    assert same.made_up.u == pytest.approx(own, rel=1e-6)
    assert elsewhere.made_up.u == pytest.approx(math.hypot(own, both), rel=1e-6)
    assert "The air was the same, by what was noted" in rests_on(same)


def test_air_that_nobody_noted_cancels_on_one_bench_and_not_between_two() -> None:
    one, other = mounting(1, None), mounting(2, None)
    alike = apart(one, other)["thrust"]
    elsewhere = apart(one, replace(other, bench="another bench"))["thrust"]
    assert alike.made_up is None
    assert alike.shared_u < 0.002
    # 8 % of each density, to the power 2/3.
    assert elsewhere.shared_u == pytest.approx(
        2 / 3 * 0.1 / 1.225 * math.sqrt(2), rel=0.01
    )
    assert elsewhere.verdict == "cannot tell"


def test_one_run_of_unknown_air_leaves_all_as_they_were() -> None:
    found = apart(mounting(1, THICK), mounting(2, None))["thrust"]
    assert found.made_up is None
    assert abs(found.mean[0]) < 0.003


def test_standard_air_is_one_air_of_many() -> None:
    standard = in_standard_air(exact(2.0), air(1.1))
    assert float(standard.value[0]) == pytest.approx(2.0 * (1.225 / 1.1) ** (2 / 3))
    assert set(standard.sources) == {HELD, BAROMETER, DENSITY}

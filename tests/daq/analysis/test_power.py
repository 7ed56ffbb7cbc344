"""Electrical power: means of products, and what no reading holds."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.analysis.measured import Measured, Source
from daq.analysis.plateaus import average
from daq.analysis.power import (
    CAUTION_RIPPLE_BOUNDED,
    CAUTION_RIPPLE_UNKNOWN,
    CAUTION_UNALIGNED,
    PowerMeans,
    electrical_power,
    ripple_covariance_bound,
    specific_thrust,
)
from daq.analysis.series import Array, Hold, Series

HOLDS = [
    Hold("rest", "rest", 0, 0.0, 0.0, 4.0),
    Hold("dwell", "up", 1, 0.5, 4.0, 9.0),
    Hold("rest", "rest", 2, 0.0, 9.0, 13.0),
]
RATE_HZ = 200.0


def channel(name: str, t_s: Array, value: Array, gain_u_rel: float = 0.0) -> Series:
    return Series(name, name, t_s, value, gain_u_rel, 1e-6)


def power_of(series: dict[str, Series]) -> PowerMeans:
    found = electrical_power(series, average(series, HOLDS))
    assert found is not None
    return found


def surging(shift_s: float = 0.0) -> dict[str, Series]:
    """A slow surge of current that pulls the voltage down: 10 A +- 2 A on 0.1 ohm."""
    t_s = np.arange(0.0, 13.0, 1 / RATE_HZ)
    on = (t_s >= 4.0) & (t_s < 9.0)
    # A whole number of surges in the window from 4.6 s to 9 s.
    current = on * (10 + 2 * np.sin(2 * np.pi * (t_s - 4.6) * 5 / 4.4))
    later = t_s + shift_s
    later_on = (later >= 4.0) & (later < 9.0)
    later_current = later_on * (10 + 2 * np.sin(2 * np.pi * (later - 4.6) * 5 / 4.4))
    return {
        "voltage": channel("voltage", t_s, 12 - 0.1 * current),
        "current": channel("current", later, later_current + 0.15),
    }


def test_power_is_the_mean_of_the_product_where_readings_are_paired() -> None:
    # mean(v i) = V I - R var(i) = 11 * 10 - 0.1 * 2, by hand.
    found = power_of(surging())
    assert found.measured.value[0] == pytest.approx(110 - 0.2, abs=1e-3)
    assert CAUTION_UNALIGNED not in found.cautions


def test_unpaired_readings_give_the_product_of_means_and_say_so() -> None:
    found = power_of(surging(shift_s=0.001))
    assert found.measured.value[0] == pytest.approx(110.0, abs=2e-2)
    assert CAUTION_UNALIGNED in found.cautions


def test_gains_of_voltage_and_current_act_on_power_once_each() -> None:
    series = surging()
    for name in ("voltage", "current"):
        was = series[name]
        series[name] = channel(name, was.t_s, was.value_si, 0.01)
    sources = power_of(series).measured.sources
    for name in ("voltage gain", "current gain"):
        assert math.sqrt(sources[name].variance()[0]) == pytest.approx(1.1, rel=0.01)


def test_the_zero_of_current_acts_through_the_mean_voltage() -> None:
    found = power_of(surging())
    sources = found.measured.sources
    zero_u = math.sqrt(sources["current zero"].variance()[0])
    means = average(surging(), HOLDS).channels["current"].measured
    assert zero_u == pytest.approx(
        11.0 * math.sqrt(means.sources["current zero"].variance()[0]), rel=1e-3
    )


def test_noise_common_to_both_readings_is_not_counted_twice() -> None:
    # Supply hum that lifts voltage and current together: the scatter of the
    # product, not the sum of squares, is what the mean is worth.
    rng = np.random.default_rng(1)
    t_s = np.arange(0.0, 13.0, 1 / RATE_HZ)
    on = (t_s >= 4.0) & (t_s < 9.0)
    noise = rng.standard_normal(t_s.size)
    volts = 12 + 0.12 * noise
    series = {
        "voltage": channel("voltage", t_s, volts),
        "current": channel("current", t_s, on * 10 * (1 - 0.01 * noise)),
    }
    paired = power_of(series).measured
    apart = average(series, HOLDS)
    independent = np.hypot(
        10 * apart.channels["voltage"].random_u[0],
        12 * apart.channels["current"].random_u[0],
    )
    own = math.sqrt(paired.sources["power random"].variance()[0])
    assert own < 0.1 * independent


def test_without_extremes_ripple_is_said_to_be_unknown() -> None:
    assert CAUTION_RIPPLE_UNKNOWN in power_of(surging()).cautions


def test_extremes_inside_the_readings_bound_the_ripple() -> None:
    series = surging()
    volts, amps = series["voltage"], series["current"]
    on = amps.value_si > 1
    series["voltage-low"] = channel(
        "voltage-low", volts.t_s, volts.value_si - 0.04 - 0.3 * on
    )
    series["current-high"] = channel(
        "current-high", amps.t_s, amps.value_si + 0.02 + 3 * on
    )
    found = power_of(series)
    assert CAUTION_RIPPLE_BOUNDED in found.cautions
    bound = ripple_covariance_bound(11.0, 10.7, 12.0, 10.0, 13.0)
    # The 0.02 A and 0.04 V that they stand off the means at rest are noise.
    assert math.sqrt(
        found.measured.sources["power ripple"].variance()[0]
    ) == pytest.approx(bound / math.sqrt(3), rel=0.01)


@given(
    st.lists(st.floats(0, 40), min_size=2, max_size=30),
    st.floats(0.01, 0.3),
)
def test_no_waveform_on_a_resistive_source_beats_the_bound(
    amps: list[float], ohm: float
) -> None:
    current = np.array(amps)
    voltage = 12.0 - ohm * current
    bound = ripple_covariance_bound(
        float(voltage.mean()),
        float(voltage.min()),
        12.0,
        float(current.mean()),
        float(current.max()),
    )
    lost = float(voltage.mean() * current.mean() - (voltage * current).mean())
    assert -1e-9 <= lost <= bound + 1e-9 + 1e-6 * bound


def test_without_voltage_or_current_there_is_no_power() -> None:
    series = {"voltage": surging()["voltage"]}
    assert electrical_power(series, average(series, HOLDS)) is None


def test_specific_thrust_knows_no_answer_at_no_power() -> None:
    u = Source(np.array([0.1, 0.1]), np.array([9.0, 9.0]))
    thrust = Measured(np.array([2.0, 2.0]), {"thrust random": u})
    power = Measured(np.array([50.0, 0.0]), {"power random": u})
    found = specific_thrust(thrust, power)
    assert found.value[0] == pytest.approx(0.04)
    assert math.isnan(found.value[1])
    # Relative: 0.1/2 and 0.1/50 in quadrature.
    assert found.standard_uncertainty()[0] == pytest.approx(
        0.04 * math.hypot(0.05, 0.002)
    )

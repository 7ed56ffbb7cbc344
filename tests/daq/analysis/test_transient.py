"""Dips and overshoots, and the way back against scipy's answers of known circuits."""

import math

import numpy as np
import pytest
from scipy.signal import lsim, step

from daq.analysis.ripple import read_ripple
from daq.analysis.series import Array
from daq.analysis.transient import Transient, read_recovery
from tests.daq.analysis.sampled import sampled, tone


def read(signal: object, **more: object) -> Transient:
    ripple = read_ripple(sampled(signal, **more))  # type: ignore[arg-type]
    assert ripple is not None
    assert ripple.transient is not None
    return ripple.transient


def first_order(t: Array, tau_s: float) -> Array:
    """Answer of 1/(1 + s tau) to a step at 0, by scipy."""
    after = np.linspace(0.0, float(t[-1]), 3_001)
    _, y = step(([1.0], [tau_s, 1.0]), T=after)
    return np.where(t < 0.0, 0.0, np.interp(t, after, y))


@pytest.mark.parametrize("tau_s", [0.3e-3, 1e-3, 3e-3])
def test_the_time_constant_of_a_first_order_circuit(tau_s: float) -> None:
    capture = sampled(
        lambda t: 11.0 + 1.2 * first_order(t, tau_s), count=1500, before=0, step=0.02
    )
    found = read_recovery(capture.value_si, capture.period_s, 0.02)
    assert found is not None
    assert found.frequency_hz is None
    low, high = found.tau_s.interval()
    assert float(found.tau_s.value[0]) == pytest.approx(tau_s, rel=0.02)
    assert low[0] <= tau_s <= high[0]


def test_intervals_of_the_time_constant_hold_it_under_noise() -> None:
    rng, hits = np.random.default_rng(8), 0
    value = sampled(lambda t: 1.2 * first_order(t, 1.3e-3), before=0).value_si
    for _ in range(40):
        found = read_recovery(value + rng.normal(0.0, 0.1, value.size), 1e-5, 0.0)
        assert found is not None
        low, high = found.tau_s.interval()
        hits += bool(low[0] <= 1.3e-3 <= high[0])
    assert hits >= 34  # 95 % of 40 less three sigma


def test_the_ringing_of_a_second_order_circuit() -> None:
    # omega^2/(s^2 + 2 zeta omega s + omega^2): rings at omega sqrt(1 - zeta^2) and
    # dies by zeta omega (any text on linear systems); its answer by scipy's lsim.
    omega, zeta = 2.0 * math.pi * 4_000.0, 0.08
    system = ([omega**2], [1.0, 2.0 * zeta * omega, omega**2])
    grid = np.arange(6_000) * 1e-6
    y = lsim(system, np.ones(grid.size), grid.tolist())[1]
    value = 12.0 + 0.8 * np.asarray(y)[::10]
    found = read_recovery(value, 1e-5, 0.0)
    assert found is not None
    assert found.frequency_hz is not None
    rings_hz = omega * math.sqrt(1.0 - zeta**2) / (2.0 * math.pi)
    assert float(found.frequency_hz.value[0]) == pytest.approx(rings_hz, rel=1e-3)
    assert float(found.tau_s.value[0]) == pytest.approx(1.0 / (zeta * omega), rel=0.01)


def test_a_dip_is_told_by_its_lowest_sample_and_by_its_slow_part() -> None:
    def dips(t: Array) -> Array:
        gone = np.where(t < 0.0, 0.0, np.exp(-t / 20e-3) - np.exp(-t / 2e-3))
        ripple = np.where(t < 0.0, 0.0, 0.1) * np.sin(2.0 * np.pi * 4_100.0 * t)
        return np.asarray(12.0 - 2.0 * gone + ripple)

    found = read(dips, period_s=5e-5, step=0.02, count=2000)
    grid = np.linspace(0.0, 87e-3, 400_000)
    lowest = float(dips(grid).min())
    assert found.kind == "dip"
    assert float(found.before_si.value[0]) == pytest.approx(12.0, abs=0.01)
    low, high = found.depth_si.interval()
    assert low[0] <= 12.0 - lowest <= high[0]
    assert found.slow_si == pytest.approx(2.0 * 0.697, abs=0.03)
    assert found.recovery is not None
    assert float(found.recovery.tau_s.value[0]) == pytest.approx(20e-3, rel=0.15)


def test_an_overshoot_is_counted_from_where_it_settles() -> None:
    def over(t: Array) -> Array:
        rings = np.exp(-t / 3e-4) * np.cos(2.0 * np.pi * 2_500.0 * t)
        return np.where(t < 0.0, 11.0, 12.3 + 0.5 * rings)

    found = read(over, step=0.02)
    assert found.kind == "rise"
    assert float(found.after_si.value[0]) == pytest.approx(12.3, abs=0.01)
    low, high = found.depth_si.interval()
    assert low[0] <= 0.5 <= high[0]
    assert found.recovery is not None
    assert found.recovery.frequency_hz is not None
    assert float(found.recovery.frequency_hz.value[0]) == pytest.approx(
        2_500.0, rel=0.02
    )


def test_ripple_that_stays_is_neither_a_change_nor_a_ringing() -> None:
    ripple = read_ripple(sampled(lambda t: 12.0 + tone(5_000.0, 0.2)(t), step=0.02))
    assert ripple is not None
    assert ripple.transient is None


def test_a_change_that_is_not_over_is_not_half_way_back() -> None:
    found = read(lambda t: np.where(t < 0.0, 12.0, 12.0 - 80.0 * t), step=0.02)
    assert found.kind == "dip"
    assert found.half_back_s is None

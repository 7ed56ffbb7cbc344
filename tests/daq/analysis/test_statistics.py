"""The mean of a window: what correlation, trends and glitches do to it."""

import math

import numpy as np
import pytest

from daq.analysis.measured import t_factor
from daq.analysis.series import Array
from daq.analysis.statistics import (
    correlation_time,
    distinct,
    glitches,
    mser_truncation,
    step_nearby,
    window_mean,
)
from tests.daq.analysis.invented import autocorrelated


def axis(count: int, rate_hz: float = 100.0) -> Array:
    return np.arange(count) / rate_hz


def test_white_noise_gives_the_textbook_standard_error() -> None:
    rng = np.random.default_rng(1)
    found = window_mean(axis(4000), 5 + rng.standard_normal(4000), 0.0)
    assert found.u == pytest.approx(1 / math.sqrt(4000), rel=0.1)
    assert found.n_eff == pytest.approx(4000, rel=0.15)
    assert abs(found.mean - 5) < 4 * found.u


@pytest.mark.parametrize("rho", [0.5, 0.9, 0.98])
def test_correlated_noise_is_worth_fewer_readings(rho: float) -> None:
    # First-order autoregression: tau = (1 + rho)/(1 - rho), exact.
    rng = np.random.default_rng(2)
    tau = (1 + rho) / (1 - rho)
    found = np.mean(
        [
            window_mean(axis(5000), autocorrelated(5000, rho, rng), 0.0).n_eff
            for _ in range(20)
        ]
    )
    assert found == pytest.approx(5000 / tau, rel=0.25)


def test_the_correlation_time_of_white_noise_is_one_reading() -> None:
    rng = np.random.default_rng(3)
    found = [correlation_time(rng.standard_normal(400)) for _ in range(50)]
    assert 1.0 <= np.mean(found) < 1.3
    assert min(found) >= 1.0


def test_ringing_never_makes_a_mean_better_than_independent_readings() -> None:
    alternating = np.tile([1.0, -1.0], 200)
    assert correlation_time(alternating) == 1.0


def test_a_trend_is_carried_as_a_component() -> None:
    rng = np.random.default_rng(4)
    t_s = axis(500)
    noise = 0.01 * rng.standard_normal(500)
    flat, sloping = window_mean(t_s, noise, 0.0), window_mean(t_s, noise + t_s, 0.0)
    # A slope of 1 a second over 5 s: half-width 2.5, rectangular.
    assert sloping.trend_u == pytest.approx(4.99 / math.sqrt(12), rel=0.01)
    assert sloping.change == pytest.approx(4.99, rel=0.01)
    assert sloping.scatter_u == pytest.approx(flat.scatter_u, rel=0.05)
    assert sloping.trending
    assert sloping.late
    assert not flat.trending


def test_scatter_alone_does_not_pass_for_a_trend() -> None:
    rng = np.random.default_rng(5)
    windows = [
        window_mean(axis(200), autocorrelated(200, 0.7, rng), 0.0) for _ in range(300)
    ]
    assert np.mean([w.trending for w in windows]) < 0.03
    assert np.mean([w.late for w in windows]) < 0.03


def test_a_single_glitch_is_rejected_and_counted() -> None:
    rng = np.random.default_rng(6)
    value = 1 + 0.01 * rng.standard_normal(200)
    clean = window_mean(axis(200), value, 0.001)
    value[70] = 8e6
    found = window_mean(axis(200), value, 0.001)
    assert found.glitches == 1
    assert found.mean == pytest.approx(clean.mean, abs=0.001)


def test_a_slow_converters_glitch_repeated_in_a_fast_stream_is_one_glitch() -> None:
    rng = np.random.default_rng(7)
    slow = 1 + 0.01 * rng.standard_normal(40)
    slow[17] = -30.0
    found = window_mean(axis(480), np.repeat(slow, 12), 0.001)
    assert found.glitches == 12
    assert found.n_eff < 45
    assert found.mean == pytest.approx(np.delete(slow, 17).mean(), abs=0.005)


def test_frequent_glitches_do_not_hide_each_other() -> None:
    rng = np.random.default_rng(8)
    value = 1 + 0.01 * rng.standard_normal(600)
    hit = rng.choice(600, 60, replace=False)
    value[hit] += 50.0
    mask, _ = glitches(axis(600), value, 0.001)
    # Neighbours of up to three readings count as one glitch.
    assert set(np.flatnonzero(mask)) == set(hit)


def test_a_coarse_step_behind_a_fine_count_is_no_excursion() -> None:
    # A speed told in counts of 1 rpm that comes in steps of 10: it crosses from
    # one step to the next once, a sixth of the way into the window.
    window = np.where(np.arange(600) < 100, 17190.0, 17200.0)
    ramp = np.arange(0.0, 20000.0, 10.0)
    step = step_nearby(ramp, window, 1.0)
    assert step == 10.0
    assert window_mean(axis(600), window, 1.0).excursion
    found = window_mean(axis(600), window, step)
    assert not found.excursion
    assert found.glitches == 0
    # Half a step each way, evenly: 10 over root 12 (GUM F.2.2.1).
    still = window_mean(axis(600), np.full(600, 17200.0), step)
    assert still.u == pytest.approx(10 / math.sqrt(12))


def test_a_step_is_never_finer_than_a_count_nor_guessed_from_few_values() -> None:
    rng = np.random.default_rng(8)
    fine = 100 + rng.standard_normal(500)
    assert step_nearby(distinct(fine), fine, 0.25) == 0.25
    two = np.where(np.arange(500) == 250, 101.0, 100.0)
    assert step_nearby(distinct(two), two, 0.01) == 0.01
    assert step_nearby(distinct(fine), np.full(9, np.nan), 0.5) == 0.5


def test_something_that_happened_is_no_glitch() -> None:
    rng = np.random.default_rng(9)
    value = 1 + 0.01 * rng.standard_normal(400)
    value[200:240] += 0.5
    found = window_mean(axis(400), value, 0.001)
    assert found.glitches == 0
    assert found.excursion


def test_a_value_held_for_long_is_no_glitch_however_steady() -> None:
    value = np.full(400, 2.0)
    value[:50] = 9.0
    found = window_mean(axis(400), value, 0.001)
    assert found.glitches == 0
    assert found.excursion


def test_a_converter_that_hardly_changes_keeps_its_last_bit() -> None:
    value = np.full(100, 5.0)
    value[::20] = 6.0
    found = window_mean(axis(100), value, 1.0)
    assert found.glitches == 0
    assert found.mean == pytest.approx(5.05)


def test_a_constant_reading_is_worth_one_count() -> None:
    # GUM F.2.2.1: a resolution d gives 0.29 d.
    found = window_mean(axis(100), np.full(100, 3.0), 0.2)
    assert found.u == pytest.approx(0.2887 * 0.2, rel=1e-3)
    assert found.dof == math.inf


def test_averaging_sees_through_a_count_that_noise_blurs() -> None:
    rng = np.random.default_rng(10)
    true = 0.3217
    value = np.round(true + 0.8 * rng.standard_normal(20000))
    found = window_mean(axis(20000), value, 1.0)
    assert found.resolution_u == 0.0
    assert abs(found.mean - true) < 4 * found.u


def test_missing_readings_are_dropped_and_counted() -> None:
    value = np.array([1.0, np.nan, 1.1, 0.9, np.nan, 1.0])
    found = window_mean(axis(6), value, 0.0)
    assert (found.lost, found.count) == (2, 4)
    assert found.mean == pytest.approx(1.0)


@pytest.mark.parametrize("value", [[], [1.0], [1.0, 2.0], [np.nan] * 50])
def test_too_few_readings_are_no_plateau(value: list[float]) -> None:
    found = window_mean(axis(len(value)), np.array(value), 0.1)
    assert math.isnan(found.mean)
    assert math.isnan(found.u)


def test_three_readings_give_the_students_answer() -> None:
    # GUM 4.2: s of (1, 2, 3) is 1, of the mean 1/sqrt(3), with 2 degrees.
    found = window_mean(axis(3), np.array([1.0, 2.0, 3.0]), 0.0)
    assert found.u == pytest.approx(1 / math.sqrt(3))
    assert found.dof == pytest.approx(2.0)


def test_mser_cuts_a_start_that_was_still_settling() -> None:
    # White 1997: the rule cuts an initial transient and little else.
    rng = np.random.default_rng(11)
    t_s = axis(1000)
    value = 5 * np.exp(-t_s / 0.5) + 0.1 * rng.standard_normal(1000)
    assert 100 < mser_truncation(value) < 400
    steady = [mser_truncation(rng.standard_normal(1000)) for _ in range(50)]
    assert np.median(steady) < 100


def test_mser_says_nothing_about_a_handful_of_readings() -> None:
    assert mser_truncation(np.arange(19.0)) == 0


@pytest.mark.parametrize(
    ("count", "rho"), [(16, 0.0), (40, 0.5), (160, 0.9), (1000, 0.97)]
)
def test_the_interval_of_a_mean_holds_the_truth(count: int, rho: float) -> None:
    # 600 windows of noise about zero. 95 % must not be missed by more than the
    # binomial scatter (0.999 range: 0.920 to 0.977) plus what the shortest of
    # correlated windows are known to lack.
    rng = np.random.default_rng(12)
    held = 0
    for _ in range(600):
        found = window_mean(axis(count), autocorrelated(count, rho, rng), 0.0)
        held += abs(found.mean) <= float(t_factor(found.dof)) * found.u
    assert 0.92 <= held / 600 <= 0.995


def test_vibration_does_not_fool_the_interval() -> None:
    # A sine of any frequency up to half the rate: its correlation never fades.
    rng = np.random.default_rng(13)
    for _ in range(100):
        phase = 2 * np.pi * rng.uniform(0.02, 0.5) * np.arange(400)
        value = np.sin(phase + rng.uniform(0, 6.3)) + 0.3 * rng.standard_normal(400)
        found = window_mean(axis(400), value, 0.0)
        assert abs(found.mean) <= 3 * float(t_factor(found.dof)) * found.u
        assert found.u < 0.2

"""Ripple: what is quick in a capture, in its band, and not the dip it sits on."""

import math

import numpy as np
import pytest
from scipy.signal import butter, sosfiltfilt

from daq.analysis.ripple import SPLIT_HZ, Ripple, read_ripple
from daq.analysis.series import Array
from tests.daq.analysis.sampled import sampled, tone


def read(*args: object, **more: object) -> Ripple:
    found = read_ripple(sampled(*args, **more))  # type: ignore[arg-type]
    assert found is not None
    return found


def rms_of(ripple: Ripple) -> tuple[float, float, float]:
    """Value and ends of its interval."""
    low, high = ripple.rms_si.interval()
    return float(ripple.rms_si.value[0]), float(low[0]), float(high[0])


@pytest.mark.parametrize("step", [0.0, 0.02])
@pytest.mark.parametrize("hertz", [4_321.0, 23_700.0, 41_000.0])
def test_a_tones_rms_and_peak_to_peak(hertz: float, step: float) -> None:
    ripple = read(lambda t: 11.5 + tone(hertz, 0.25)(t), step=step)
    value, low, high = rms_of(ripple)
    assert value == pytest.approx(0.25 / math.sqrt(2.0), abs=0.001 + 0.15 * step)
    assert low <= 0.25 / math.sqrt(2.0) <= high
    assert float(ripple.peak_to_peak_si.value[0]) == pytest.approx(0.5, abs=0.03)
    assert ripple.band_hz[0] == SPLIT_HZ
    assert ripple.band_hz[1] == pytest.approx(50e3)


def test_the_dip_it_sits_on_is_no_ripple() -> None:
    def dips(t: Array) -> Array:
        slow = -1.2 * np.exp(-(((t - 2e-3) / 2e-3) ** 2))
        return np.asarray(12.0 + slow + tone(20e3, 0.1)(t))

    value, low, high = rms_of(read(dips, step=0.02))
    assert value == pytest.approx(0.1 / math.sqrt(2.0), rel=0.05)
    assert low <= 0.1 / math.sqrt(2.0) <= high


def test_what_is_split_off_is_half_at_the_split_frequency() -> None:
    ripple = read(lambda t: 12.0 + tone(SPLIT_HZ, 0.4)(t), count=4000)
    assert ripple.split_hz == SPLIT_HZ
    middle = ripple.quick_si[500:3500]
    assert float(np.ptp(middle)) / 2.0 == pytest.approx(0.2, rel=0.02)
    assert ripple.lines[0].size_si == pytest.approx(0.4, rel=0.02)


def test_it_agrees_with_a_band_pass_of_scipy() -> None:
    rng = np.random.default_rng(3)
    shaped = butter(1, 15e3, fs=100e3, output="sos")
    noise = sosfiltfilt(shaped, rng.normal(0.0, 0.3, 4000))
    slow = 0.3 * np.sin(2.0 * np.pi * 60.0 * np.arange(4000) * 1e-5)
    band = butter(4, SPLIT_HZ, "highpass", fs=100e3, output="sos")
    in_band = float(sosfiltfilt(band, noise + slow)[200:-200].std())
    value, low, high = rms_of(read(lambda t: 12.0 + noise + slow, count=4000))
    assert value == pytest.approx(in_band, rel=0.05)
    assert low <= in_band <= high


def test_where_one_state_becomes_another_the_louder_one_counts() -> None:
    def chopped(t: Array) -> Array:
        level = np.where(t < 0.0, 11.0 + tone(24e3, 0.2)(t), 12.3)
        return np.asarray(level)

    ripple = read(chopped, step=0.02, before=500)
    value, low, high = rms_of(ripple)
    assert ripple.stretch_s[1] < 0.0
    assert low <= 0.2 / math.sqrt(2.0) <= high
    assert value == pytest.approx(0.2 / math.sqrt(2.0), rel=0.03)


def test_ripple_that_comes_with_the_trigger_is_not_thinned_by_what_was_before() -> None:
    def punched(t: Array) -> Array:
        grows = np.clip(t / 5e-3, 0.0, 1.0)
        return np.asarray(12.0 - 0.4 * grows + grows * tone(24e3, 0.3)(t))

    ripple = read(punched, step=0.02, before=250)
    assert ripple.stretch_s[0] >= 0.0


def test_what_is_below_a_step_is_not_known_from_nothing() -> None:
    value, low, _ = rms_of(read(lambda t: 12.0 + tone(20e3, 0.004)(t), step=0.02))
    assert low <= 0.004 / math.sqrt(2.0)
    assert value < 0.02


def test_missing_samples_are_left_out() -> None:
    capture = sampled(lambda t: 11.5 + tone(8_000.0, 0.25)(t))
    capture.value_si[::9] = np.nan
    ripple = read_ripple(capture)
    assert ripple is not None
    first, last = np.searchsorted(capture.t_s, ripple.stretch_s)
    there = np.isfinite(capture.value_si[first : last + 1])
    assert ripple.seen == there.sum() < there.size
    assert rms_of(ripple)[0] == pytest.approx(0.25 / math.sqrt(2.0), rel=0.01)


def test_a_slow_capture_splits_where_it_can() -> None:
    # A thousand samples a millisecond apart: half the rate is 500 Hz.
    ripple = read(lambda t: 12.0 + tone(333.0, 0.2)(t), period_s=1e-3)
    assert ripple.band_hz == (125.0, 500.0)
    assert ripple.lines[0].hertz == pytest.approx(333.0, abs=0.1)


def test_too_few_samples_say_nothing() -> None:
    assert read_ripple(sampled(tone(2e3), count=40, before=5)) is None


def test_samples_that_are_all_alike_have_no_ripple() -> None:
    ripple = read(lambda t: np.full_like(t, 12.34), step=0.02)
    value, low, high = rms_of(ripple)
    assert value == 0.0
    assert low <= 0.0 < high < 0.02
    assert ripple.lines == ()
    assert ripple.transient is None

"""Plateaus: one window for all channels, and what they share."""

import math

import numpy as np
import pytest

from daq.analysis.plateaus import DEFAULT_SETTLE_S, Plateaus, average
from daq.analysis.series import Hold, Series
from tests.daq.analysis.invented import Noise, record, staircase, truth_at

LEVELS = (0.2, 0.4, 0.6, 0.8)
#: No error but noise of single readings.
QUIET = Noise(gain_u_rel=dict.fromkeys(("thrust", "current", "voltage", "speed"), 0.0))


def quiet_run(settle_s: float = DEFAULT_SETTLE_S) -> Plateaus:
    holds, rng = staircase(LEVELS), np.random.default_rng(1)
    return average(record(holds, QUIET, rng), holds, settle_s=settle_s)


def test_the_means_are_the_truth_with_the_zero_taken_off() -> None:
    found = quiet_run()
    assert len(found) == 7
    assert found.leg == ("up",) * 4 + ("down",) * 3
    assert found.throttle_frac.tolist() == [0.2, 0.4, 0.6, 0.8, 0.6, 0.4, 0.2]
    for index, throttle in enumerate(found.throttle_frac):
        truth = truth_at(float(throttle))
        for name, true in (
            ("thrust", truth.thrust_n),
            ("current", truth.current_a),
            ("voltage", truth.voltage_v),
            ("speed", truth.speed_rad_s),
        ):
            measured = found.channels[name].measured
            off = abs(measured.value[index] - true)
            assert off < 4.5 * measured.standard_uncertainty()[index], name


def test_every_channel_is_averaged_over_the_same_window() -> None:
    found = quiet_run(settle_s=1.0)
    assert found.end_s - found.start_s == pytest.approx(np.full(7, 2.0))
    counts = [means.count + means.glitches for means in found.channels.values()]
    for count in counts:
        assert np.abs(count - 160).max() <= 1


def test_settling_is_cut_off_before_anything_is_averaged() -> None:
    holds = [
        Hold("rest", "rest", 0, 0.0, 0.0, 4.0),
        Hold("dwell", "up", 1, 0.5, 4.0, 8.0),
    ]
    t_s = np.arange(0.0, 8.0, 0.01)
    # 9 newton for the first half second of the dwell, then 2.
    value = np.where(t_s < 4.0, 0.0, np.where(t_s < 4.5, 9.0, 2.0))
    series = {"thrust": Series("thrust", "force", t_s, value, 0.0, 0.001)}
    assert average(series, holds).channels["thrust"].mean[0] == pytest.approx(2.0)
    hasty = average(series, holds, settle_s=0.0)
    assert hasty.channels["thrust"].mean[0] > 2.5


def test_the_covariance_is_own_scatter_plus_gain_plus_zeros() -> None:
    holds = staircase(LEVELS, rest_every=2)
    noise = Noise(zero_n_per_root_s=0.002)
    found = average(record(holds, noise, np.random.default_rng(2)), holds)
    means = found.channels["thrust"]
    covariance = found.covariance("thrust")
    sources = means.measured.sources
    gain = 0.005 * means.mean
    expected = (
        np.diag(means.random_u**2)
        + np.outer(gain, gain)
        + sources["thrust zero"].covariance()
        + sources["thrust zero drift"].covariance()
    )
    assert covariance == pytest.approx(expected)
    assert np.linalg.eigvalsh(covariance).min() > 0
    # Voltage has no zero: only the gain is shared.
    volts = found.channels["voltage"]
    correlated = found.covariance("voltage")[0, 1]
    assert correlated == pytest.approx(0.004**2 * volts.mean[0] * volts.mean[1])


def test_a_dwell_cut_short_is_left_out_and_named() -> None:
    holds = staircase(LEVELS, down=False)[:-1]
    last = holds[-1]
    holds[-1] = Hold("dwell", "up", last.step, 0.8, last.start_s, last.start_s + 0.3)
    found = average(record(holds, QUIET, np.random.default_rng(3)), holds)
    assert len(found) == 3
    assert "80 % throttle (step 4) lasted 0.30 s" in found.skipped[0]


def test_a_channel_that_fell_silent_gives_no_mean_and_says_so() -> None:
    holds = staircase(LEVELS, down=False)
    series = record(holds, QUIET, np.random.default_rng(4))
    thrust = series["thrust"]
    value = thrust.value_si.copy()
    value[thrust.t_s > holds[3].start_s] = math.nan
    series["thrust"] = Series("thrust", "force", thrust.t_s, value, 0.005, 0.001)
    found = average(series, holds)
    assert np.isfinite(found.channels["thrust"].mean).tolist() == [
        True,
        True,
        False,
        False,
    ]
    assert "thrust: too few readings" in found.flags(2)
    assert found.channels["thrust"].lost[2] > 100
    assert np.isfinite(found.channels["current"].mean).all()


def test_a_plateau_still_on_the_move_is_flagged() -> None:
    holds = staircase((0.5,), down=False)
    series = record(holds, QUIET, np.random.default_rng(5))
    thrust = series["thrust"]
    creeping = thrust.value_si + 0.1 * thrust.t_s * (thrust.value_si > 1.2)
    series["thrust"] = Series("thrust", "force", thrust.t_s, creeping, 0.0, 0.001)
    found = average(series, holds)
    assert found.channels["thrust"].unsettled.tolist() == [True]
    assert not found.channels["current"].unsettled.any()
    assert found.flags(0) == ("thrust: not settled",)


def test_a_run_without_dwells_has_no_plateaus() -> None:
    holds = [Hold("rest", "rest", 0, 0.0, 0.0, 4.0)]
    found = average(record(holds, QUIET, np.random.default_rng(6)), holds)
    assert len(found) == 0
    assert found.covariance("thrust").shape == (0, 0)


def test_channels_at_their_own_rates_share_the_window() -> None:
    holds = staircase(LEVELS)
    slow = record(holds, QUIET, np.random.default_rng(7), rate_hz=10.0)
    fast = record(holds, QUIET, np.random.default_rng(7), rate_hz=500.0)
    found = average({"thrust": slow["thrust"], "current": fast["current"]}, holds)
    assert found.channels["thrust"].count.max() <= 25
    assert found.channels["current"].count.min() >= 1190

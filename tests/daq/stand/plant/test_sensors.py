import math

import numpy as np
import pytest
from scipy.signal import lsim

from daq.stand.plant.bench import Plant
from daq.stand.plant.bus import Bus
from daq.stand.plant.esc import Esc
from daq.stand.plant.motor import Motor
from daq.stand.plant.noise import Stream
from daq.stand.plant.sensors import (
    FastFrame,
    FastSensor,
    FilteredSensor,
    SpeedSensor,
    Wired,
    bus_sensor,
    fast_sensor,
    pulse_counts,
    sensor_specs,
    true_gain,
)
from daq.stand.plant.truth_parts import SpeedSensorTruth
from tests.daq.stand.plant.balance import framed
from tests.daq.stand.plant.builder import QUIET, changed


def plain(gain: float = 1000.0, zero: float = 0.0) -> FastSensor:
    return FastSensor(gain, zero, 0.0, (-32768, 32767), lambda: 0.0)


def test_mean_highest_and_lowest_since_last_asked() -> None:
    one = plain(zero=7.0)
    for value in (1.0, 4.0, -2.0, 2.0):
        one.sample(value)
    assert one.collect() == (1257, 4007, -1993)
    one.sample(3.0)
    assert one.collect() == (3007, 3007, 3007)


def test_without_a_new_sample_the_last_frame_stands() -> None:
    one = plain()
    one.sample(1.0)
    one.sample(2.0)
    assert one.collect() == one.collect() == (1500, 2000, 1000)


def test_samples_are_clipped_before_they_are_averaged() -> None:
    one = plain()
    for value in (40.0, 20.0, -50.0):
        one.sample(value)
    assert one.collect() == (round((32767 + 20000 - 32768) / 3), 32767, -32768)


def test_noise_averages_down_with_the_number_of_samples() -> None:
    truth = changed({}).current_sensor
    one = fast_sensor(truth, 1000.0, 1, Stream.CURRENT_NOISE)
    means = []
    for _ in range(1000):
        for _ in range(25):
            one.sample(5.0)
        means.append(one.collect()[0])
    # 9 counts rms over 25 samples; rounding to a count adds 1/12.
    expected = math.sqrt(9.0**2 / 25 + 1 / 12)
    assert np.std(means) == pytest.approx(expected, rel=5.0 / math.sqrt(2000))
    assert np.mean(means) == pytest.approx(5014.0, abs=5.0 * expected / math.sqrt(1000))


def test_a_gain_is_the_given_error_or_drawn_with_the_given_spread() -> None:
    exact = changed(
        {
            "load_cell.gain_u": None,
            "load_cell.gain_error": -0.013,
            "load_cell.gain_tolerance_rel": 0.02,
        }
    ).load_cell
    assert true_gain(exact, 1, Stream.LOAD_CELL_GAIN) == pytest.approx(43800 * 0.987)
    drawn = changed({}).load_cell
    gains = [true_gain(drawn, seed, Stream.LOAD_CELL_GAIN) for seed in range(400)]
    errors = np.array(gains) / 43800.0 - 1.0
    assert errors.std() == pytest.approx(0.02, rel=5.0 / math.sqrt(800))
    assert abs(errors.mean()) < 5.0 * 0.02 / math.sqrt(400)


def test_speed_reads_in_steps_of_its_resolution_up_to_its_range() -> None:
    one = SpeedSensor(
        SpeedSensorTruth(resolution_rpm=25.0, high_rpm=50_000, gain_tolerance_rel=0.0)
    )
    turn = 2.0 * math.pi / 60.0
    assert one.counts(12_345.0 * turn) == 12_350
    assert one.counts(0.0) == 0
    assert one.counts(90_000.0 * turn) == 50_000


@pytest.mark.parametrize(
    ("pulse_s", "counts"),
    [(1.5e-3, 1500), (0.0, 0), (math.nan, 0), (-1e-3, 0), (1.0, 0)],
)
def test_the_pulse_reads_in_microseconds_or_zero(pulse_s: float, counts: int) -> None:
    assert pulse_counts(pulse_s) == counts


def test_the_channels_are_declared_in_order_with_nominal_figures() -> None:
    specs = sensor_specs(changed({}))
    assert [(s.name, s.quantity, s.kind, s.width_bytes) for s in specs] == [
        ("thrust", "force", "point", 4),
        ("current", "current", "mean", 2),
        ("current-high", "current", "high", 2),
        ("voltage", "voltage", "mean", 2),
        ("voltage-low", "voltage", "low", 2),
        ("speed", "rotational speed", "point", 4),
        ("pulse", "duration", "point", 2),
    ]
    assert len(specs) == 1 + len(FastFrame._fields)
    assert specs[0].counts_per_unit == 43800.0
    assert specs[0].gain_tolerance_rel == 0.02
    assert specs[0].delay_s == pytest.approx(0.01875)
    # One count is one rpm, and one microsecond.
    assert specs[5].counts_per_unit * 2.0 * math.pi / 60.0 == pytest.approx(1.0)
    assert specs[6].counts_per_unit == 1e6
    # No secret is declared: zeros are nominal.
    assert all(spec.zero_counts == 0 for spec in specs)
    for spec in specs:
        reach = 2 ** (8 * spec.width_bytes - 1)
        assert -reach <= spec.low_counts < spec.high_counts < reach


def filtered(filter_s: float, tap_ohm: float, rested: float = 0.0) -> FilteredSensor:
    truth = changed(QUIET).current_sensor
    esc, motor = Esc(changed({}).esc, 1e-3), Motor(changed({}).motor)
    wired = Wired(Bus(esc, motor, 0.1, 1e-3), 1e-3, filter_s, tap_ohm, rested)
    sensor = bus_sensor(truth, 1000.0, lambda: 0.0, wired)
    assert isinstance(sensor, FilteredSensor)
    return sensor


def test_a_filter_answers_a_jump_as_scipys_low_pass() -> None:
    # 1/(1 + s tau) by scipy, averaged over each step of 1 ms.
    one = filtered(0.004, 0.0, rested=1.0)
    inputs = [1.0] * 3 + [9.0] * 20 + [2.0] * 20
    seen = []
    for value in inputs:
        one.sample(value)
        seen.append(one.newest_counts / 1000.0)
    fine = np.repeat(inputs, 1000)
    time_s = np.arange(len(fine)) * 1e-6
    _, slow, _ = lsim(([1.0], [0.004, 1.0]), fine - 1.0, time_s)
    expected = 1.0 + slow.reshape(len(inputs), 1000).mean(axis=1)
    assert seen == pytest.approx(expected.tolist(), abs=2e-3)


def test_a_filtered_ramp_is_late_by_the_filters_time() -> None:
    one = filtered(0.004, 0.0)
    for step in range(200):
        one.sample((step + 0.5) * 1e-3)
    assert one.newest_counts / 1000.0 == pytest.approx(0.1995 - 0.004, rel=1e-3)


def test_a_voltage_tapped_before_a_lead_reads_its_drop_too() -> None:
    # Ohm's law: 12 mohm carry the bus current.
    truth = changed(QUIET | {"voltage_sensor.tap_resistance_ohm": 0.012})
    plant = Plant(truth, 1)
    first = plant.fast_frame().voltage_mean_counts
    assert first == pytest.approx(12_567 + 12 * 0.035, abs=1)
    plant.advance(2.0, 1.8e-3)
    volt, amp, frame = framed(plant, 0.1, 1.8e-3)
    assert frame.voltage_mean_counts / 1000.0 == pytest.approx(
        volt + 0.012 * amp, abs=1e-3
    )
    # And the truth stays that of the ESC's input.
    assert plant.state.bus_v == pytest.approx(volt, abs=0.02)


def test_a_sensor_without_filter_and_lead_is_the_plain_one() -> None:
    plant = Plant(changed(QUIET), 1)
    assert type(plant._voltage) is type(plant._current) is FastSensor

"""The plant as a whole: time, seeds, plug, check mass, side door."""

import math
from collections.abc import Iterator

import pytest

from daq.errors import InputFault
from daq.stand.plant.bench import Plant
from daq.stand.plant.sensors import FastFrame
from daq.stand.plant.truth import shipped_truth
from tests.daq.stand.plant.balance import framed
from tests.daq.stand.plant.builder import QUIET, changed

TRUTH = shipped_truth()


def readings(seed: int) -> Iterator[tuple[FastFrame, int | None]]:
    plant = Plant(TRUTH, seed)
    for index in range(400):
        plant.advance(2e-3, 1.0e-3 if index < 50 else 1.6e-3)
        yield plant.fast_frame(), plant.take_conversion()


def test_the_same_seed_gives_the_same_counts_and_another_does_not() -> None:
    assert list(readings(7)) == list(readings(7))
    assert list(readings(7)) != list(readings(8))


def test_how_often_a_sensor_is_asked_changes_no_physics_and_no_other_sensor() -> None:
    often, seldom = Plant(TRUTH, 3), Plant(TRUTH, 3)
    often_counts, seldom_counts = [], []
    for _ in range(50):
        for _ in range(10):
            often.advance(1e-3, 1.7e-3)
            often.fast_frame()
            often_counts.append(often.take_conversion())
        seldom.advance(10e-3, 1.7e-3)
        seldom_counts.append(seldom.take_conversion())
    assert often.state == seldom.state
    assert often.integrals == seldom.integrals
    found = [count for count in often_counts if count is not None]
    assert [count for count in seldom_counts if count is not None] == found


def test_time_moves_in_whole_sub_steps_and_owes_the_rest() -> None:
    plant = Plant(TRUTH, 1)
    times_ms = []
    for _ in range(10):
        plant.advance(0.7e-3, 1.5e-3)
        times_ms.append(round(plant.time_s * 1e3, 9))
    assert times_ms == [0, 1, 2, 2, 3, 4, 4, 5, 6, 7]
    plant.advance(0.4e-3, 1.5e-3)
    assert plant.time_s == pytest.approx(7e-3)
    plant.advance(0.6e-3, 1.5e-3)
    assert plant.time_s == pytest.approx(8e-3)


def test_many_small_advances_lose_no_time() -> None:
    plant = Plant(TRUTH, 1)
    for _ in range(30_000):
        plant.advance(0.1e-3, 0.0)
    assert plant.time_s == pytest.approx(3.0, abs=1e-9)


@pytest.mark.parametrize("duration_s", [-1e-3, math.nan, math.inf])
def test_time_that_is_no_time_is_refused(duration_s: float) -> None:
    with pytest.raises(ValueError, match="cannot advance"):
        Plant(TRUTH, 1).advance(duration_s, 0.0)


def test_a_negative_seed_is_refused_in_a_sentence() -> None:
    with pytest.raises(InputFault, match="the seed is -1"):
        Plant(TRUTH, -1)


def test_the_first_frame_before_any_step_reads_the_resting_bus() -> None:
    frame = Plant(changed(QUIET), 1).fast_frame()
    assert frame.voltage_mean_counts == pytest.approx(12_567, abs=3)
    assert frame.current_mean_counts == 35
    assert frame.speed_counts == 0
    assert frame.pulse_counts == 0


def test_frames_hold_mean_and_extremes_of_the_truth_since_last_asked() -> None:
    plant = Plant(changed(QUIET | {"esc.slew_frac_s": None}), 1)
    plant.advance(0.5, 1.2e-3)
    mean_v, mean_a, frame = framed(plant, 0.1, 2.0e-3)
    assert frame.current_mean_counts == pytest.approx(1000.0 * mean_a, abs=0.6)
    assert frame.voltage_mean_counts == pytest.approx(1000.0 * mean_v, abs=0.6)
    # The surge comes first: at the jump, far above the mean.
    assert frame.current_high_counts > 1.3 * frame.current_mean_counts
    assert frame.voltage_low_counts < frame.voltage_mean_counts - 300
    assert frame.speed_counts == pytest.approx(
        plant.state.speed_rad_s * 60.0 / (2.0 * math.pi), abs=5.0
    )
    assert frame.pulse_counts == 2000


def test_counts_carry_the_secret_gains_and_zeros() -> None:
    plant = Plant(TRUTH, 11)
    plant.advance(1.0, 1.6e-3)
    volt, amp, frame = framed(plant, 2.0, 1.6e-3)
    gains = plant.true_counts_per_unit
    # Noise of the mean of 2000 samples: 0.07 and 0.2 counts.
    assert frame.voltage_mean_counts == pytest.approx(
        gains["voltage"] * volt - 6, abs=1
    )
    assert frame.current_mean_counts == pytest.approx(
        gains["current"] * amp + 14, abs=1.5
    )
    assert gains["current"] != plant.sensor_specs[1].counts_per_unit


def test_a_mean_over_a_window_is_a_difference_quotient_of_the_integrals() -> None:
    plant = Plant(TRUTH, 1)
    plant.advance(2.0, 1.5e-3)
    before, at_start = plant.integrals, plant.state
    plant.advance(1.0, 1.5e-3)
    after, at_end = plant.integrals, plant.state
    span = after.time_s - before.time_s
    # Settled, so each mean lies between the two ends of a slow drift.
    for mean, start, end in [
        (
            (after.thrust_n_s - before.thrust_n_s) / span,
            *two(at_start, at_end, "thrust_n"),
        ),
        (
            (after.turned_rad - before.turned_rad) / span,
            *two(at_start, at_end, "speed_rad_s"),
        ),
        (
            (after.bus_charge_c - before.bus_charge_c) / span,
            *two(at_start, at_end, "bus_a"),
        ),
        ((after.bus_v_s - before.bus_v_s) / span, *two(at_start, at_end, "bus_v")),
        (
            (after.shaft_energy_j - before.shaft_energy_j) / span,
            *two(at_start, at_end, "shaft_power_w"),
        ),
        (
            (after.bus_energy_j - before.bus_energy_j) / span,
            at_start.bus_a * at_start.bus_v,
            at_end.bus_a * at_end.bus_v,
        ),
    ]:
        assert min(start, end) <= mean <= max(start, end)


def two(start: object, end: object, name: str) -> tuple[float, float]:
    return float(getattr(start, name)), float(getattr(end, name))


def test_no_pulse_cuts_the_motor_and_it_coasts_down() -> None:
    plant = Plant(TRUTH, 1)
    plant.advance(1.0, 1.8e-3)
    spinning = plant.state
    plant.advance(1e-3, 0.0)
    state = plant.state
    assert state.motor_a == 0.0
    assert state.bus_a == pytest.approx(0.035)
    # A free rotor: no braking, so it has hardly slowed after 1 ms.
    assert state.speed_rad_s > 0.95 * spinning.speed_rad_s
    plant.advance(1.5, 0.0)
    assert plant.state.speed_rad_s == 0.0
    assert plant.state.thrust_n == 0.0


def test_pulling_the_plug_ends_the_current_and_the_bus_decays() -> None:
    plant = Plant(TRUTH, 1)
    plant.advance(1.0, 1.8e-3)
    charge = plant.state.charge_frac
    plant.plug_in = False
    plant.advance(5e-3, 1.8e-3)
    assert plant.state.bus_a == 0.0
    plant.advance(0.3, 1.8e-3)
    state = plant.state
    assert state.bus_v < 1.0
    assert state.duty_frac == 0.0
    assert state.speed_rad_s > 0.0
    assert state.charge_frac == charge
    frame_seen = plant.fast_frame()
    assert frame_seen.speed_counts > 0
    plant.advance(2.0, 1.8e-3)
    assert plant.state.speed_rad_s == 0.0


def test_a_pulse_with_the_plug_out_turns_nothing() -> None:
    plant = Plant(TRUTH, 1)
    plant.plug_in = False
    plant.advance(1.0, 1.0e-3)
    assert plant.state.bus_v < 1.0
    plant.advance(0.5, 1.5e-3)
    assert plant.state.speed_rad_s == 0.0
    assert plant.fast_frame().pulse_counts == 1500


def test_plugging_in_again_restores_the_bus() -> None:
    plant = Plant(TRUTH, 1)
    plant.plug_in = False
    plant.advance(1.0, 1.0e-3)
    plant.plug_in = True
    plant.advance(2e-3, 1.0e-3)
    assert plant.state.bus_v == pytest.approx(12.567, abs=0.01)


def test_below_the_start_threshold_it_does_not_turn() -> None:
    plant = Plant(TRUTH, 1)
    plant.advance(0.5, 1.039e-3)
    assert plant.state.speed_rad_s == 0.0
    plant.advance(0.5, 1.06e-3)
    assert plant.state.speed_rad_s > 0.0


def test_a_check_mass_reads_as_its_weight() -> None:
    # 50 g at standard gravity (3rd CGPM, 1901): 0.4903325 N.
    plant = Plant(changed(QUIET), 1)
    plant.placed_load_n = 0.050 * 9.80665
    plant.advance(1.0, 0.0)
    count = plant.take_conversion()
    assert count == pytest.approx(43800.0 * 0.4903325, abs=1)


def test_a_moving_load_reads_late_by_the_declared_delay_and_the_mounts_own() -> None:
    # On a ramp a second-order mount lags by 2 zeta/w, the converter by delay_s.
    truth = changed(QUIET | {"mount.resonance_hz": 300.0, "mount.damping_ratio": 0.7})
    plant = Plant(truth, 1)
    lag_s = plant.sensor_specs[0].delay_s + 2.0 * 0.7 / (2.0 * math.pi * 300.0)
    number = 0
    for index in range(1000):
        plant.placed_load_n = (index + 0.5) * 1e-3
        plant.advance(1e-3, 0.0)
        count = plant.take_conversion()
        if count is not None:
            number += 1
            if number > 10:
                # Within 0.1 ms of the ramp, a tenth of a sub-step.
                expected = 43800.0 * (number / 80.0 - lag_s)
                assert count == pytest.approx(expected, abs=43800.0 * 1e-4)
    assert number == 80


def test_an_empty_pack_browns_out_without_breaking_the_plant() -> None:
    plant = Plant(changed({"pack.charge_frac": 0.0, "pack.capacity_c": 20.0}), 1)
    for _ in range(100):
        plant.advance(0.1, 2.0e-3)
        state = plant.state
        assert 0.0 <= state.bus_v < 9.1
        assert math.isfinite(state.speed_rad_s)
    assert plant.state.bus_v < 4.1

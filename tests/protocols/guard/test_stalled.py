"""A rotor that is blocked or out of step, by rpm and by current."""

import math
from dataclasses import replace

import pytest

from protocols.guard.now import FAST_S, Now
from protocols.guard.stalled import StalledCheck
from protocols.guard.steady import Steady
from protocols.guard.trip import Action, Trip
from protocols.rules import NO_RULES, Rules
from tests.protocols.guard.play import Play, Value, sees

REST_A = 0.24
RULES = Rules(speed_per_volt_rad_s=480.0)


def play(rules: Rules = RULES, *, rate_hz: float = 100.0) -> Play:
    now = Now(0.0)
    steady = Steady(now, 0.0)
    stalled = StalledCheck(REST_A, rules, now, steady)

    def current(value: float, now_s: float) -> Trip | None:
        trip = stalled.current(value, now_s)
        steady.current.take(value, now_s)
        return trip

    def speed(value: float, now_s: float) -> Trip | None:
        trip = stalled.speed(value, now_s)
        steady.speed.take(value, now_s)
        return trip

    takes = {"current": current, "speed": speed, "voltage": steady.voltage.take}
    return Play(now, takes, (steady.setpoint,), rate_hz=rate_hz)


def running(bench: Play | None = None, **values: Value) -> Play:
    """Half throttle for two seconds."""
    bench = bench or play()
    values = values or {"voltage": 12.0, "current": 2.0, "speed": 2500.0}
    assert bench.hold(2.0, 0.5, **values) is None
    return bench


def test_a_motor_that_starts_is_left_alone() -> None:
    bench = play()
    assert bench.hold(1.0, 0.0, voltage=12.6, current=0.0, speed=0.0) is None
    assert bench.hold(0.1, 0.2, voltage=12.5, current=4.0, speed=0.0) is None
    assert bench.hold(2.0, 0.2, voltage=12.5, current=0.3, speed=1050.0) is None


def test_a_motor_that_does_not_start_cuts() -> None:
    bench = play()
    assert bench.hold(1.0, 0.0, voltage=12.6, current=0.0, speed=0.0) is None
    trip = bench.hold(3.0, 0.9, voltage=12.5, current=2.0, speed=0.0)
    assert trip == Trip(
        "stalled",
        "At 90 % throttle and 2 A the motor turns at 0 rpm only.",
        "the motor stands still and turns freely by hand",
        "With the supply off turn the motor by hand: does anything rub or block? Then "
        "look at its three wires, the ESC's timing and the rpm sensor.",
        Action.CUT,
    )
    assert FAST_S + 0.1 <= bench.took_s <= 2 * FAST_S + 0.15


def test_a_motor_that_stands_is_given_a_tenth_of_a_second() -> None:
    bench = play()
    assert bench.hold(2.0, 0.2, voltage=12.0, current=0.2, speed=0.0) is None
    sees(bench.hold(2.0, 0.2, voltage=12.0, current=2.0, speed=0.0))
    assert bench.took_s == pytest.approx(0.11, abs=0.011)


@pytest.mark.parametrize(
    ("readings", "values"),
    [
        (4, {"speed": 0.0, "current": 0.3}),
        (3, {"speed": 1400.0, "current": 2.0}),
        (4, {"speed": 2300.0, "current": 0.1}),
        (4, {"speed": 2500.0, "current": 6.0}),
    ],
)
def test_on_a_slow_stand_it_takes_some_readings(
    readings: int, values: dict[str, float]
) -> None:
    stood = values["speed"] == 0.0
    for late in range(6):  # wherever a slice of what was ends
        bench = running(
            play(rate_hz=10.0),
            speed=0.0 if stood else 2500.0,
            current=0.1 if stood else 2.0,
        )
        before: dict[str, Value] = {"speed": 2500.0, "current": 2.0}
        if not stood:
            assert bench.hold(0.1 * late, 0.5, **before) is None
        held: dict[str, Value] = {**values}
        assert bench.hold(2.0, 0.5, **held) is not None
        # A standing rotor shows only with the current that comes after its speed.
        assert bench.took_s == pytest.approx(0.1 * (readings + stood))


def test_a_quarter_of_the_no_load_speed_counts_as_started() -> None:
    least = 0.25 * 480.0 * 12.0 * 0.2
    values = {"voltage": 12.0, "current": 2.0}
    assert play().hold(2.0, 0.2, speed=least + 1, **values) is None
    assert play().hold(2.0, 0.2, speed=least - 1, **values) is not None


def test_without_kv_or_voltage_six_hundred_rpm_do() -> None:
    # 600 rpm are 62.8 rad/s.
    for rules, values in (
        (NO_RULES, {"voltage": 12.0, "current": 2.0}),
        (RULES, {"current": 2.0}),
    ):
        assert play(rules).hold(2.0, 0.2, speed=63.0, **values) is None
        assert play(rules).hold(2.0, 0.2, speed=62.0, **values) is not None


def test_below_what_starts_any_motor_nothing_is_judged() -> None:
    assert play().hold(2.0, 0.149, voltage=12.0, current=2.0, speed=0.0) is None
    assert play().hold(2.0, 0.15, voltage=12.0, current=2.0, speed=0.0) is not None


def test_no_current_is_no_stall() -> None:
    # The motor never started, or the sensor is dead: ``stuck`` names those.
    assert play().hold(3.0, 0.5, voltage=12.0, current=REST_A, speed=0.0) is None
    assert play().hold(3.0, 0.5, voltage=12.0, current=0.25, speed=0.0) is not None


def test_no_current_known_is_no_stall_by_speed_alone() -> None:
    assert play().hold(3.0, 0.5, voltage=12.0, speed=0.0) is None


def test_rpm_that_collapses_at_held_throttle_cuts_within_some_readings() -> None:
    bench = running()
    trip = sees(bench.hold(1.0, 0.5, voltage=11.8, current=6.0, speed=1000.0))
    assert bench.took_s <= 0.05
    assert trip.cause == (
        "At held throttle the speed fell from 23900 to 9550 rpm while the current "
        "was 6 A."
    )


def test_the_threshold_of_a_collapse_is_six_tenths() -> None:
    values = {"voltage": 12.0, "current": 2.0}
    assert running().hold(1.0, 0.5, speed=1510.0, **values) is None
    assert running().hold(0.1, 0.5, speed=1490.0, **values) is not None


def test_a_glitch_of_the_rpm_is_no_collapse() -> None:
    bench = running()
    assert bench.hold(0.02, 0.5, voltage=12.0, current=2.0, speed=0.0) is None
    assert bench.hold(1.0, 0.5, voltage=12.0, current=2.0, speed=2500.0) is None


def test_three_readings_of_one_moment_are_no_collapse() -> None:
    bench = running(play(rate_hz=500.0))
    assert bench.hold(0.028, 0.5, voltage=12.0, current=2.0, speed=0.0) is None
    assert bench.hold(0.01, 0.5, voltage=12.0, current=2.0, speed=0.0) is not None


def test_a_speed_that_falls_with_the_voltage_is_the_supplys_doing() -> None:
    assert running().hold(0.2, 0.5, voltage=4.0, current=0.0, speed=900.0) is None
    assert running().hold(0.2, 0.5, voltage=9.7, current=0.0, speed=900.0) is not None


def test_an_esc_that_stops_driving_collapses_too_whatever_the_current() -> None:
    bench = running()
    trip = sees(bench.hold(1.0, 0.5, voltage=12.4, current=0.0, speed=900.0))
    assert "while the current was 0 A" in trip.cause


def test_a_current_that_is_not_known_is_called_unknown() -> None:
    bench = running(voltage=12.0, speed=2500.0)
    trip = sees(bench.hold(1.0, 0.5, voltage=12.0, speed=900.0))
    assert "while the current was unknown" in trip.cause


def test_an_esc_that_lets_go_of_a_heavy_rotor_is_told_by_both() -> None:
    bench = running()
    trip = sees(
        bench.hold(
            1.0, 0.5, voltage=12.4, current=0.0, speed=lambda t: 2500 / (1 + 1.2 * t)
        )
    )
    assert bench.took_s <= 0.1
    assert trip.cause == (
        "At held throttle the current fell from 2 to 0 A and the speed with it: the "
        "ESC stopped driving."
    )


def test_the_thresholds_of_that_are_half_the_current_and_three_percent() -> None:
    least = 0.5 * 2.0 - REST_A / 2
    values = {"voltage": 12.4}
    slow, fast = 0.96 * 2500.0, 0.98 * 2500.0
    assert running().hold(0.2, 0.5, speed=slow, current=least - 0.01, **values)
    assert not running().hold(0.2, 0.5, speed=slow, current=least + 0.01, **values)
    assert not running().hold(0.2, 0.5, speed=fast, current=least - 0.01, **values)
    assert not running().hold(0.2, 0.5, speed=slow, current=0.1, voltage=9.5)


def test_a_current_that_lets_go_for_a_moment_does_not() -> None:
    bench = running()
    assert bench.hold(0.04, 0.5, voltage=12.4, current=0.0, speed=2300.0) is None
    assert bench.hold(1.0, 0.5, voltage=12.0, current=2.0, speed=2500.0) is None


def test_a_throttle_that_falls_takes_rpm_with_it() -> None:
    bench = running()
    assert bench.hold(2.0, 0.15, voltage=12.4, current=0.2, speed=790.0) is None


def test_a_current_that_doubles_at_held_throttle_cuts_without_any_rpm() -> None:
    bench = running(voltage=12.0, current=2.0)
    trip = sees(bench.hold(1.0, 0.5, voltage=11.6, current=4.5))
    assert 0.1 <= bench.took_s <= 0.12
    assert trip.cause == "At held throttle the current rose from 2 to 4.5 A."


def test_the_threshold_of_that_is_eight_tenths_more_than_rest_can_explain() -> None:
    assert running(current=2.0).hold(0.2, 0.5, current=1.8 * 2.0 + REST_A) is None
    assert running(current=2.0).hold(0.2, 0.5, current=3.85) is not None


def test_current_that_rises_with_the_throttle_is_no_overload() -> None:
    bench = running(current=2.0)
    assert bench.ramp(0.15, 0.5, 0.8, current=9.0) is None
    assert bench.hold(2.0, 0.8, current=6.5) is None


def test_an_overload_takes_a_tenth_of_a_second() -> None:
    assert running(current=2.0).hold(0.1, 0.5, current=9.0) is None
    assert running(current=2.0).hold(0.12, 0.5, current=9.0) is not None


def test_no_numbers_show_nothing() -> None:
    bench = running()
    nothing = {"voltage": math.nan, "current": math.nan, "speed": math.nan}
    assert bench.hold(3.0, 0.5, **nothing) is None


def test_a_stand_without_voltage_is_judged_for_collapse_too() -> None:
    bench = running(current=2.0, speed=2500.0)
    assert bench.hold(0.1, 0.5, current=2.0, speed=900.0) is not None


def test_rules_of_another_motor_make_another_threshold() -> None:
    fast = replace(RULES, speed_per_volt_rad_s=960.0)
    values = {"voltage": 12.0, "current": 2.0, "speed": 400.0}
    assert play().hold(2.0, 0.2, **values) is None
    assert play(fast).hold(2.0, 0.2, **values) is not None

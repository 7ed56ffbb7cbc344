"""A propeller that is not on any more, by current and rpm."""

import math

from protocols.guard.now import Now
from protocols.guard.steady import Steady
from protocols.guard.thrown import ThrownCheck
from protocols.guard.trip import Action, Trip
from tests.protocols.guard.play import Play, Value, sees

REST_A = 0.24


def play(*, rate_hz: float = 500.0) -> Play:
    now = Now(0.0)
    steady = Steady(now, 0.0)
    thrown = ThrownCheck(REST_A, steady)

    def current(value: float, now_s: float) -> Trip | None:
        trip = thrown.current(value, now_s)
        steady.current.take(value, now_s)
        return trip

    takes = {
        "current": current,
        "speed": steady.speed.take,
        "voltage": steady.voltage.take,
    }
    return Play(now, takes, (steady.setpoint,), rate_hz=rate_hz)


def running(bench: Play | None = None, throttle: float = 0.6, **values: Value) -> Play:
    bench = bench or play()
    values = values or {"speed": 2900.0, "current": 3.4}
    assert bench.hold(2.0, throttle, **values) is None
    return bench


def test_current_down_and_rpm_up_at_held_throttle_cuts_within_three_readings() -> None:
    bench = running()
    assert bench.hold(1.0, 0.6, speed=3200.0, current=0.6) == Trip(
        "thrown",
        "At held throttle the current fell from 3.4 to 0.6 A while the speed rose "
        "from 27700 to 30600 rpm: as if the propeller had come off.",
        "the motor stands still",
        "Cut the power, then look for the propeller, its screws and the shaft; do not "
        "use it again.",
        Action.CUT,
    )
    assert bench.took_s == 0.006


def test_it_is_seen_on_its_way_up() -> None:
    # Time constants of a small rotor without its propeller.
    bench = running()
    trip = bench.hold(
        1.0,
        0.6,
        speed=lambda t: 3200 - 300 * math.exp(-t / 0.02),
        current=lambda t: 0.6 + 2.8 * math.exp(-t / 0.02),
    )
    assert trip is not None
    assert bench.took_s < 0.03


def test_the_thresholds_are_seven_tenths_and_three_percent() -> None:
    assert running().hold(1.0, 0.6, speed=2980.0, current=2.39) is None
    assert running().hold(1.0, 0.6, speed=2990.0, current=2.37) is not None
    assert running().hold(1.0, 0.6, speed=2990.0, current=2.39) is None
    assert running().hold(1.0, 0.6, speed=2980.0, current=2.37) is None


def test_current_down_and_rpm_down_is_not_thrown() -> None:
    # The voltage fell, the ESC stopped, the plug came out: others name it.
    assert running().hold(1.0, 0.6, speed=1500.0, current=0.6) is None


def test_current_up_and_rpm_up_is_not_thrown() -> None:
    assert running().hold(1.0, 0.6, speed=3500.0, current=5.0) is None


def test_a_glitch_of_two_readings_is_not_thrown() -> None:
    bench = running()
    assert bench.hold(0.004, 0.6, speed=3200.0, current=0.6) is None
    assert bench.hold(1.0, 0.6, speed=2900.0, current=3.4) is None


def test_a_fall_by_less_than_half_of_what_rest_may_read_is_none() -> None:
    slow: dict[str, Value] = {"speed": 1000.0, "current": 0.3}
    bench = running(None, 0.2, **slow)
    assert bench.hold(1.0, 0.2, speed=1100.0, current=0.185) is None
    bench = running(None, 0.2, **slow)
    assert bench.hold(1.0, 0.2, speed=1100.0, current=0.175) is not None
    bench = running(throttle=0.2, current=0.2)
    assert bench.hold(1.0, 0.2, current=0.085) is None
    bench = running(throttle=0.2, current=0.2)
    assert bench.hold(1.0, 0.2, current=0.075) is not None


def test_a_throttle_that_falls_takes_current_with_it() -> None:
    bench = running()
    assert bench.ramp(0.1, 0.6, 0.4, speed=2890.0, current=0.05) is None
    assert bench.hold(1.0, 0.4, speed=3200.0, current=0.05) is None


def test_a_throttle_that_rises_and_falls_back_takes_current_with_it() -> None:
    bench = running(None, 0.3, speed=1600.0, current=0.65)
    assert bench.ramp(0.15, 0.3, 0.6, speed=2500.0, current=4.0) is None
    assert bench.ramp(0.1, 0.6, 0.35, speed=2800.0, current=0.1) is None


def test_on_a_ramp_up_the_last_level_still_counts() -> None:
    bench = running()
    trip = bench.ramp(0.2, 0.6, 0.8, speed=lambda t: 3300.0 + 5000.0 * t, current=0.8)
    assert trip is not None


def test_on_a_ramp_up_rpm_has_to_rise_more_than_the_throttle() -> None:
    # A current sensor that lets go: the rotor follows as it should.
    bench = running()
    assert (
        bench.ramp(0.2, 0.6, 0.8, speed=lambda t: 2900.0 + 3500.0 * t, current=0.8)
        is None
    )


def test_at_the_new_level_the_new_readings_count() -> None:
    bench = running()
    assert bench.ramp(0.2, 0.6, 0.8, speed=3500.0, current=7.0) is None
    assert bench.hold(1.0, 0.8, speed=3650.0, current=6.0) is None
    trip = sees(bench.hold(1.0, 0.8, speed=4000.0, current=3.9))
    assert "from 6 to 3.9 A" in trip.cause


def test_the_overshoot_of_a_ramp_is_not_thrown() -> None:
    bench = running(throttle=0.3, speed=1600.0, current=0.65)
    assert (
        bench.ramp(0.15, 0.3, 0.6, speed=lambda t: 1600 + 7000 * t, current=6.0) is None
    )
    assert (
        bench.hold(
            2.0,
            0.6,
            speed=lambda t: 2900 - 300 * math.exp(-t / 0.05),
            current=lambda t: 3.4 + 3.0 * math.exp(-t / 0.05),
        )
        is None
    )


def test_before_anything_was_held_nothing_is_judged() -> None:
    bench = play()
    assert bench.hold(0.2, 0.6, speed=2900.0, current=3.4) is None
    assert bench.hold(0.1, 0.6, speed=3200.0, current=0.6) is None


def test_a_rest_forgets() -> None:
    bench = running()
    assert bench.hold(1.0, 0.0, speed=0.0, current=0.0) is None
    assert bench.hold(1.0, 0.6, speed=3200.0, current=0.6) is None


def test_without_rpm_half_the_current_and_a_tenth_of_a_second() -> None:
    bench = running(current=3.4, voltage=12.0)
    trip = sees(bench.hold(1.0, 0.6, current=1.6, voltage=12.2))
    assert 0.1 <= bench.took_s <= 0.105
    assert trip.cause == (
        "At held throttle the current fell from 3.4 to 1.6 A: as if the propeller "
        "had come off."
    )
    bench = running(current=3.4, voltage=12.0)
    assert bench.hold(1.0, 0.6, current=1.8, voltage=12.2) is None


def test_without_rpm_on_a_slow_stand_it_takes_four_readings() -> None:
    bench = running(play(rate_hz=20.0), current=3.4)
    assert bench.hold(1.0, 0.6, current=0.6) is not None
    assert bench.took_s == 0.2


def test_without_rpm_a_voltage_that_fell_too_is_the_supplys_doing() -> None:
    bench = running(voltage=12.0, current=3.4)
    assert bench.hold(1.0, 0.6, voltage=9.5, current=0.6) is None
    bench = running(voltage=12.0, current=3.4)
    assert bench.hold(1.0, 0.6, voltage=9.7, current=0.6) is not None


def test_a_supply_that_comes_back_is_given_time() -> None:
    bench = running(voltage=12.0, current=3.4)
    assert bench.hold(0.3, 0.6, voltage=8.0, current=1.2) is None
    assert bench.hold(1.0, 0.6, voltage=12.0, current=3.4) is None
    assert bench.hold(0.3, 0.6, voltage=12.0, current=0.6) is not None


def test_without_a_voltage_the_current_alone_has_to_do() -> None:
    bench = running(current=3.4)
    assert bench.hold(1.0, 0.6, current=0.6) is not None


def test_an_rpm_that_fell_silent_is_no_rpm() -> None:
    bench = running()
    assert bench.hold(0.3, 0.6, current=3.4) is None
    trip = sees(bench.hold(1.0, 0.6, current=0.6))
    assert "speed" not in trip.cause


def test_no_numbers_show_nothing() -> None:
    bench = running()
    assert bench.hold(1.0, 0.6, speed=3200.0, current=math.nan) is None

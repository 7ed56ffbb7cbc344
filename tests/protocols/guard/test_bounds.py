"""What cannot be, whatever was learned."""

import math

import pytest

from protocols.guard.bounds import BoundsCheck
from protocols.guard.now import Now
from protocols.guard.trip import Action, Trip
from protocols.rules import NO_RULES, Rules
from tests.protocols.guard.play import Play

REST_A = 0.24
KV_RAD_S = 480.0
RULES = Rules(speed_per_volt_rad_s=KV_RAD_S)


def play(rules: Rules = RULES) -> Play:
    now = Now(0.0)
    check = BoundsCheck(REST_A, rules, now, 0.0)
    return Play(
        now, {"speed": check.speed, "current": check.current}, (check.setpoint,)
    )


def most(throttle: float, voltage: float) -> float:
    return 1.2 * KV_RAD_S * voltage * min(1.0, throttle + 0.05)


def test_a_motor_as_fast_as_kv_makes_it_is_left_alone() -> None:
    assert play().hold(5.0, 0.5, voltage=12.0, speed=KV_RAD_S * 6.0) is None


def test_a_rotor_cannot_outrun_its_kv() -> None:
    bench = play()
    assert bench.hold(5.0, 0.9, voltage=12.0, speed=7000.0) == Trip(
        "bounds",
        "The speed was 66800 rpm; 90 % of 12 V cannot give this motor more than 62700.",
        "the speed is one that the motor can have",
        "Look at the number of poles and Kv in the article's file, then at the rpm "
        "sensor and the voltage's wiring.",
        Action.CUT,
    )
    assert 0.1 <= bench.took_s <= 0.12


@pytest.mark.parametrize(
    ("throttle", "voltage"), [(0.1, 12.0), (0.5, 8.0), (1.0, 12.6)]
)
def test_the_bound_goes_with_throttle_and_voltage(
    throttle: float, voltage: float
) -> None:
    least = most(throttle, voltage)
    assert play().hold(1.0, throttle, voltage=voltage, speed=least - 1) is None
    assert play().hold(1.0, throttle, voltage=voltage, speed=least + 1) is not None


def test_a_rotor_that_coasts_down_is_given_time() -> None:
    bench = play()
    assert bench.hold(2.0, 0.9, voltage=12.0, speed=4500.0) is None
    assert bench.hold(0.9, 0.2, voltage=12.0, speed=4500.0) is None
    assert bench.hold(2.0, 0.2, voltage=12.0, speed=4500.0) is not None


def test_at_zero_throttle_a_rotor_may_coast_for_long() -> None:
    bench = play()
    assert bench.hold(2.0, 0.9, voltage=12.0, speed=4500.0) is None
    assert bench.hold(9.0, 0.0, voltage=12.0, speed=4500.0) is None


def test_without_kv_or_voltage_nothing_is_known() -> None:
    assert play(NO_RULES).hold(2.0, 0.5, voltage=12.0, speed=1e6) is None
    assert play().hold(2.0, 0.5, speed=1e6) is None


def test_a_glitch_is_no_speed() -> None:
    bench = play()
    for _ in range(20):
        assert bench.hold(0.09, 0.5, voltage=12.0, speed=1e6) is None
        assert bench.hold(0.01, 0.5, voltage=12.0, speed=2500.0) is None


def test_a_rotor_does_not_turn_before_it_was_driven() -> None:
    bench = play()
    assert bench.hold(3.0, 0.0, voltage=12.0, speed=100.0) == Trip(
        "bounds",
        "The speed was 955 rpm before the motor was driven.",
        "the speed of the motor at rest is zero",
        "Cut the power. Does the motor turn by itself, or does the rpm sensor see "
        "something else, a lamp perhaps?",
        Action.CUT,
    )
    assert 1.0 <= bench.took_s <= 1.02
    assert play().hold(3.0, 0.0, speed=31.0) is None
    assert play().hold(3.0, 0.0, speed=32.0) is not None


def test_a_touch_of_the_propeller_is_no_speed() -> None:
    bench = play()
    assert bench.hold(0.9, 0.0, speed=100.0) is None
    assert bench.hold(0.1, 0.0, speed=0.0) is None
    assert bench.hold(0.9, 0.0, speed=100.0) is None


@pytest.mark.parametrize("current", [0.25, 5.0, -0.25])
def test_no_current_flows_at_zero_throttle(current: float) -> None:
    bench = play()
    assert bench.hold(3.0, 0.0, current=current) == Trip(
        "bounds",
        f"{current:g} A flow although the throttle is at zero.",
        "no current flows at zero throttle",
        "Cut the power. Does the motor turn by itself, does something else hang on the "
        "pack, or has the current sensor's zero moved?",
        Action.CUT,
    )
    assert 1.0 <= bench.took_s <= 1.02


def test_on_a_slow_stand_it_takes_five_readings() -> None:
    for values in ({"current": 5.0}, {"speed": 100.0}):
        bench = play()
        for step in range(5):
            trip = bench.hold(0.01, 0.0, **values)
            bench.now_s = 4.0 * (step + 1)
            assert (trip is not None) is (step == 4)
    bench = play()
    assert bench.hold(2.0, 0.5) is None
    for step in range(5):
        trip = bench.hold(0.01, 0.5, voltage=12.0, speed=1e5)
        bench.now_s += 0.5
        assert (trip is not None) is (step == 4)


@pytest.mark.parametrize("current", [REST_A, -REST_A, 0.0, math.nan])
def test_what_may_be_read_at_rest_is_no_current(current: float) -> None:
    assert play().hold(5.0, 0.0, current=current) is None


def test_an_escs_beeps_are_no_current() -> None:
    bench = play()
    for _ in range(5):
        assert bench.hold(0.5, 0.0, current=0.6) is None
        assert bench.hold(0.2, 0.0, current=0.05) is None


def test_current_flows_while_the_throttle_is_open_and_for_a_second_more() -> None:
    bench = play()
    assert bench.hold(5.0, 0.01, current=5.0) is None
    assert bench.hold(1.9, 0.0, current=5.0) is None
    assert bench.hold(1.2, 0.0, current=5.0) is not None

"""Winding and ESC: a threshold, a maximum, and what is no temperature."""

import math

import pytest

from protocols.guard.heat import READINGS, HeatCheck
from protocols.guard.trip import Action, Trip
from tests.protocols.guard.play import sees

MAX_K = 373.15  # 100 degrees Celsius
RAMP_K = MAX_K - 10.0
CLEAR_K = MAX_K - 20.0


def check(channel: str = "winding-temp") -> HeatCheck:
    return HeatCheck(channel, MAX_K, math.inf)


def reads(heat: HeatCheck, *temperatures_k: float) -> list[Trip | None]:
    return [heat.take(t, 0.1 * index) for index, t in enumerate(temperatures_k)]


def test_a_cool_part_is_left_alone() -> None:
    assert not any(reads(check(), 293.15, 320.0, RAMP_K - 0.01, *[RAMP_K - 1] * 20))


def test_a_warm_part_ramps_down_at_the_third_reading() -> None:
    trips = reads(check(), *[RAMP_K] * READINGS)
    assert trips[:-1] == [None, None]
    assert trips[-1] == Trip(
        "heat",
        "The winding is at 90 degrees Celsius; it may get 100.",
        "winding-temp reads below 80 degrees Celsius",
        "Let the motor cool; use less throttle, shorter dwells or a smaller propeller.",
        Action.RAMP_DOWN,
    )


def test_a_hot_part_cuts_at_the_third_reading() -> None:
    trips = reads(check("esc-temp"), *[MAX_K] * READINGS)
    assert trips[:-1] == [None, None]
    assert trips[-1] == Trip(
        "heat",
        "The ESC is at 100 degrees Celsius; it may get 100.",
        "esc-temp reads below 80 degrees Celsius",
        "Let the ESC cool, give it air, and use less throttle.",
        Action.CUT,
    )


def test_a_part_that_gets_hot_while_it_ramps_down_cuts() -> None:
    heat = check()
    reads(heat, *[RAMP_K] * 5)
    trips = reads(heat, *[MAX_K + 5] * READINGS)
    assert [sees(t).action for t in trips] == [
        Action.RAMP_DOWN,
        Action.RAMP_DOWN,
        Action.CUT,
    ]


def test_a_glitch_is_no_heat() -> None:
    assert not any(reads(check(), *[300.0, 400.0, 400.0] * 10))
    assert not any(reads(check(), *[300.0, RAMP_K, RAMP_K] * 10))


def test_a_reading_that_flickers_about_the_threshold_goes_on_asking() -> None:
    heat = check()
    reads(heat, *[RAMP_K] * READINGS)
    assert all(reads(heat, RAMP_K - 1, RAMP_K + 1, RAMP_K - 5, CLEAR_K, RAMP_K - 1))


def test_it_clears_below_its_hysteresis() -> None:
    heat = check()
    reads(heat, *[RAMP_K] * READINGS)
    assert not any(reads(heat, CLEAR_K - 0.01, RAMP_K - 1, RAMP_K, RAMP_K))
    assert reads(heat, RAMP_K)[0] is not None


@pytest.mark.parametrize(
    "value", [math.nan, math.inf, -math.inf, 0.0, 233.15, 253.14, 573.16, -5.0]
)
def test_what_is_no_temperature_ramps_down_at_the_third_reading(value: float) -> None:
    heat = check("esc-temp")
    trips = reads(heat, 300.0, *[value] * READINGS)
    assert trips[:-1] == [None, None, None]
    assert trips[-1] == Trip(
        "heat",
        "esc-temp gives no temperature that could be.",
        "esc-temp reads below 80 degrees Celsius",
        "Look at the esc-temp sensor and its wiring.",
        Action.RAMP_DOWN,
    )


@pytest.mark.parametrize("value", [253.15, 320.0])
def test_the_ends_of_what_could_be_are_temperatures(value: float) -> None:
    assert not any(reads(check(), *[value] * 10))


def test_a_very_hot_reading_within_the_scale_is_a_temperature() -> None:
    assert sees(reads(check(), *[573.15] * READINGS)[-1]).action is Action.CUT


def test_one_that_never_gave_a_number_trips_too() -> None:
    assert reads(check(), *[math.nan] * READINGS)[-1] is not None


def test_a_number_in_between_begins_the_count_again() -> None:
    assert not any(reads(check(), *[math.nan, math.nan, 300.0] * 5))


def test_numbers_lost_do_not_cool_a_part() -> None:
    heat = check()
    reads(heat, *[RAMP_K] * READINGS)
    reads(heat, math.nan, math.nan)
    assert reads(heat, RAMP_K - 1)[0] is not None


def test_a_temperature_that_is_not_measured_is_not_missed() -> None:
    heat = check()
    assert heat.deadline_s == math.inf
    assert heat.judge(1e9) is None


def test_one_that_was_heard_is_missed_after_two_seconds() -> None:
    heat = check()
    heat.take(300.0, 5.0)
    assert heat.deadline_s == 7.0
    assert heat.judge(7.0 - 1e-6) is None
    trip = sees(heat.judge(7.0))
    assert (trip.check, trip.action) == ("heat", Action.RAMP_DOWN)
    heat.take(300.0, 8.0)
    assert heat.judge(8.0) is None


def test_no_numbers_are_no_sign_of_life() -> None:
    heat = check()
    heat.take(math.nan, 5.0)
    heat.take(math.nan, 6.0)
    assert heat.deadline_s == 7.0

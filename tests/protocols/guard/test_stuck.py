"""What a channel reads once the motor runs is not what it read at rest."""

import math
import random
from functools import partial

import pytest

from protocols.guard.now import SLOW_S, Now
from protocols.guard.stuck import STILL_S, Rest, StuckCheck
from protocols.guard.trip import Action, Trip
from tests.protocols.guard.play import Play, sees

MOVING = ("thrust", "current", "speed")
RUNNING = {"thrust": 0.4, "current": 0.7, "speed": 1600.0}
JUDGED_S = 2 * SLOW_S + 0.05


def play(*channels: str) -> Play:
    now = Now(0.0)
    check = StuckCheck(channels or MOVING, now)
    return Play(now, {name: partial(check.take, name) for name in channels or MOVING})


def rested(*channels: str, rms: float = 0.01) -> Play:
    """Two seconds of noise about zero."""
    bench, drawn = play(*channels), random.Random(3)
    names = channels or MOVING
    values = dict.fromkeys(names, lambda _: drawn.gauss(0.0, rms))
    assert bench.hold(2.0, 0.0, **values) is None
    return bench


def test_channels_that_move_are_left_alone() -> None:
    assert rested().hold(5.0, 0.5, **RUNNING) is None


@pytest.mark.parametrize("channel", MOVING)
def test_a_channel_that_stays_as_it_was_at_rest_cuts(channel: str) -> None:
    bench = rested()
    assert bench.hold(5.0, 0.9, **RUNNING | {channel: 0.02}) == Trip(
        "stuck",
        f"{channel} still reads what it read at rest, at 90 % throttle.",
        f"{channel} has been seen to move",
        f"Look at the {channel} sensor, its wiring and its supply.",
        Action.CUT,
    )
    assert SLOW_S <= bench.took_s <= JUDGED_S


def test_a_motor_that_never_started_is_called_that() -> None:
    bench = rested()
    assert bench.hold(5.0, 0.9, thrust=0.0, current=0.01, speed=0.0) == Trip(
        "not started",
        "At 90 % throttle all readings are those of a motor at rest: it never started.",
        "the motor starts",
        "Is the supply on at the ESC, its signal wire in, and does it arm at zero "
        "throttle (calibration, protocol)?",
        Action.CUT,
    )


def test_a_channel_that_does_not_exist_is_not_stuck() -> None:
    bench = play()
    assert bench.hold(2.0, 0.0, current=lambda t: 0.01 * math.sin(t)) is None
    assert bench.hold(5.0, 0.5, current=0.7) is None
    trip = play()
    trip.hold(2.0, 0.0, current=lambda t: 0.01 * math.sin(40 * t))
    assert sees(trip.hold(5.0, 0.5, current=0.0)).check == "not started"


def test_below_a_quarter_of_throttle_nothing_is_judged() -> None:
    assert rested().hold(5.0, 0.249, **RUNNING | {"thrust": 0.0}) is None
    assert rested().hold(5.0, 0.25, **RUNNING | {"thrust": 0.0}) is not None


def test_a_channel_that_left_its_rest_and_went_back_to_it_is_stuck() -> None:
    bench = rested()
    assert bench.hold(0.5, 0.5, **RUNNING) is None
    trip = sees(bench.hold(5.0, 0.5, **RUNNING | {"thrust": 0.0}))
    assert trip.check == "stuck"
    assert STILL_S <= bench.took_s <= STILL_S + 0.2


def test_a_channel_that_dips_into_its_rest_now_and_then_is_not_stuck() -> None:
    bench = rested()
    for _ in range(10):
        assert bench.hold(0.4, 0.5, **RUNNING | {"thrust": 0.0}) is None
        assert bench.hold(0.1, 0.5, **RUNNING) is None


def test_the_band_goes_with_the_noise_at_rest() -> None:
    # Eight mean deviations; of normal noise that is 6.4 standard deviations.
    assert rested("current", rms=0.01).hold(5.0, 0.5, current=0.09) is None
    assert rested("current", rms=0.01).hold(5.0, 0.5, current=0.04) is not None
    assert rested("current", rms=0.05).hold(5.0, 0.5, current=0.2) is not None
    assert rested("current", rms=0.01).hold(5.0, 0.5, current=-0.09) is None


def test_a_channel_without_any_noise_leaves_with_its_first_step() -> None:
    bench = play("speed")
    assert bench.hold(1.0, 0.0, speed=0.0) is None
    assert bench.hold(5.0, 0.5, speed=10.0) is None


def test_an_offset_at_rest_is_no_movement() -> None:
    bench = play("current")
    assert bench.hold(1.0, 0.0, current=5.0) is None
    assert bench.hold(5.0, 0.5, current=5.0) is not None
    bench = play("current")
    assert bench.hold(1.0, 0.0, current=5.0) is None
    assert bench.hold(5.0, 0.5, current=0.0) is None


def test_a_glitch_at_rest_does_not_widen_the_band() -> None:
    bench = rested("current", rms=0.01)
    assert bench.hold(0.01, 0.0, current=50.0) is None
    assert bench.hold(5.0, 0.5, current=0.3) is None


def test_too_little_rest_teaches_nothing() -> None:
    bench = play("current")
    assert bench.hold(0.07, 0.0, current=0.0) is None
    assert bench.hold(5.0, 0.5, current=0.0) is None
    bench = play("current")
    assert bench.hold(0.08, 0.0, current=0.0) is None
    assert bench.hold(5.0, 0.5, current=0.0) is not None


def test_a_later_rest_teaches_nothing_either() -> None:
    bench = play("current")
    assert bench.hold(1.0, 0.5, current=0.7) is None
    assert bench.hold(3.0, 0.0, current=0.0) is None
    assert bench.hold(5.0, 0.5, current=0.0) is None


def test_no_numbers_are_no_movement() -> None:
    bench = rested()
    trip = sees(bench.hold(5.0, 0.5, **RUNNING | {"thrust": math.nan}))
    assert trip.cause.startswith("thrust still reads what it read at rest")


def test_no_numbers_teach_nothing() -> None:
    bench = play("current")
    assert bench.hold(2.0, 0.0, current=math.nan) is None
    assert bench.hold(5.0, 0.5, current=0.0) is None


def test_a_mean_is_learned_and_followed() -> None:
    rest = Rest()
    for _ in range(8):
        rest.take(4.0, 1.0, ran=False)
    rest.take(4.0, 2.0, ran=True)
    assert rest.still(2.0)
    for value in (4.5, 3.5) * 100:
        rest.take(value, 1.0, ran=False)
    rest.take(4.0 + 7.0 * 0.5, 2.0, ran=True)
    assert rest.still(2.0)


def left(rest: Rest, value: float) -> bool:
    """Whether a reading while the motor runs is outside what was learned."""
    rest.left_s = -math.inf
    rest.take(value, 2.0, ran=True)
    return not rest.still(2.0)


def learned(*values: float) -> Rest:
    rest = Rest()
    for value in values:
        rest.take(value, 1.0, ran=False)
    return rest


def test_a_band_is_eight_mean_deviations_wide() -> None:
    rest = learned(*[0.5, -0.5] * 200)
    assert [left(rest, value) for value in (4.0, 4.3, -4.0, -4.3)] == [
        False,
        True,
        False,
        True,
    ]


def test_the_first_reading_is_the_first_mean() -> None:
    rest = learned(*[100.0] * 8)
    assert [left(rest, value) for value in (100.0, 100.1)] == [False, True]


def test_later_readings_count_for_a_sixteenth() -> None:
    rest = learned(*[0.0] * 100, 16.0)  # mean and scatter are 1 now
    assert [left(rest, value) for value in (8.9, 9.1, -6.9, -7.1)] == [
        False,
        True,
        False,
        True,
    ]


def test_a_glitch_counts_for_four_deviations() -> None:
    rest = learned(*[0.5, -0.5] * 200, 50.0)
    # The mean is 0.15 and the scatter 0.61 now; with the glitch whole it were 3.6.
    assert [left(rest, value) for value in (4.8, 5.15)] == [False, True]
    rest = learned(*[0.5, -0.5] * 200, -50.0)
    assert [left(rest, value) for value in (-4.8, -5.15)] == [False, True]

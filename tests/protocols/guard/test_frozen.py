"""A reading that should move does."""

import math
import random
from collections.abc import Callable
from itertools import count

import pytest

from protocols.guard.frozen import FrozenCheck
from protocols.guard.now import Now
from protocols.guard.trip import Action, Trip
from tests.protocols.guard.play import Play, sees

QUIET = 0.24


def play(channel: str = "current", *, rate_hz: float = 100.0) -> Play:
    now = Now(0.0)
    check = FrozenCheck(channel, QUIET, now, now.fast)
    return Play(now, {channel: check.take}, rate_hz=rate_hz)


def noise(
    mean: float, steps: float = 9.0, resolution: float = 1e-3
) -> Callable[[float], float]:
    """Normal noise of so many steps of a sensor's resolution."""
    drawn = random.Random(7)
    return lambda _: resolution * round(mean / resolution + drawn.gauss(0.0, steps))


def test_noise_is_no_freezing() -> None:
    bench = play(rate_hz=500.0)
    assert bench.hold(30.0, 0.5, current=noise(2.0)) is None


@pytest.mark.parametrize("steps", [0.1, 0.3, 0.5, 1.0, 2.0])
def test_noise_of_a_few_steps_or_less_is_no_freezing(steps: float) -> None:
    bench = play(rate_hz=500.0)
    assert bench.hold(30.0, 0.5, current=noise(2.0, steps)) is None


def test_a_lively_channel_that_stands_still_cuts() -> None:
    bench = play(rate_hz=500.0)
    assert bench.hold(1.0, 0.5, current=noise(2.0)) is None
    assert bench.hold(1.0, 0.5, current=2.0) == Trip(
        "frozen",
        "current has read the very same 2 A for 152 ms, 77 times.",
        "readings of current move again",
        "The current sensor or its converter hangs: look at its supply and wiring, and "
        "start the stand again.",
        Action.CUT,
    )


def test_on_a_slow_channel_it_takes_thirty_two_readings() -> None:
    bench = play("thrust", rate_hz=80.0)
    assert bench.hold(2.0, 0.5, thrust=noise(2.0)) is None
    sees(bench.hold(1.0, 0.5, thrust=2.0))
    assert bench.took_s == pytest.approx(32 / 80)


def test_it_learns_at_rest_too() -> None:
    bench = play("voltage")
    assert bench.hold(1.0, 0.0, voltage=noise(12.6)) is None
    assert bench.hold(1.0, 0.0, voltage=12.6) is not None


def test_a_channel_that_is_lively_only_while_driven_may_stand_still_at_rest() -> None:
    bench = play("voltage", rate_hz=25.0)
    assert bench.hold(2.0, 0.0, voltage=12.6) is None
    assert bench.hold(5.0, 0.5, voltage=noise(12.1, 3.0, 0.01)) is None
    assert bench.hold(5.0, 0.0, voltage=12.58) is None
    sees(bench.hold(5.0, 0.5, voltage=12.1))


def test_a_channel_that_only_tips_between_two_numbers_may_rest_on_one() -> None:
    bench = play("voltage")
    tips = count()
    for _ in range(3):
        tipping = bench.hold(2.0, 0.5, voltage=lambda _: 12.1 + 0.01 * (next(tips) % 2))
        assert tipping is None
        assert bench.hold(2.0, 0.5, voltage=12.1) is None


def test_next_to_zero_a_lively_channel_may_stand_still() -> None:
    bench = play()
    assert bench.hold(2.0, 0.5, current=noise(2.0)) is None
    assert bench.hold(2.0, 0.5, current=QUIET) is None
    bench = play()
    assert bench.hold(2.0, 0.5, current=noise(2.0)) is None
    assert bench.hold(2.0, 0.5, current=QUIET + 0.001) is not None
    bench = play()
    assert bench.hold(2.0, 0.5, current=noise(2.0)) is None
    assert bench.hold(2.0, 0.5, current=-QUIET) is None


def test_too_few_readings_teach_nothing() -> None:
    bench = play()
    assert bench.hold(0.62, 0.0, current=turning()) is None
    assert bench.hold(1.0, 0.0, current=2.0) is None
    bench = play()
    assert bench.hold(0.66, 0.0, current=turning()) is None
    assert bench.hold(1.0, 0.0, current=2.0) is not None


def turning(share: float = 1.0) -> Callable[[float], float]:
    """Up and down by turns at that share of the readings, up at the others."""
    numbers = count()

    def value(_: float) -> float:
        number = next(numbers)
        turns = int(share * number)
        # Smaller ones in between: whatever only tips between two numbers is coarse.
        height = 0.2 if turns % 8 in (3, 4) else 0.5
        return 1.0 + 1e-3 * number + height * (turns % 2)

    return value


@pytest.mark.parametrize(("share", "lively"), [(0.45, False), (0.55, True)])
def test_what_turns_at_half_of_its_readings_is_lively(
    share: float, lively: bool
) -> None:
    bench = play()
    assert bench.hold(5.0, 0.0, current=turning(share)) is None
    assert (bench.hold(1.0, 0.0, current=2.0) is not None) is lively


def test_a_channel_that_repeats_every_reading_is_not_lively() -> None:
    values = count()
    numbers = noise(2.0)
    held = [0.0]

    def twice(into_s: float) -> float:
        if next(values) % 2 == 0:
            held[0] = numbers(into_s)
        return held[0]

    bench = play()
    assert bench.hold(5.0, 0.5, current=twice) is None
    assert bench.hold(1.0, 0.5, current=held[0]) is None


def test_a_channel_that_drifts_is_not_lively() -> None:
    bench = play("speed")
    assert bench.hold(5.0, 0.5, speed=lambda t: round(2500 - 40 * t, 1)) is None
    assert bench.hold(2.0, 0.5, speed=2300.0) is None


def test_what_a_ramp_shows_teaches_nothing() -> None:
    bench = play()
    for _ in range(10):
        assert bench.ramp(0.5, 0.2, 0.8, current=noise(2.0)) is None
        assert bench.ramp(0.5, 0.8, 0.2, current=noise(2.0)) is None
    assert bench.hold(0.4, 0.2, current=2.0) is None


def test_how_it_is_lately_counts() -> None:
    bench = play(rate_hz=500.0)
    assert bench.hold(20.0, 0.5, current=noise(2.0)) is None
    assert bench.hold(3.0, 0.5, current=noise(2.0, 0.3)) is None
    assert bench.hold(1.0, 0.5, current=2.0) is None
    bench = play(rate_hz=500.0)
    assert bench.hold(20.0, 0.5, current=noise(2.0, 0.3)) is None
    assert bench.hold(6.0, 0.5, current=noise(2.0)) is None
    assert bench.hold(1.0, 0.5, current=2.0) is not None


def test_a_number_that_sleeps_through_a_rise_cuts() -> None:
    bench = play("speed")
    assert bench.hold(2.0, 0.3, speed=1600.0) is None
    trip = sees(bench.hold(2.0, 0.5, speed=1600.0))
    assert bench.took_s <= 0.85
    assert "speed has read the very same 15300 rpm" in trip.cause


def test_a_number_that_sleeps_through_a_fall_cuts() -> None:
    for lower in (0.3, 0.0):
        bench = play("speed")
        assert bench.hold(2.0, 0.5, speed=2500.0) is None
        assert bench.hold(2.0, lower, speed=2500.0) is not None


def test_a_small_move_may_be_slept_through() -> None:
    bench = play("speed")
    assert bench.hold(2.0, 0.25, speed=1600.0) is None
    assert bench.hold(3.0, 0.39, speed=1600.0) is None
    assert bench.hold(3.0, 0.4, speed=1600.0) is not None
    bench = play("speed")
    assert bench.hold(2.0, 0.5, speed=1600.0) is None
    assert bench.hold(3.0, 0.36, speed=1600.0) is None
    assert bench.hold(3.0, 0.35, speed=1600.0) is not None


def test_a_move_that_is_not_over_may_be_slept_through() -> None:
    bench = play("speed")
    assert bench.hold(2.0, 0.3, speed=1600.0) is None
    assert bench.hold(0.35, 0.9, speed=1600.0) is None
    assert bench.hold(2.0, 0.3, speed=1601.0) is None


def test_a_rise_from_rest_is_the_business_of_others() -> None:
    bench = play("speed")
    assert bench.hold(2.0, 0.0, speed=100.0) is None
    assert bench.hold(3.0, 0.9, speed=100.0) is None
    bench = play("speed")
    assert bench.hold(2.0, 0.08, speed=100.0) is None
    assert bench.hold(3.0, 0.9, speed=100.0) is not None


def test_a_bench_supply_may_hold_its_voltage() -> None:
    bench = play("voltage")
    assert bench.hold(2.0, 0.3, voltage=12.0) is None
    assert bench.hold(3.0, 0.9, voltage=12.0) is None


def test_zero_may_stay_zero() -> None:
    bench = play("speed")
    assert bench.hold(2.0, 0.1, speed=0.0) is None
    assert bench.hold(3.0, 0.9, speed=0.0) is None


def test_a_small_number_may_not() -> None:
    bench = play()
    assert bench.hold(2.0, 0.1, current=0.1) is None
    assert bench.hold(3.0, 0.9, current=0.1) is not None


def test_a_number_that_comes_back_to_itself_is_not_frozen() -> None:
    bench = play("speed")
    assert bench.hold(2.0, 0.3, speed=1600.0) is None
    assert bench.hold(0.02, 0.5, speed=1601.0) is None
    assert bench.hold(3.0, 0.5, speed=1600.0) is None


def test_on_a_slow_channel_a_move_takes_eight_readings() -> None:
    bench = play("thrust", rate_hz=2.0)
    assert bench.hold(2.0, 0.3, thrust=1.0) is None
    assert bench.hold(5.0, 0.9, thrust=1.0) is not None
    assert bench.took_s == 2.0


def test_no_number_is_never_the_very_same() -> None:
    bench = play()
    assert bench.hold(2.0, 0.5, current=noise(2.0)) is None
    assert bench.hold(5.0, 0.9, current=math.nan) is None

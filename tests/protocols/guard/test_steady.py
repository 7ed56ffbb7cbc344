"""What readings were a moment ago, while the throttle was held."""

import math

import pytest

from protocols.guard.now import Now
from protocols.guard.steady import SLICE_S, Steady
from tests.protocols.guard.play import Play


def play(*, rate_hz: float = 100.0) -> tuple[Play, Steady]:
    now = Now(0.0)
    steady = Steady(now, 0.0)
    takes = {"current": steady.current.take, "speed": steady.speed.take}
    return Play(now, takes, (steady.setpoint,), rate_hz=rate_hz), steady


def known_after(bench: Play, steady: Steady, throttle: float, current: float) -> float:
    """How long the throttle is held until the current is known; infinity: never."""
    begun_s = bench.now_s
    while bench.now_s - begun_s < 3.0:
        bench.hold(0.01, throttle, current=current)
        if steady.current.was == pytest.approx(current):
            return bench.now_s - begun_s
    return math.inf


def test_nothing_was_before_anything_was_held() -> None:
    _, steady = play()
    assert math.isnan(steady.current.was)
    assert math.isnan(steady.speed.due)


def test_a_held_throttle_makes_a_reading_known() -> None:
    # From 0.15 s to 0.3 s to settle, and two slices of 0.1 s.
    bench, steady = play()
    assert known_after(bench, steady, 0.5, 2.0) == pytest.approx(0.51, abs=0.011)


def test_at_rest_and_in_the_deadband_nothing_is() -> None:
    bench, steady = play()
    assert known_after(bench, steady, 0.0, 2.0) == math.inf
    assert known_after(bench, steady, 0.079, 2.0) == math.inf
    assert known_after(bench, steady, 0.08, 2.0) < 1.0


def test_it_is_a_mean_that_ended_a_slice_ago() -> None:
    bench, steady = play()
    bench.hold(2.0, 0.5, current=2.0)
    bench.hold(SLICE_S - 0.02, 0.5, current=100.0)
    assert steady.current.was == pytest.approx(2.0)


def test_it_follows_what_changes_slowly() -> None:
    bench, steady = play()
    bench.hold(2.0, 0.5, current=2.0)
    bench.hold(2.0, 0.5, current=1.8)
    assert steady.current.was == pytest.approx(1.8)


def test_a_slow_stand_needs_three_readings_a_slice() -> None:
    bench, steady = play(rate_hz=10.0)
    known = []
    for _ in range(12):
        bench.hold(0.1, 0.5, current=2.0)
        known.append(steady.current.was == 2.0)
    # Settled with the fourth reading; the sixth and the ninth end slices.
    assert known == [False] * 8 + [True] * 4


def test_no_numbers_do_not_count() -> None:
    bench, steady = play()
    bench.hold(1.0, 0.5, current=lambda t: 2.0 if round(100 * t) % 2 else math.nan)
    assert steady.current.was == 2.0


def test_a_throttle_that_moves_keeps_what_was_at_the_lower_level() -> None:
    bench, steady = play()
    known = []
    bench.hold(1.0, 0.5, current=2.0)
    known.append((steady.current.was, steady.current.is_of_now))
    bench.ramp(0.3, 0.5, 0.8, current=6.0)
    known.append((steady.current.was, steady.current.is_of_now))
    bench.hold(1.0, 0.8, current=6.0)
    known.append((steady.current.was, steady.current.is_of_now))
    assert known == [(2.0, True), (2.0, False), (6.0, True)]


def test_a_throttle_that_falls_forgets_what_was_above_it() -> None:
    bench, steady = play()
    bench.hold(1.0, 0.5, current=2.0)
    bench.hold(0.01, 0.49, current=2.0)
    assert steady.current.was == 2.0
    bench.hold(0.01, 0.489, current=2.0)
    assert math.isnan(steady.current.was)
    assert not steady.current.is_of_now


def test_a_fall_back_from_a_rise_forgets_what_was_below_both() -> None:
    bench, steady = play()
    bench.hold(1.0, 0.3, current=0.6)
    bench.ramp(0.1, 0.3, 0.6, current=3.0)
    assert steady.current.was == pytest.approx(0.6)
    bench.hold(0.01, 0.58, current=0.1)
    assert math.isnan(steady.current.was)


def test_after_a_fall_it_is_learned_anew() -> None:
    bench, steady = play()
    bench.hold(1.0, 0.8, current=6.0)
    assert known_after(bench, steady, 0.4, 1.0) <= 0.6


def test_nothing_read_before_a_fall_gets_into_what_follows() -> None:
    bench, steady = play()
    bench.hold(1.0, 0.8, current=100.0)
    # No reading comes while the throttle falls and the readings settle.
    bench.hold(0.5, 0.4)
    bench.hold(0.25, 0.4, current=1.0)
    assert steady.current.was == pytest.approx(1.0)


def test_no_reading_of_before_gets_in_where_the_fall_is_small() -> None:
    bench, steady = play()
    bench.hold(1.05, 0.5, current=100.0)
    known = []
    for _ in range(60):
        bench.hold(0.01, 0.485, current=1.0)
        known.append(steady.current.was)
    assert known[-1] == 1.0
    assert {x for x in known if not math.isnan(x)} == {1.0}


@pytest.mark.parametrize(("swing", "held"), [(0.018, True), (0.022, False)])
def test_two_points_of_throttle_are_no_move(swing: float, held: bool) -> None:
    bench, steady = play()
    for _ in range(20):
        bench.hold(0.05, 0.9, current=2.0)
        bench.hold(0.05, 0.9 + swing, current=2.0)
    assert math.isnan(steady.current.was) is not held


def test_a_fall_forgets_every_channel() -> None:
    bench, steady = supplied()
    assert steady.voltage.was == pytest.approx(12.0)
    bench.hold(0.01, 0.4, voltage=6.0, current=1.0)
    assert not steady.supply_failed(bench.now_s)


def test_a_glide_is_no_hold() -> None:
    bench, steady = play()
    bench.ramp(4.0, 0.2, 0.8, current=2.0)
    assert math.isnan(steady.current.was)


def test_a_speed_may_go_with_the_throttle() -> None:
    bench, steady = play()
    bench.hold(1.0, 0.5, speed=2000.0)
    assert steady.speed.due == pytest.approx(2000.0)
    bench.hold(0.01, 0.75, speed=2000.0)
    assert steady.speed.due == pytest.approx(3000.0)
    bench, steady = play()
    bench.hold(1.0, 0.5, speed=2000.0)
    bench.hold(0.01, 0.495, speed=2000.0)
    assert steady.speed.due == pytest.approx(2000.0)


def test_a_fall_is_told_by_the_newest_reading() -> None:
    bench, steady = play()
    bench.hold(1.0, 0.5, current=2.0)
    assert not steady.current.fell(0.8, bench.now_s)
    bench.hold(0.01, 0.5, current=1.61)
    assert not steady.current.fell(0.8, bench.now_s)
    bench.hold(0.01, 0.5, current=1.59)
    assert steady.current.fell(0.8, bench.now_s)
    assert steady.current.fresh(bench.now_s) == 1.59
    assert not steady.current.fell(0.8, bench.now_s + 1.0)
    assert math.isnan(steady.current.fresh(bench.now_s + 1.0))


def fed(bench: Play, duration_s: float, voltage: float, current: float) -> None:
    bench.hold(duration_s, 0.5, voltage=voltage, current=current)


def supplied() -> tuple[Play, Steady]:
    bench, steady = play()
    bench._takes = {"current": steady.current.take, "voltage": steady.voltage.take}
    fed(bench, 1.0, 12.0, 2.0)
    return bench, steady


def test_a_voltage_that_falls_by_a_fifth_is_the_supplys_failing() -> None:
    bench, steady = supplied()
    assert not steady.supply_failed(bench.now_s)
    fed(bench, 0.01, 9.61, 1.0)
    assert not steady.supply_failed(bench.now_s)
    fed(bench, 0.01, 9.59, 1.0)
    assert steady.supply_failed(bench.now_s)


def test_it_is_remembered_for_half_a_second() -> None:
    bench, steady = supplied()
    fed(bench, 0.01, 6.0, 1.0)
    failed_s = bench.now_s
    assert steady.supply_failed(failed_s)
    fed(bench, 0.01, 12.0, 2.0)
    assert steady.supply_failed(failed_s + 0.49)
    assert not steady.supply_failed(failed_s + 0.51)


def test_a_sag_under_more_current_is_not_the_supplys_failing() -> None:
    bench, steady = supplied()
    fed(bench, 0.01, 9.0, 9.0)
    assert not steady.supply_failed(bench.now_s)


def test_what_was_never_heard_did_not_fall() -> None:
    bench, steady = play()
    bench.hold(1.0, 0.5, current=2.0)
    assert not steady.voltage.fell(0.8, bench.now_s)

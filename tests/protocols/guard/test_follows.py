"""Current and rpm fall when the throttle falls."""

import pytest

from protocols.guard.follows import FollowsCheck
from protocols.guard.now import FAST_S, Now
from protocols.guard.trip import Action, Trip
from tests.protocols.guard.play import Play, sees

REST_A = 0.24
# When a fall is judged at the latest: two spans of the throttle's range, and a step.
JUDGED_S = 2 * FAST_S + 0.15 + 0.05


def play() -> Play:
    now = Now(0.0)
    check = FollowsCheck(REST_A, now)
    takes = {"current": check.current, "speed": check.speed}
    return Play(now, takes, (check.setpoint,))


def running(current: float = 5.0, speed: float = 3000.0) -> Play:
    """A motor at 80 % throttle for two seconds."""
    bench = play()
    assert bench.hold(1.0, 0.0, current=0.0, speed=0.0) is None
    assert bench.hold(2.0, 0.8, current=current, speed=speed) is None
    return bench


def test_what_falls_with_the_throttle_is_left_alone() -> None:
    bench = running()
    assert bench.hold(2.0, 0.5, current=1.7, speed=2000.0) is None
    assert bench.hold(2.0, 0.2, current=0.3, speed=1000.0) is None
    assert bench.hold(3.0, 0.0, current=0.0, speed=0.0) is None


def test_a_current_that_stays_up_cuts() -> None:
    bench = running()
    assert bench.hold(3.0, 0.6, current=5.0, speed=2500.0) == Trip(
        "follows",
        "The throttle fell to 60 % but the current did not: 5 A, before 5 A.",
        "current and rpm are those of a motor at rest",
        "Cut the power before you go near: the ESC may ignore the throttle. Then look "
        "at its signal wire, its calibration and its settings.",
        Action.CUT,
    )
    assert FAST_S <= bench.took_s <= JUDGED_S


def judged_s(rate_hz: float) -> float:
    """How long after a fall a current that stays up trips."""
    now = Now(0.0)
    check = FollowsCheck(REST_A, now)
    takes, tells = {"current": check.current}, (check.setpoint,)
    bench = Play(now, takes, tells, rate_hz=rate_hz)
    assert bench.hold(2.0, 0.8, current=5.0) is None
    assert bench.hold(3.0, 0.4, current=5.0) is not None
    return bench.took_s


def test_a_fall_is_judged_for_a_seventh_of_a_second_and_five_readings() -> None:
    # The throttle's range has settled 0.41 s after this fall, or a little later.
    assert judged_s(100.0) == pytest.approx(0.57, abs=0.006)
    assert judged_s(10.0) == pytest.approx(1.2)


def test_a_speed_that_stays_up_cuts() -> None:
    bench = running()
    trip = sees(bench.hold(3.0, 0.5, current=1.7, speed=3000.0))
    assert "the speed did not: 28600 rpm, before 28600 rpm" in trip.cause
    assert FAST_S <= bench.took_s <= JUDGED_S


def test_a_current_has_to_come_down_in_proportion_at_least() -> None:
    due = 5.0 * 0.4 / 0.8 + REST_A / 2
    assert running().hold(3.0, 0.4, current=due - 0.01, speed=1500.0) is None
    assert running().hold(3.0, 0.4, current=due + 0.01, speed=1500.0) is not None


def test_a_speed_has_to_come_half_the_way() -> None:
    due = 3000.0 * (1 - 0.5 * 0.5) + 30.0
    assert running().hold(3.0, 0.4, current=1.0, speed=due - 1) is None
    assert running().hold(3.0, 0.4, current=1.0, speed=due + 1) is not None


def test_a_rotor_that_coasts_slowly_is_given_time() -> None:
    bench = running()
    # A tenth in 0.4 s: a heavy rotor without propeller.
    slow = bench.hold(
        4.0, 0.3, current=0.1, speed=lambda into_s: 3000 * 0.9 ** (into_s / 0.4)
    )
    assert slow is None


def test_falls_of_less_than_a_fifth_are_judged_once_they_add_up() -> None:
    bench = running()
    assert bench.hold(3.0, 0.7, current=5.0, speed=3000.0) is None
    assert bench.hold(3.0, 0.63, current=5.0, speed=2600.0) is not None


def test_a_fall_of_exactly_a_fifth_is_judged() -> None:
    bench = play()
    assert bench.hold(2.0, 0.625, current=5.0) is None
    assert bench.hold(3.0, 0.5, current=5.0) is not None


def test_each_level_on_the_way_down_counts_from_the_one_before() -> None:
    bench = running()
    assert bench.hold(2.0, 0.4, current=2.4) is None
    # Against 80 % this would be low enough; against 40 % it is not.
    assert bench.hold(3.0, 0.3, current=2.4) is not None


def test_on_the_way_down_nothing_counts_from_a_level_that_was_only_passed() -> None:
    bench = running()

    def motor(t: float) -> float:
        return 5.0 * ((0.8 - 0.25 * t) / 0.8) ** 2 if t < 2.0 else 0.7

    # What is read on a ramp belongs to a lower throttle than the highest lately.
    assert bench.ramp(2.0, 0.8, 0.3, current=motor) is None
    assert bench.hold(3.0, 0.3, current=0.7) is None


def test_a_rise_in_between_counts_from_where_it_ends() -> None:
    bench = running()
    assert bench.hold(2.0, 0.3, current=0.7, speed=1400.0) is None
    assert bench.hold(2.0, 0.6, current=3.0, speed=2500.0) is None
    assert bench.hold(2.0, 0.4, current=2.5, speed=1800.0) is not None


def test_in_the_deadband_an_esc_may_do_as_it_likes() -> None:
    assert running().hold(3.0, 0.07, current=5.0, speed=3000.0) is None
    assert running().hold(3.0, 0.08, current=5.0, speed=3000.0) is not None


def test_a_short_dip_is_not_judged() -> None:
    bench = running()
    assert bench.hold(0.3, 0.4, current=5.0, speed=3000.0) is None
    assert bench.hold(3.0, 0.8, current=5.0, speed=3000.0) is None


def test_a_glitch_is_not_judged() -> None:
    bench = running()
    assert bench.hold(1.5, 0.4, current=1.0, speed=1500.0) is None
    assert bench.hold(0.05, 0.4, current=9.0, speed=5000.0) is None
    assert bench.hold(1.5, 0.4, current=1.0, speed=1500.0) is None


def test_a_motor_that_ignores_zero_is_told_by_its_current() -> None:
    bench = running()
    trip = sees(bench.hold(3.0, 0.0, current=5.0, speed=3000.0))
    assert trip.cause == "The throttle is at zero but the current still at 5 A."
    assert 0.6 <= bench.took_s <= 0.7


def test_a_motor_that_ignores_zero_is_told_by_its_speed() -> None:
    bench = running()
    trip = sees(bench.hold(3.0, 0.0, current=0.0, speed=3000.0))
    assert trip.cause == "The throttle is at zero but the speed still at 28600 rpm."
    assert 1.0 <= bench.took_s <= 1.05


def test_each_spell_at_zero_is_a_stop_of_its_own() -> None:
    bench = running()
    assert bench.hold(2.0, 0.0, current=0.0, speed=0.0) is None
    assert bench.hold(2.0, 0.8, current=5.0, speed=3000.0) is None
    # An ESC has its half second again.
    assert bench.hold(0.45, 0.0, current=5.0, speed=3000.0) is None
    assert bench.hold(2.0, 0.0, current=0.0, speed=0.0) is None


def test_a_rise_after_a_rest_counts_from_there() -> None:
    bench = running()
    assert bench.hold(2.0, 0.0, current=0.0, speed=0.0) is None
    # What 80 % gave before the rest is forgotten.
    assert bench.hold(3.0, 0.4, current=4.0, speed=2500.0) is None


def test_nothing_is_due_before_the_throttle_ever_rose() -> None:
    assert play().hold(5.0, 0.0, current=5.0, speed=3000.0) is None


def test_no_numbers_show_nothing() -> None:
    bench = running()
    assert bench.hold(3.0, 0.4, current=float("nan"), speed=float("nan")) is None


@pytest.mark.parametrize("channel", ["current", "speed"])
def test_each_channel_is_judged_without_the_other(channel: str) -> None:
    bench = play()
    assert bench.hold(2.0, 0.8, **{channel: 3000.0}) is None
    assert bench.hold(3.0, 0.4, **{channel: 3000.0}) is not None

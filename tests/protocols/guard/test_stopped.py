"""Whether the motor stopped: yes, no, or not known."""

import math
from collections.abc import Callable, Mapping

import pytest

from protocols.guard.now import FRESH_S, REST_SPEED_RAD_S
from protocols.guard.stopped import StoppedCheck, rest_current_a
from protocols.limits import Limit

REST_A = 0.24
STEP_S = 0.01

Series = float | Callable[[float], float]


def verdicts(
    for_s: float, check: StoppedCheck | None = None, **readings: Series
) -> Mapping[float, bool | None]:
    """Feed readings after a stop at 0; what it says when."""
    check = check or StoppedCheck(REST_A, 0.0)
    said = {}
    for step in range(1, round(for_s / STEP_S) + 1):
        now_s = step * STEP_S
        for channel, series in readings.items():
            value = series(now_s) if callable(series) else series
            check.reading(channel, value, now_s)
        said[round(now_s, 6)] = check.verdict(now_s)
    return said


def first(said: Mapping[float, bool | None], what: bool | None) -> float:
    """When it first said so."""
    return next((at_s for at_s, v in said.items() if v is what), math.inf)


def coasting(speed_rad_s: float, half_s: float) -> Callable[[float], float]:
    """A propeller's drag: half the speed after ``half_s``, a third after twice it."""
    return lambda now_s: speed_rad_s / (1 + now_s / half_s)


def test_a_motor_that_stands_and_takes_nothing_stopped() -> None:
    said = verdicts(1.0, current=0.02, speed=0.0)
    assert set(said.values()) == {None, True}
    assert first(said, True) == pytest.approx(0.16)


def test_a_motor_that_runs_out_stopped_once_it_stands() -> None:
    said = verdicts(3.0, current=0.0, speed=lambda t: max(0.0, 2000 - 2000 * t))
    assert False not in said.values()
    assert first(said, True) == pytest.approx(1.0, abs=0.03)


def test_a_propeller_that_coasts_is_not_said_to_go_on() -> None:
    said = verdicts(3.0, current=0.0, speed=coasting(4000, 0.1))
    assert False not in said.values()


def test_a_motor_that_is_still_driven_did_not_stop() -> None:
    said = verdicts(2.0, current=3.0, speed=2000.0)
    assert True not in said.values()
    assert first(said, False) == pytest.approx(0.66, abs=0.015)


def test_a_motor_that_is_driven_a_little_did_not_stop_either() -> None:
    said = verdicts(2.0, current=REST_A + 0.01)
    assert first(said, False) == pytest.approx(0.66, abs=0.015)


def test_a_current_of_exactly_rest_is_rest() -> None:
    assert first(verdicts(2.0, current=REST_A, speed=0.0), True) < 0.2


def test_an_esc_has_time_to_let_go() -> None:
    said = verdicts(2.0, current=lambda t: 3.0 if t < 0.45 else 0.0, speed=0.0)
    assert False not in said.values()
    assert first(said, True) == pytest.approx(0.6, abs=0.02)


def test_a_rotor_that_does_not_slow_down_did_not_stop() -> None:
    said = verdicts(2.0, current=0.0, speed=1000.0)
    assert True not in said.values()
    assert first(said, False) == pytest.approx(1.0, abs=0.015)


def test_a_rotor_that_begins_to_slow_down_is_given_time() -> None:
    said = verdicts(1.6, current=0.0, speed=lambda t: 1000.0 if t < 1.2 else 700.0)
    assert said[1.1] is False
    assert said[1.3] is None


def test_a_rotor_hardly_turning_stands() -> None:
    said = verdicts(2.0, current=0.0, speed=REST_SPEED_RAD_S)
    assert first(said, True) < 0.2
    assert False not in said.values()


def test_a_rotor_that_turns_a_little_more_does_not() -> None:
    said = verdicts(2.0, current=0.0, speed=REST_SPEED_RAD_S + 1)
    assert True not in said.values()
    assert False in said.values()


def test_without_a_speed_the_current_has_to_be_gone_for_a_second() -> None:
    said = verdicts(2.0, current=0.0)
    assert first(said, True) == pytest.approx(1.01, abs=0.015)
    assert False not in said.values()


def test_the_times_count_from_the_stop() -> None:
    said = {}
    check = StoppedCheck(REST_A, 50.0)
    for step in range(1, 200):
        now_s = 50.0 + step * STEP_S
        check.reading("current", 3.0, now_s)
        said[step] = check.verdict(now_s)
    assert said[60] is None
    assert said[70] is False
    check = StoppedCheck(REST_A, 50.0)
    for step in range(1, 200):
        now_s = 50.0 + step * STEP_S
        check.reading("speed", 900.0, now_s)
        said[step] = check.verdict(now_s)
    assert said[95] is None
    assert said[105] is False


@pytest.mark.parametrize(("current", "verdict"), [(0.0, True), (3.0, False)])
def test_on_a_slow_stand_it_takes_five_readings(current: float, verdict: bool) -> None:
    check = StoppedCheck(REST_A, 0.0)
    said = []
    for step in range(6):
        check.reading("speed", 0.0, 1.0 + 0.125 * step)
        check.reading("current", current, 1.0 + 0.125 * step)
        said.append(check.verdict(1.0 + 0.125 * step))
    assert said == [None, None, None, None, verdict, verdict]


def test_current_that_comes_back_takes_the_verdict_back() -> None:
    check = StoppedCheck(REST_A, 0.0)
    said = verdicts(3.0, check, current=lambda t: 0.0 if t < 1.5 else 2.0, speed=0.0)
    assert said[1.49] is True
    assert said[1.51] is None
    assert said[1.7] is False


def test_a_glitch_of_the_current_does_not() -> None:
    said = verdicts(3.0, current=lambda t: 9.0 if 1.0 < t < 1.04 else 0.0, speed=0.0)
    assert False not in said.values()


def test_nothing_heard_is_nothing_known() -> None:
    check = StoppedCheck(REST_A, 0.0)
    assert check.verdict(0.0) is None
    assert check.verdict(100.0) is None


def test_what_is_no_number_is_nothing_heard() -> None:
    assert set(verdicts(2.0, current=math.nan, speed=math.nan).values()) == {None}
    assert set(verdicts(2.0, current=math.nan).values()) == {None}
    assert set(verdicts(2.0, current=math.nan, speed=0.0).values()) == {None}


def test_a_current_that_falls_silent_is_not_known_any_more() -> None:
    check = StoppedCheck(REST_A, 0.0)
    assert verdicts(1.0, check, current=0.0, speed=0.0)[1.0] is True
    check.reading("speed", 0.0, 1.0 + FRESH_S)
    assert check.verdict(1.0 + FRESH_S - 1e-6) is True
    check.reading("speed", 0.0, 1.01 + FRESH_S)
    assert check.verdict(1.01 + FRESH_S) is None


def test_a_driven_motor_whose_current_falls_silent_is_not_known_any_more() -> None:
    check = StoppedCheck(REST_A, 0.0)
    assert verdicts(1.0, check, current=3.0)[1.0] is False
    assert check.verdict(1.01 + FRESH_S) is None


def test_a_speed_that_was_heard_is_not_done_without() -> None:
    check = StoppedCheck(REST_A, 0.0)
    check.reading("speed", 500.0, 0.0)
    said = verdicts(3.0, check, current=0.0)
    assert set(said.values()) == {None}


def test_a_stuck_speed_that_falls_silent_is_not_known_any_more() -> None:
    check = StoppedCheck(REST_A, 0.0)
    assert verdicts(1.5, check, current=0.0, speed=900.0)[1.5] is False
    check.reading("current", 0.0, 1.51 + FRESH_S)
    assert check.verdict(1.51 + FRESH_S) is None


def test_other_channels_say_nothing() -> None:
    assert set(verdicts(2.0, thrust=0.0, voltage=12.0).values()) == {None}


def test_the_latest_readings_can_be_asked_for() -> None:
    check = StoppedCheck(REST_A, 0.0)
    assert math.isnan(check.current_a)
    assert math.isnan(check.speed_rad_s)
    verdicts(0.1, check, current=2.0, speed=30.0)
    assert (check.current_a, check.speed_rad_s) == (2.0, 30.0)


def current_limit(high: float) -> Limit:
    return Limit("current", -3.0, high, 3, 0.1, "test")


@pytest.mark.parametrize(
    ("limits", "rest_a"),
    [
        ((), 0.15),
        ((current_limit(4.0),), 0.15),
        ((current_limit(12.0),), 0.24),
        ((current_limit(50.0),), 1.0),
        ((current_limit(math.inf),), 0.15),
        ((Limit("voltage", 9.0, 60.0, 3, 0.1, "test"),), 0.15),
    ],
)
def test_what_counts_as_rest_goes_with_the_current_limit(
    limits: tuple[Limit, ...], rest_a: float
) -> None:
    assert rest_current_a(limits) == pytest.approx(rest_a)

"""Holding a thrust: no overshoot on any plant, slow upwards, frozen when blind."""

import math
from collections import deque
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.goal import Goal
from protocols.holding import FIRST_S, STEP_FRAC, End, Holder
from protocols.plan import MAX_HOLD_FRAC_PER_S

GOAL = Goal(thrust_n=0.6, lowest_frac=0.15, highest_frac=0.8, floor_v=10.0)
FULL_V = 12.0


def held_thrusts(
    power: float,
    full_n: float,
    delay_s: float,
    period_s: float,
    start_frac: float = 0.25,
    until_s: float = 90.0,
) -> Iterator[tuple[float, float]]:
    """Time and true thrust of a hold on a plant that answers late.

    The motor follows in 0.05 s; what is read is a mean over ``delay_s`` that comes
    half of it later again, as a converter's filter makes it.
    """
    hold, thrust_n = Holder(GOAL, start_frac, 0.0), 0.0
    count = max(1, round(delay_s / period_s))
    window = deque([0.0] * count, count)
    late = deque([0.0] * (count // 2 + 1), count // 2 + 1)
    now_s = 0.0
    while now_s < until_s:
        now_s += period_s
        settled_n = full_n * hold.throttle_frac**power
        thrust_n += -math.expm1(-period_s / 0.05) * (settled_n - thrust_n)
        window.append(thrust_n)
        late.append(sum(window) / count)
        hold.reading("voltage", FULL_V, now_s)
        hold.reading("thrust", late[0], now_s)
        yield now_s, thrust_n


@pytest.mark.parametrize("power", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("full_n", [1.6, 2.5, 3.9])
@pytest.mark.parametrize(
    ("delay_s", "period_s"), [(0.02, 0.0125), (0.3, 0.0125), (0.5, 0.1)]
)
def test_it_comes_to_its_thrust_without_swinging_over_on_any_plant(
    power: float, full_n: float, delay_s: float, period_s: float
) -> None:
    walked = list(held_thrusts(power, full_n, delay_s, period_s))
    most_n = max(thrust_n for now_s, thrust_n in walked if now_s > 1.0)
    start_n = full_n * 0.25**power
    assert most_n <= max(1.03 * GOAL.thrust_n, 1.001 * start_n)
    assert walked[-1][1] == pytest.approx(GOAL.thrust_n, rel=0.01)
    late = [thrust_n for now_s, thrust_n in walked if now_s > 70.0]
    assert max(late) - min(late) < 0.01 * GOAL.thrust_n


def test_from_above_it_comes_down_as_it_comes_up() -> None:
    walked = list(held_thrusts(2.0, 3.0, 0.5, 0.1, start_frac=0.7))
    assert min(t for _, t in walked[20:]) > 0.97 * GOAL.thrust_n
    assert walked[-1][1] == pytest.approx(GOAL.thrust_n, rel=0.01)


READING = st.tuples(
    st.sampled_from(["thrust", "voltage", "current"]),
    st.one_of(
        st.floats(-5.0, 20.0), st.just(math.nan), st.just(math.inf), st.just(-math.inf)
    ),
    st.floats(0.0, 1.0),
)


@given(st.lists(READING, max_size=200), st.floats(0.15, 0.79))
def test_whatever_is_read_it_rises_slowly_and_stays_within_its_throttles(
    readings: list[tuple[str, float, float]], start_frac: float
) -> None:
    hold = Holder(GOAL, start_frac, 0.0)
    now_s, low_s, low_frac = 0.0, 0.0, start_frac
    for channel, value, later_s in readings:
        now_s += later_s
        hold.reading(channel, value, now_s)
        assert GOAL.lowest_frac <= hold.throttle_frac <= GOAL.highest_frac
        most_frac = low_frac + MAX_HOLD_FRAC_PER_S * (now_s - low_s) + STEP_FRAC
        assert hold.throttle_frac <= most_frac + 1e-12
        if hold.throttle_frac < low_frac:
            low_s, low_frac = now_s, hold.throttle_frac


@given(st.lists(READING, max_size=60), st.floats(0.31, 1e4))
def test_nothing_is_made_good_after_silence(
    readings: list[tuple[str, float, float]], silent_s: float
) -> None:
    hold, now_s = Holder(GOAL, 0.4, 0.0), 0.0
    for channel, value, later_s in readings:
        now_s += later_s
        hold.reading(channel, value, now_s)
    before_frac = hold.throttle_frac
    hold.reading("thrust", 0.01, now_s + silent_s)
    assert hold.throttle_frac == before_frac


@given(
    st.lists(st.tuples(st.sampled_from(["voltage", "speed"]), st.floats(10.1, 13.0)))
)
def test_only_a_reading_of_the_thrust_moves_the_throttle(
    readings: list[tuple[str, float]],
) -> None:
    hold = Holder(GOAL, 0.4, 0.0)
    for number, (channel, value) in enumerate(readings):
        hold.reading(channel, value, 3.0 + 0.1 * number)
        hold.reading("thrust", math.nan, 3.0 + 0.1 * number)
    assert hold.throttle_frac == 0.4


def test_the_first_throttle_is_held_so_that_it_shows() -> None:
    hold = Holder(GOAL, 0.4, 0.0)
    for number in range(1, round(FIRST_S / 0.1)):
        hold.reading("thrust", 0.1, 0.1 * number)
    assert hold.throttle_frac == 0.4


def walked(
    hold: Holder, thrust_n: float, voltage_v: float, begin_s: float, lasts_s: float
) -> float:
    """Read the same for a while; when that was over."""
    now_s = begin_s
    while now_s < begin_s + lasts_s and hold.end is None:
        now_s += 0.05
        hold.reading("voltage", voltage_v, now_s)
        hold.reading("thrust", thrust_n, now_s)
    return now_s


def test_it_ends_at_the_floor_within_half_a_second() -> None:
    hold = Holder(GOAL, 0.4, 0.0)
    begin_s = walked(hold, 0.6, 11.0, 0.0, 10.0)
    assert hold.end is None
    assert walked(hold, 0.6, 9.9, begin_s, 10.0) - begin_s < 0.55
    held = hold.over(End.LONGEST, 11.0)
    assert held.end is End.FLOOR
    assert held.voltage_v <= 10.0
    assert held.reached_s < FIRST_S + 0.1


def test_a_moments_dip_is_not_the_floor() -> None:
    hold = Holder(GOAL, 0.4, 0.0)
    walked(hold, 0.6, 11.0, 0.0, 5.0)
    hold.reading("voltage", 9.0, 5.01)
    walked(hold, 0.6, 11.0, 5.02, 2.0)
    assert hold.end is None


@pytest.mark.parametrize(
    ("first_n", "later_v", "end"),
    [(0.6, 10.5, End.SPENT), (0.6, FULL_V, End.FADED), (0.3, 10.5, End.NOT_REACHED)],
)
def test_at_the_highest_throttle_it_ends_and_says_why(
    first_n: float, later_v: float, end: End
) -> None:
    hold = Holder(GOAL, 0.6, 0.0)
    begin_s = walked(hold, first_n, FULL_V, 0.0, 3.0)
    walked(hold, 0.4, later_v, begin_s, 120.0)
    assert hold.end is end
    assert hold.throttle_frac == GOAL.highest_frac


def test_what_ended_stays_as_it_ended() -> None:
    hold = Holder(GOAL, 0.4, 0.0)
    walked(hold, 0.6, 9.5, 0.0, 5.0)
    before_frac = hold.throttle_frac
    walked(hold, 0.1, 12.0, 5.0, 30.0)
    hold.reading("thrust", 0.1, 40.0)
    assert (hold.end, hold.throttle_frac) == (End.FLOOR, before_frac)

"""Levels read off a recorded throttle."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from daq.analysis.held import LEAST_S, Level, find_levels

RATE_HZ = 50.0


def walked(*parts: tuple[float, float]) -> tuple[NDArray[np.float64], ...]:
    """Throttle held at each level for so long, with ramps of 0.2 s between."""
    throttle: list[float] = []
    for frac, held_s in parts:
        before = throttle[-1] if throttle else frac
        throttle += list(np.linspace(before, frac, round(0.2 * RATE_HZ)))
        throttle += [frac] * round(held_s * RATE_HZ)
    return np.arange(len(throttle)) / RATE_HZ, np.array(throttle)


def told(levels: list[Level]) -> list[tuple[str, int, float]]:
    return [(x.leg, x.step, round(x.throttle_frac, 3)) for x in levels]


def test_a_staircase_up_and_down_with_a_rest_between() -> None:
    time_s, throttle = walked(
        (0, 3),
        (0.2, 3),
        (0.4, 3),
        (0.6, 3),
        (0, 4),
        (0.6, 3),
        (0.4, 3),
        (0.2, 3),
        (0, 3),
    )
    assert told(find_levels(time_s, throttle)) == [
        ("rest", -1, 0.0),
        ("up", 0, 0.2),
        ("up", 1, 0.4),
        ("up", 2, 0.6),
        ("rest", -1, 0.0),
        ("down", 2, 0.6),
        ("down", 1, 0.4),
        ("down", 0, 0.2),
        ("rest", -1, 0.0),
    ]


def test_without_a_rest_the_highest_level_belongs_to_the_way_up() -> None:
    time_s, throttle = walked((0, 3), (0.3, 3), (0.5, 3), (0.3, 3), (0, 3))
    legs = [leg for leg, _, _ in told(find_levels(time_s, throttle))]
    assert legs == ["rest", "up", "up", "down", "rest"]


def test_what_is_held_too_shortly_or_moves_is_no_level() -> None:
    time_s, throttle = walked((0, 3), (0.3, 0.9 * LEAST_S), (0.5, 3), (0, 3))
    assert [frac for _, _, frac in told(find_levels(time_s, throttle))] == [0, 0.5, 0]
    time_s = np.arange(500) / RATE_HZ
    assert find_levels(time_s, np.linspace(0.1, 0.9, 500)) == []


def test_a_level_ends_where_nothing_was_heard_for_a_while() -> None:
    time_s, throttle = walked((0.4, 4.0))
    time_s = np.where(time_s > 2.0, time_s + 3.0, time_s)
    levels = find_levels(time_s, throttle)
    assert len(levels) == 2
    assert levels[0].end_s <= 2.0
    assert levels[1].start_s >= 5.0


def test_nothing_has_no_levels() -> None:
    empty = np.array([], dtype=np.float64)
    assert find_levels(empty, empty) == []


@given(
    st.lists(
        st.tuples(
            st.sampled_from([0.0, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95]),
            st.floats(LEAST_S + 0.1, 6.0),
        ),
        min_size=1,
        max_size=12,
    )
)
def test_every_level_that_was_held_is_found(parts: list[tuple[float, float]]) -> None:
    merged: list[tuple[float, float]] = []
    for frac, held_s in parts:
        if merged and merged[-1][0] == frac:
            continue
        merged.append((frac, held_s))
    levels = find_levels(*walked(*merged))
    assert [x.throttle_frac for x in levels] == pytest.approx([f for f, _ in merged])
    for level, (_, held_s) in zip(levels, merged, strict=True):
        assert level.end_s - level.start_s == pytest.approx(held_s, abs=0.25)

"""The guard: what trips, when, and with which words; NaN fails closed."""

import math

import pytest

from protocols.guard.beat import PATIENCE_S
from protocols.guard.guard import Guard
from protocols.guard.silence import LINK_ALLOWANCE_S
from protocols.limits import Limit
from protocols.rules import Rules

CURRENT = Limit("current", -3.0, 12.0, 3, 0.1, "plug 12 A")
VOLTAGE = Limit("voltage", 9.9, 12.9, 1, 0.1, "3 cells")


def guard() -> Guard:
    return Guard((CURRENT, VOLTAGE), Rules(), 0.0)


def test_readings_inside_never_trip() -> None:
    watch = guard()
    assert all(watch.reading("current", v, 0.0) is None for v in (-3.0, 0.0, 12.0))


def test_it_trips_at_the_persistence_and_not_before() -> None:
    watch = guard()
    assert watch.reading("current", 12.1, 0.0) is None
    assert watch.reading("current", 12.1, 0.0) is None
    trip = watch.reading("current", 12.1, 0.0)
    assert trip is not None
    assert trip.check == "limit"
    assert "12.1 A" in trip.cause
    assert "plug 12 A" in trip.cause
    assert trip.advice


def test_one_reading_inside_starts_the_count_again() -> None:
    watch = guard()
    for value in (13.0, 13.0, 11.0, 13.0, 13.0):
        assert watch.reading("current", value, 0.0) is None


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_reading_that_is_no_number_is_outside(value: float) -> None:
    assert guard().reading("voltage", value, 0.0) is not None


def test_readings_that_are_no_number_are_no_sign_of_life() -> None:
    watch = Guard((Limit("current", -3.0, 12.0, 255, 0.1, "plug"),), Rules(), 0.0)
    watch.beat(0.3)
    for step in range(30):
        watch.reading("current", math.nan, step * 0.01)
    trip = watch.judge(0.3)
    assert trip is not None
    assert trip.check == "silence"


def test_a_channel_that_never_speaks_is_silent_from_the_start() -> None:
    watch = guard()
    late_s = CURRENT.max_age_s + LINK_ALLOWANCE_S
    assert watch.judge(late_s - 1e-3) is None
    trip = watch.judge(late_s + 1e-3)
    assert trip is not None
    assert trip.check == "silence"
    assert "current" in trip.cause


def test_a_client_that_falls_silent_trips() -> None:
    watch = guard()
    for step in range(int(PATIENCE_S / 0.05) + 1):
        for channel, value in (("current", 1.0), ("voltage", 12.0)):
            watch.reading(channel, value, step * 0.05)
    trip = watch.judge(PATIENCE_S)
    assert trip is not None
    assert trip.check == "beat"


def test_beats_and_readings_keep_it_quiet() -> None:
    watch = guard()
    for step in range(100):
        now_s = step * 0.05
        watch.beat(now_s)
        watch.reading("current", 1.0, now_s)
        watch.reading("voltage", 12.0, now_s)
        assert watch.judge(now_s) is None
        assert watch.deadline_s > now_s


def test_a_channel_without_a_limit_is_not_its_business() -> None:
    assert guard().reading("speed", math.nan, 0.0) is None


@pytest.mark.parametrize(
    ("channel", "value", "word"),
    [
        ("current", 20.0, "short"),
        ("current", -5.0, "backwards"),
        ("voltage", 9.0, "empty"),
        ("voltage", 14.0, "more cells"),
    ],
)
def test_the_advice_fits_the_side(channel: str, value: float, word: str) -> None:
    watch = guard()
    trips = [watch.reading(channel, value, 0.0) for _ in range(3)]
    trip = next(t for t in trips if t is not None)
    assert word in trip.advice

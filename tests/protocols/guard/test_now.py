"""What the checks share: the throttle as a range, smoothed readings, lasting things."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.guard.now import Coasting, Lasting, Now, Recent, Smooth


def test_a_throttle_that_never_rose_was_at_zero() -> None:
    recent = Recent(0.4, 0.0)
    assert (recent.lowest, recent.highest) == (0.0, 0.0)


def test_a_rise_is_a_range_until_a_whole_span_has_passed_it() -> None:
    recent = Recent(0.4, 0.0)
    ranges = {}
    for step in range(60):
        now_s = 0.025 * (step + 1)
        recent.take(0.5 if now_s > 0.2 else 0.0, now_s)
        ranges[round(now_s, 3)] = (recent.lowest, recent.highest)
    assert ranges[0.2] == (0.0, 0.0)
    assert ranges[0.225] == (0.0, 0.5)
    assert ranges[0.6] == (0.0, 0.5)
    assert ranges[1.2] == (0.5, 0.5)


def test_a_fall_is_a_range_likewise() -> None:
    recent = Recent(0.5, 0.0)
    for now_s in (0.25, 0.5, 1.0, 1.5):
        recent.take(0.75, now_s)
    ranges = []
    for now_s in (1.625, 1.75, 2.0, 2.25, 2.5):
        recent.take(0.25, now_s)
        ranges.append((recent.lowest, recent.highest))
    assert ranges == [(0.25, 0.75)] * 4 + [(0.25, 0.25)]


def test_what_was_in_force_until_now_is_part_of_the_span_that_begins() -> None:
    recent = Recent(0.4, 0.0)
    recent.take(0.8, 0.1)
    recent.take(0.2, 5.0)
    assert recent.highest == 0.8


@given(
    st.lists(
        st.tuples(st.floats(0.001, 0.3), st.floats(0.0, 1.0)), min_size=1, max_size=60
    )
)
def test_the_range_covers_a_span_and_no_more_than_two_and_a_step(
    steps: list[tuple[float, float]],
) -> None:
    span_s = 0.4
    recent, now_s = Recent(span_s, 0.0), 0.0
    sent = [(0.0, 0.0)]
    for gap_s, frac in steps:
        now_s += gap_s
        recent.take(frac, now_s)
        sent.append((now_s, frac))
        ends = [*(at_s for at_s, _ in sent[1:]), math.inf]
        lately = [
            x for (_, x), end in zip(sent, ends, strict=True) if end > now_s - span_s
        ]
        assert recent.lowest <= min(lately)
        assert recent.highest >= max(lately)
        ever = [x for _, x in sent]
        assert min(ever) <= recent.lowest <= frac <= recent.highest <= max(ever)


def test_the_motor_ran_once_the_throttle_was_above_zero() -> None:
    now = Now(0.0)
    ran = []
    for frac in (0.0, 0.001, 0.0):
        now.setpoint(frac, 0.1)
        ran.append(now.ran)
    assert ran == [False, True, True]
    assert now.throttle_frac == 0.0
    now.setpoint(0.3, 0.2)
    assert now.throttle_frac == 0.3


def test_a_load_cell_gets_more_time_than_the_rest() -> None:
    now = Now(0.0)
    settled: dict[str, float] = {}
    for step in range(100):
        now.setpoint(0.5, 0.025 * step)
        for name, recent in (("fast", now.fast), ("slow", now.slow)):
            if recent.lowest == 0.5:
                settled.setdefault(name, 0.025 * step)
    # One span at least, two and a step at most: 0.4 s and 0.6 s.
    assert settled["fast"] == pytest.approx(0.8, abs=0.03)
    assert settled["slow"] == pytest.approx(1.2, abs=0.03)


def test_a_span_may_begin_at_any_time() -> None:
    recent = Recent(0.5, 100.0)
    recent.take(0.5, 100.25)
    recent.take(0.5, 100.5)
    assert recent.lowest == 0.0
    recent.take(0.5, 101.0)
    assert recent.lowest == 0.5


def test_a_reading_is_known_while_it_is_fresh() -> None:
    now = Now(0.0)
    assert math.isnan(now.value("current", 0.0))
    assert not now.ever("current")
    now.heard("current", 3.0, 1.0)
    assert now.value("current", 1.1999) == 3.0
    assert math.isnan(now.value("current", 1.2001))
    assert now.ever("current")
    assert not now.ever("speed")


def test_only_the_speed_shows_whether_the_rotor_coasts() -> None:
    now = Now(0.0)
    for step in range(100):
        now.heard("current", 100.0 - step, 0.01 * step)
    assert not now.coasting.slows(1.0)
    for step in range(100):
        now.heard("speed", 1000.0 - 10 * step, 0.01 * step)
    assert now.coasting.slows(1.0)


def test_the_first_reading_is_smooth_as_it_is() -> None:
    smooth = Smooth()
    assert math.isnan(smooth.value)
    assert smooth.take(7.0, 5.0) == 7.0


def test_a_reading_counts_for_an_eighth() -> None:
    smooth = Smooth()
    smooth.take(0.0, 1.0)
    assert smooth.take(8.0, 1.0) == 1.0
    assert smooth.take(1.0, 1.002) == 1.0


def test_a_late_reading_counts_for_more_and_a_very_late_one_for_all() -> None:
    smooth = Smooth()
    smooth.take(0.0, 1.0)
    assert smooth.take(8.0, 1.05) == pytest.approx(4.0)
    assert smooth.take(1.0, 1.15) == pytest.approx(1.0)
    assert smooth.take(9.0, 3.0) == pytest.approx(9.0)


def test_what_is_forgotten_begins_again() -> None:
    smooth = Smooth()
    smooth.take(5.0, 1.0)
    smooth.forget()
    assert smooth.take(9.0, 1.001) == 9.0


def test_it_lasts_when_it_has_the_readings_and_the_time() -> None:
    lasting = Lasting(3, 0.25)
    seen = [lasting.take(so=True, now_s=at) for at in (1.0, 1.1, 1.2, 1.25, 1.3)]
    assert seen == [False, False, False, True, True]


def test_time_alone_is_not_enough() -> None:
    lasting = Lasting(3, 0.15)
    assert not lasting.take(so=True, now_s=1.0)
    assert not lasting.take(so=True, now_s=2.0)
    assert lasting.take(so=True, now_s=2.0)


def test_readings_alone_are_not_enough() -> None:
    lasting = Lasting(3, 0.15)
    assert not any(lasting.take(so=True, now_s=1.0) for _ in range(100))


def test_one_that_is_not_so_begins_it_again() -> None:
    lasting = Lasting(2, 0.0)
    assert not lasting.take(so=True, now_s=1.0)
    assert not lasting.take(so=False, now_s=1.1)
    assert not lasting.take(so=True, now_s=1.2)
    assert lasting.take(so=True, now_s=1.3)


def coasts(speeds: list[float], step_s: float) -> Coasting:
    coasting = Coasting()
    for index, speed in enumerate(speeds):
        coasting.take(speed, index * step_s)
    return coasting


def test_a_held_speed_does_not_slow_down() -> None:
    assert not coasts([2000.0] * 100, 0.01).slows(1.0)


def test_a_rising_speed_does_not_slow_down() -> None:
    assert not coasts([20.0 * k for k in range(100)], 0.01).slows(1.0)


def test_noise_of_a_tenth_is_no_slowing_down() -> None:
    speeds = [2000.0 + 200.0 * (-1) ** k for k in range(500)]
    assert not coasts(speeds, 0.002).slows(1.0)


def test_a_tenth_less_counts_for_a_while() -> None:
    coasting = Coasting()
    coasting.take(1000.0, 0.0)
    coasting.take(901.0, 1.0)
    assert not coasting.slows(1.0)
    coasting.take(899.0, 2.0)
    assert coasting.slows(2.0)
    assert coasting.slows(2.49)
    assert not coasting.slows(2.5)


def test_each_further_tenth_counts_anew() -> None:
    coasting = Coasting()
    for index in range(10):
        coasting.take(1000.0 * 0.89**index, 0.4 * index)
    assert coasting.slows(3.6 + 0.4)


def test_a_rotor_that_stands_does_not_slow_down_though_its_reading_creeps() -> None:
    coasting = coasts([1000.0 * 0.5**k for k in range(400)], 0.01)
    assert not coasting.slows(4.0)
    # 300 rpm are 31.4 rad/s.
    assert not coasts([31.3, 0.0, 0.0], 0.2).slows(0.6)
    assert coasts([31.5, 0.0, 0.0], 0.2).slows(0.6)

"""The last hour of a channel."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ui.desktop.model.tape import KEPT_S, SPAN_S, Tape


def filled(values: list[float], rate_hz: float = 500.0, begin_s: float = 10.0) -> Tape:
    tape = Tape()
    for number, value in enumerate(values):
        tape.add(begin_s + number / rate_hz, value)
    return tape


def test_nothing_is_shown_before_the_first_reading() -> None:
    ago_s, low, high = Tape().columns(100.0, 10.0, 500)
    assert np.isnan(low).all()
    assert np.isnan(high).all()
    assert ago_s.size <= 501
    assert math.isnan(Tape().newest)


def test_a_single_spike_is_never_lost_at_any_zoom() -> None:
    values = [1.0] * 5000
    values[1234] = 9.0
    tape = filled(values)
    for window_s in (10.0, 60.0, 600.0, 3000.0):
        for most in (50, 500, 1000):
            _, _, high = tape.columns(20.0, window_s, most)
            assert np.nanmax(high) == 9.0


def test_a_gap_is_a_gap() -> None:
    tape = filled([1.0] * 500)
    tape.add(15.0, 2.0)
    ago_s, low, _ = tape.columns(15.0, 6.0, 1000)
    between = (ago_s > -3.9) & (ago_s < -0.1)
    assert between.any()
    assert np.isnan(low[between]).all()
    assert np.nanmin(low) == 1.0


def test_a_gap_longer_than_what_is_kept_forgets_everything() -> None:
    tape = filled([5.0] * 100)
    tape.add(10.0 + 2 * KEPT_S, 1.0)
    _, _, high = tape.columns(10.0 + 2 * KEPT_S, KEPT_S, 700)
    assert np.nanmax(high) == 1.0


def test_what_is_older_than_an_hour_is_gone_and_memory_stays() -> None:
    tape = Tape()
    for number in range(int(1.5 * KEPT_S)):
        tape.add(float(number), 7.0 if number < 60 else 1.0)
    _, _, high = tape.columns(1.5 * KEPT_S, KEPT_S, 700)
    assert np.nanmax(high) == 1.0


def test_what_comes_from_before_is_not_shown() -> None:
    tape = filled([1.0] * 100)
    tape.add(3.0, 99.0)
    assert tape.newest == 1.0
    _, _, high = tape.columns(11.0, 20.0, 500)
    assert np.nanmax(high) == 1.0


def test_no_reading_is_none() -> None:
    tape = filled([1.0] * 10)
    tape.add(11.0, math.nan)
    assert tape.newest == 1.0
    assert tape.newest_s < 11.0


def test_columns_stay_where_they_are_in_time() -> None:
    tape = filled([math.sin(n / 30) for n in range(10_000)])
    first = tape.columns(30.0, 20.0, 100)
    later = tape.columns(30.04, 20.0, 100)
    width_s = round(20.0 / SPAN_S / 100) * SPAN_S
    shift = (first[0][5] - (later[0] + 0.04)) / width_s
    assert np.abs(shift - np.round(shift)).max() == pytest.approx(0.0, abs=1e-6)


def test_forgotten_is_as_new() -> None:
    tape = filled([3.0] * 10)
    tape.forget()
    assert np.isnan(tape.columns(10.0, 5.0, 100)[1]).all()
    tape.add(1.0, 2.0)
    assert tape.newest == 2.0


@given(
    st.lists(st.floats(-1e6, 1e6, width=32), min_size=1, max_size=200),
    st.floats(0.5, 100.0),
    st.integers(1, 400),
)
def test_extremes_are_those_of_what_came(
    values: list[float], window_s: float, most: int
) -> None:
    tape = filled(values, rate_hz=100.0, begin_s=2.0)
    now_s = 2.0 + len(values) / 100.0
    _, low, high = tape.columns(now_s, window_s + 4.0, most)
    assert np.nanmin(low) == min(values)
    assert np.nanmax(high) == max(values)
    assert low.size <= most + 1

"""The run against time: no spike is lost, and a gap stays a gap."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from ui.report.timeline import (
    NARROW,
    WIDE,
    Timeline,
    Trace,
    draw_timeline,
    envelope,
    read_timeline,
)
from ui.results import Results
from ui.series import series_of


@pytest.fixture(scope="module")
def timeline(results: Results) -> Timeline:
    found = read_timeline(results.run, series_of(results.run)[0], results.analysis)
    assert found is not None
    return found


def test_a_spike_of_one_reading_in_an_hour_is_drawn() -> None:
    t_s = np.arange(1_800_000) / 500.0
    value = np.zeros(t_s.size)
    value[1_234_567] = 99.0
    middle_s, low, high = envelope(t_s, value, (0.0, 3600.0), WIDE.columns)
    assert high.max() == 99.0
    assert np.count_nonzero(high) == 1
    assert abs(middle_s[high.argmax()] - t_s[1_234_567]) <= 3600 / WIDE.columns
    assert low.max() == 0.0


def test_missing_readings_leave_a_gap() -> None:
    steps = [*range(1000), *range(2000, 3000)]
    t_s = np.array([step / 100 for step in steps])
    _, low, high = envelope(t_s, np.ones(t_s.size), (0.0, 30.0), 300)
    empty = np.isnan(low)
    assert np.array_equal(empty, np.isnan(high))
    assert 95 <= np.count_nonzero(empty) <= 100
    assert not empty[:99].any()
    assert not empty[201:].any()


@given(
    st.lists(
        st.one_of(st.floats(-1e6, 1e6), st.just(float("nan"))), min_size=1, max_size=60
    ),
    st.integers(1, 20),
)
def test_an_envelope_holds_every_reading(values: list[float], columns: int) -> None:
    value = np.array(values)
    t_s = np.array([0.5 * place for place in range(value.size)])
    span_s = (0.0, max(float(t_s[-1]), 0.5))
    middle_s, low, high = envelope(t_s, value, span_s, columns)
    assert middle_s.size == low.size == high.size <= columns
    good = np.isfinite(value)
    if not good.any():
        assert np.isnan(low).all()
        return
    assert np.nanmin(low) == value[good].min()
    assert np.nanmax(high) == value[good].max()
    width_s = (span_s[1] - span_s[0]) / low.size
    for at_s, reading in zip(t_s[good], value[good], strict=True):
        near = np.abs(middle_s - at_s) <= width_s / 2 * (1 + 1e-9)
        inside = (low[near] <= reading) & (reading <= high[near])
        assert inside.any()


def test_the_throttle_line_goes_through_the_plan(timeline: Timeline) -> None:
    corners = timeline.throttle
    assert corners[0, 1] == 0
    assert corners[-1, 1] == 0
    assert corners[:, 1].max() == pytest.approx(95)
    assert np.all(np.diff(corners[:, 0]) >= 0)
    # It never jumps: every rise is a ramp with a length.
    jumps = np.abs(np.diff(corners[:, 1])) > 0
    assert np.all(np.diff(corners[:, 0])[jumps] > 0.1)


def _first_rest(trace: Trace, timeline: Timeline) -> NDArray[np.bool_]:
    into_s = trace.t_s - timeline.begin_s
    return np.asarray((into_s > 0) & (into_s < 1.5))


def test_what_came_long_before_the_plan_is_not_on_the_chart(
    results: Results, timeline: Timeline
) -> None:
    # The proof before every spin takes longer than the two seconds that are shown.
    first_s = min(float(stream.device_s[0]) for stream in results.run.streams)
    assert timeline.begin_s - first_s > 4
    for trace in timeline.traces:
        assert timeline.begin_s - 2.0 <= trace.t_s[0] <= timeline.begin_s - 1.9
    assert timeline.span_s[0] == pytest.approx(timeline.begin_s - 2.0)


def test_thrust_and_current_are_drawn_from_their_zero(timeline: Timeline) -> None:
    names = [trace.label for trace in timeline.traces]
    assert names == ["Thrust, gf", "Current, A", "Voltage, V"]
    before = [
        float(np.nanmean(trace.value[_first_rest(trace, timeline)]))
        for trace in timeline.traces
    ]
    assert abs(before[0]) < 0.2
    assert abs(before[1]) < 0.005
    assert before[2] > 12


def test_plateaus_are_shaded_and_numbered_in_both_widths(timeline: Timeline) -> None:
    assert len(timeline.windows) == 8
    for name, drawn in draw_timeline(timeline):
        assert name in (WIDE.key, NARROW.key)
        for number in range(1, 9):
            assert f">{number}</text>" in drawn.svg
        assert "8 in all" in drawn.svg


def test_without_a_zero_the_chart_says_that_readings_are_bare() -> None:
    t_s = np.arange(100) / 10.0
    bare = Trace("Thrust, gf", t_s, np.full(100, 119.0), True, True)
    line = Timeline(np.zeros((0, 2)), (bare,), (), 0.0, (0.0, 9.9), None, False)
    assert "No rest gave a zero" in draw_timeline(line)[0][1].note
    told = replace(line, traces=(replace(bare, as_read=False),))
    assert "No rest gave a zero" not in draw_timeline(told)[0][1].note


def test_a_long_run_is_told_in_minutes_and_stays_small() -> None:
    t_s = np.arange(0, 3600, 0.05)
    noise = np.random.default_rng(3).normal(size=t_s.size)
    trace = Trace("Thrust, gf", t_s, noise, True, False)
    walked = np.array([[0.0, 0.0], [3600.0, 50.0]])
    line = Timeline(walked, (trace,), (), 0.0, (0.0, 3600.0), None, False)
    wide, narrow = (drawn.svg for _, drawn in draw_timeline(line))
    assert "Time since the plan began, min" in wide
    assert len(narrow) < len(wide) < 40_000

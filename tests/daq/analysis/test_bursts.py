"""Bursts: extremes and rises of invented readings known exactly."""

import math

import numpy as np
import pytest

from daq.analysis.bursts import Bursts, read_bursts
from daq.analysis.findings import Finding
from daq.analysis.plateaus import average
from daq.analysis.run import analyse
from daq.analysis.series import Array, Hold, Series

TAU_S = 0.05
LOW_RAD_S, HIGH_RAD_S = 2000.0, 3000.0


def walk(count: int = 1, lasted_s: float = 1.0) -> list[Hold]:
    """Rest, then so often a cruise, a burst, a cruise and a rest."""
    found = [Hold("rest", "rest", -1, 0.0, 0.0, 3.0)]
    at_s = 3.5
    for _ in range(count):
        found += [
            Hold("dwell", "up", 0, 0.4, at_s, at_s + 2.0),
            Hold("burst", "up", 1, 0.8, at_s + 2.0, at_s + 2.0 + lasted_s, 0.4),
        ]
        at_s += 2.0 + lasted_s
        found.append(Hold("dwell", "down", 0, 0.4, at_s, at_s + 2.0))
        found.append(Hold("rest", "rest", -1, 0.0, at_s + 2.5, at_s + 5.5))
        at_s += 6.0
    return found


def series_of(holds: list[Hold], name: str, value: Array, every_s: float) -> Series:
    t_s = np.arange(value.size, dtype=np.float64) * every_s
    return Series(name, name, t_s, value, 0.01, 1e-3)


def speed(holds: list[Hold], every_s: float = 0.002) -> Series:
    """A rotor of one time constant."""
    t_s = np.arange(0.0, holds[-1].end_s, every_s)
    value = np.zeros(t_s.size)
    for hold in holds:
        inside = (t_s >= hold.start_s) & (t_s < hold.end_s)
        if hold.kind == "dwell":
            value[inside] = LOW_RAD_S
        if hold.kind == "burst":
            late = np.exp(-(t_s[inside] - hold.start_s) / TAU_S)
            value[inside] = HIGH_RAD_S - (HIGH_RAD_S - LOW_RAD_S) * late
    return series_of(holds, "speed", value, every_s)


def current(holds: list[Hold], name: str, peak_a: float, zero_a: float) -> Series:
    """Two amperes at cruise, five in the burst, and one reading that peaks."""
    t_s = np.arange(0.0, holds[-1].end_s, 0.002)
    value = np.full(t_s.size, zero_a)
    for hold in holds:
        inside = (t_s >= hold.start_s) & (t_s < hold.end_s)
        value[inside] += {"dwell": 2.0, "burst": 5.0}.get(hold.kind, 0.0)
        if hold.kind == "burst":
            value[np.flatnonzero(inside)[20]] = zero_a + peak_a
    return series_of(holds, name, value, 0.002)


def bursts_of(holds: list[Hold], *channels: Series) -> Bursts:
    series = {channel.name: channel for channel in channels}
    found = read_bursts(series, holds, average(series, holds))
    assert found is not None
    return found


def test_a_rise_of_a_first_order_rotor_takes_what_the_exponential_says() -> None:
    found = bursts_of(walk(), speed(walk()))
    (burst,) = found.each
    # 90 % of the way: ln(10) time constants.
    assert burst.rise_s == pytest.approx(TAU_S * math.log(10), abs=0.0021)
    assert found.rising == "speed"
    assert found.every_s == pytest.approx(0.002)


def test_the_peak_is_the_single_highest_reading_with_its_zero_taken_off() -> None:
    found = bursts_of(walk(), current(walk(), "current", 7.5, 0.15))
    assert found.each[0].peak_current_a == pytest.approx(7.5, abs=1e-6)


def test_the_extreme_inside_each_reading_is_used_where_the_stand_keeps_it() -> None:
    holds = walk()
    found = bursts_of(
        holds,
        current(holds, "current", 5.0, 0.15),
        current(holds, "current-high", 8.0, 0.15),
    )
    assert found.each[0].peak_current_a == pytest.approx(8.0, abs=1e-6)


def test_the_dip_is_the_lowest_reading_of_the_burst_alone() -> None:
    holds = walk()
    t_s = np.arange(0.0, holds[-1].end_s, 0.002)
    volt = np.full(t_s.size, 12.4)
    volt[(t_s >= holds[2].start_s) & (t_s < holds[2].end_s)] = 11.6
    volt[np.searchsorted(t_s, holds[2].start_s + 0.03)] = 11.1
    volt[np.searchsorted(t_s, 1.0)] = 9.0  # elsewhere
    found = bursts_of(holds, series_of(holds, "voltage", volt, 0.002))
    assert found.each[0].lowest_voltage_v == 11.1


def test_what_a_run_has_no_channel_for_is_left_out() -> None:
    found = bursts_of(walk(), current(walk(), "current", 7.5, 0.0))
    (burst,) = found.each
    assert math.isnan(burst.lowest_voltage_v)
    assert math.isnan(burst.rise_s)
    assert found.rising is None
    row = found.rows()[0]
    assert row["lowest_voltage_v"] is None
    assert row["rise_s"] is None
    assert row["peak_current_a"] == pytest.approx(7.5)


def test_a_rise_that_never_came_is_not_timed() -> None:
    holds = walk()
    t_s = np.arange(0.0, holds[-1].end_s, 0.002)
    flat = series_of(holds, "speed", np.full(t_s.size, 2000.0), 0.002)
    assert math.isnan(bursts_of(holds, flat).each[0].rise_s)
    blind = series_of(holds, "speed", np.full(t_s.size, math.nan), 0.002)
    assert math.isnan(bursts_of(holds, blind).each[0].rise_s)


def test_without_a_burst_there_is_nothing() -> None:
    holds = [hold for hold in walk() if hold.kind != "burst"]
    series = {"current": current(holds, "current", 1.0, 0.0)}
    assert read_bursts(series, holds, average(series, holds)) is None


def findings_of(*channels: Series, count: int = 3) -> dict[str, Finding]:
    series = {channel.name: channel for channel in channels}
    return {f.id: f for f in analyse(series, walk(count)).findings}


def test_the_findings_name_their_range_and_that_they_have_no_interval() -> None:
    said = findings_of(current(walk(3), "current", 7.5, 0.1), speed(walk(3)))
    peak = said["burst-current"]
    assert peak.sentence == (
        "Current peaked at 7.50 A in 3 bursts from 40 to 80 % throttle."
    )
    assert peak.value == pytest.approx(7.5)
    assert (peak.low, peak.high) == (None, None)
    assert any("single readings" in caution for caution in peak.cautions)
    rise = said["burst-rise"]
    assert "for 90 % of its rise" in rise.sentence
    assert any("read every 2 ms" in caution for caution in rise.cautions)
    assert "burst-voltage" not in said
    assert "no-dwell" not in said


def test_one_burst_is_told_as_one() -> None:
    said = findings_of(current(walk(), "current", 7.5, 0.1), count=1)
    assert "in a burst from 40 to 80 % throttle" in said["burst-current"].sentence


def test_a_burst_is_never_a_plateau() -> None:
    series = {"current": current(walk(2), "current", 7.5, 0.1)}
    plateaus = analyse(series, walk(2)).plateaus
    assert set(plateaus.throttle_frac) == {0.4}
    assert plateaus.leg == ("up", "down", "up", "down")

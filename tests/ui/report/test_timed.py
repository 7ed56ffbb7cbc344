"""Timed limits, budgets and rules on the page, against sums of the record's counts."""

from dataclasses import replace

import numpy as np
import pytest

from daq.records.read import Run
from tests.ui.cut_runs import CutRuns
from ui.report.facts import DANGER, GOOD, NEUTRAL
from ui.report.setup import Lines
from ui.report.timed import rule_lines, rules_of, timed_limits
from ui.series import series_of


def lines(run: Run) -> dict[str, str]:
    found: Lines = rule_lines(run, series_of(run)[0])
    return dict(found)


def with_rules(run: Run, **changes: object) -> Run:
    task = run.header["task"]
    assert isinstance(task, dict)
    rules = task["rules"] | changes
    return replace(run, header=dict(run.header) | {"task": task | {"rules": rules}})


def burst(**changes: object) -> dict[str, object]:
    plug: dict[str, object] = {"part": "plug", "source": "a test"}
    figures = {"continuous_a": 1.0, "short_a": 6.0, "short_s": 2.0}
    return {**plug, **figures, **changes}


def current_while_armed(run: Run) -> tuple[np.ndarray, np.ndarray]:
    """By the raw counts, less the zero that the guard took."""
    armed_s = next(run.notes("armed")).note["device_s"]
    means = next(run.notes("zeroed")).note["means"]
    assert isinstance(armed_s, float)
    assert isinstance(means, dict)
    for stream in run.streams:
        for column, page in enumerate(stream.channels):
            if page.name == "current":
                first = np.searchsorted(stream.device_s, armed_s)
                counts = stream.counts[first:, column].astype(float)
                value = (counts - page.zero_counts) / page.counts_per_unit
                return stream.device_s[first:], value - means["current"]
    raise AssertionError


def test_a_run_without_timed_parts_has_no_timed_limit(cut_runs: CutRuns) -> None:
    run = cut_runs.of("whole").run
    assert timed_limits(run, series_of(run)[0]) == []


def test_what_was_used_of_a_rating_is_the_square_of_the_current_summed(
    cut_runs: CutRuns,
) -> None:
    run = with_rules(cut_runs.of("whole").run, bursts=[burst()])
    (plug,) = timed_limits(run, series_of(run)[0])
    t_s, current_a = current_while_armed(run)
    steps = np.diff(t_s) * (0.5 * (current_a[1:] ** 2 + current_a[:-1] ** 2) - 1.0**2)
    used = most = 0.0
    for step in steps:
        used = max(0.0, used + step)
        most = max(most, used)
    share = most / ((6.0**2 - 1.0**2) * 2.0)
    assert plug.bar == pytest.approx(100 * share, abs=0.02)
    assert plug.used.startswith(f"{100 * share:.0f} % of it was used at the most")
    assert (plug.mark, plug.part, plug.source) == (GOOD, "plug", "a test")
    assert plug.allowed == "6 A for 2 s, 1 A for as long as one likes"


def test_a_rating_that_was_used_up_is_a_danger_and_a_full_bar(
    cut_runs: CutRuns,
) -> None:
    run = cut_runs.of("burst").run
    (plug,) = timed_limits(run, series_of(run)[0])
    assert plug.mark == DANGER
    assert plug.bar == 100
    assert plug.used.startswith("1")


def test_a_rating_that_was_not_touched_is_told_so(cut_runs: CutRuns) -> None:
    untouched = burst(continuous_a=11.0, short_a=12.0)
    run = with_rules(cut_runs.of("whole").run, bursts=[untouched])
    (plug,) = timed_limits(run, series_of(run)[0])
    assert plug.used == "The current never went above 11 A for long."
    assert plug.bar == 0


def test_without_a_current_nothing_is_said_to_be_used(cut_runs: CutRuns) -> None:
    run = with_rules(cut_runs.of("whole").run, bursts=[burst()])
    (plug,) = timed_limits(run, {})
    assert (plug.mark, plug.bar) == (NEUTRAL, None)
    assert plug.used == "No current was read while armed."


def test_charge_and_energy_are_those_that_left_the_pack(cut_runs: CutRuns) -> None:
    run = cut_runs.of("whole").run
    t_s, current_a = current_while_armed(run)
    spent_mah = float(np.sum(np.diff(t_s) * np.maximum(current_a[1:], 0.0))) / 3.6
    told = lines(run)
    # 80 % of 450 mAh, and 3.7 V a cell.
    assert told["Charge from the pack"].startswith("at most 360 mAh; ")
    taken = float(told["Charge from the pack"].split("; ")[1].split()[0])
    assert taken == pytest.approx(spent_mah, rel=0.01)
    assert told["Energy from the pack"].startswith("at most 4 Wh; ")
    energy = float(told["Energy from the pack"].split("; ")[1].split()[0])
    # 12.1 to 12.6 V all the while.
    assert 12.0 < 1e3 * energy / taken < 12.7


def test_a_temperature_is_told_with_its_highest_reading(cut_runs: CutRuns) -> None:
    run = cut_runs.of("heat").run
    told = lines(run)["Winding, hottest"]
    assert told.startswith("40 \N{DEGREE SIGN}C; ")
    assert told.endswith("\N{DEGREE SIGN}C read at most")
    # From the room's 21 degrees, in nine seconds and never to the 30 where it acts.
    assert 22 <= int(told.split("; ")[1].split()[0]) < 30
    elsewhere = tuple(
        replace(s, channels=tuple(replace(c, name="other") for c in s.channels))
        for s in run.streams
    )
    told = dict(rule_lines(replace(run, streams=elsewhere), {}))["Winding, hottest"]
    assert told == "40 \N{DEGREE SIGN}C; this stand does not measure it"


def test_kv_and_propeller_are_told(cut_runs: CutRuns) -> None:
    run = cut_runs.of("whole").run
    told = lines(run)
    assert told["Speed for each volt"] == "at most 4600 rpm, the motor's Kv"
    assert told["Propeller"] == "on: thrust is due with throttle"
    assert lines(with_rules(run, propeller_on=False))["Propeller"].startswith("off")


@pytest.mark.parametrize("rules", [None, 3, {}, {"bursts": "x"}])
def test_rules_that_cannot_be_read_are_none(cut_runs: CutRuns, rules: object) -> None:
    run = cut_runs.of("whole").run
    task = run.header["task"]
    assert isinstance(task, dict)
    other = replace(run, header={"task": task | {"rules": rules}})
    assert rules_of(other) is None
    assert rule_lines(other, {}) == ()
    assert timed_limits(other, {}) == []

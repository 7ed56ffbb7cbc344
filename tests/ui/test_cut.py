"""Where a run was cut, and up to when what it read is as good as any."""

from dataclasses import replace

import pytest

from daq.records.read import Decision, Run
from tests.ui.cut_runs import STRUCK_S, CutRuns
from ui.cut import DOUBT_S, SOUND, TOLD_EVERY_S, Cut, cut_of

DEVICE_S = 0.004  # the stand's own tick, and the way there
GUARDS_OWN = {"bounds", "follows", "frozen", "limit", "plausible", "stalled", "stuck"}


def into_walk_s(run: Run, cut: Cut) -> float:
    armed = next(run.notes("armed")).note["device_s"]
    assert isinstance(armed, float)
    return cut.at_s - armed


@pytest.mark.parametrize(
    ("name", "ended", "check", "noticed_s"),
    [
        ("stopped", "stopped", "stop", 0.0),
        ("loop", "tripped", "stop loop", 0.0),
        ("thrown", "tripped", "thrown", 0.02),
        ("stalled", "tripped", "limit", 0.01),
        ("cable", "tripped", "silence", 0.2),
        ("port", "failed", "link lost", 0.0),
    ],
)
def test_a_cut_is_when_somebody_acted(
    cut_runs: CutRuns, name: str, ended: str, check: str, noticed_s: float
) -> None:
    run = cut_runs.of(name).run
    cut = cut_of(run)
    assert cut is not None
    assert (cut.ended, cut.check) == (ended, check)
    late_s = into_walk_s(run, cut) - STRUCK_S
    assert late_s == pytest.approx(noticed_s, abs=2 * DEVICE_S)


def test_a_stand_that_cut_by_itself_is_the_one_that_says_when(
    cut_runs: CutRuns,
) -> None:
    run = cut_runs.of("loop").run
    cut = cut_of(run)
    told = [d.note["device_s"] for d in run.notes("told") if tripped(d)]
    assert cut is not None
    assert cut.at_s == told[-1]


def tripped(decision: Decision) -> bool:
    return decision.note["state"] == "TRIPPED"


def test_a_ramp_down_begins_with_its_trip_and_not_with_the_stop(
    cut_runs: CutRuns,
) -> None:
    run = cut_runs.of("burst").run
    cut = cut_of(run)
    stop_s = next(run.notes("stop")).note["device_s"]
    assert cut is not None
    assert isinstance(stop_s, float)
    assert 0.35 < stop_s - cut.at_s < 0.45


@pytest.mark.parametrize("name", ["whole", "no pulse", "no start"])
def test_a_run_that_was_walked_whole_or_not_at_all_was_not_cut(
    cut_runs: CutRuns, name: str
) -> None:
    assert cut_of(cut_runs.of(name).run) is None


def test_a_trip_whose_event_was_lost_came_before_the_counters_that_told_it(
    cut_runs: CutRuns,
) -> None:
    run = cut_runs.of("loop").run
    kept = tuple(d for d in run.decisions if d.note["note"] != "told")
    outcome = dict(run.outcome or {}) | {"check": "unknown"}
    cut = cut_of(replace(run, decisions=kept, outcome=outcome))
    stop_s = next(run.notes("stop")).note["device_s"]
    assert cut is not None
    assert isinstance(stop_s, float)
    assert cut.at_s == stop_s - TOLD_EVERY_S
    assert cut.sound_until_s == cut.at_s - DOUBT_S


@pytest.mark.parametrize("check", sorted(SOUND))
def test_a_trip_without_a_reading_in_it_leaves_the_readings_alone(check: str) -> None:
    assert Cut(10.0, "tripped", check).sound_until_s == 10.0


@pytest.mark.parametrize("check", [*sorted(GUARDS_OWN), "thrown", "unknown", ""])
def test_any_other_trip_puts_what_went_before_in_doubt(check: str) -> None:
    assert Cut(10.0, "tripped", check).sound_until_s == 10.0 - DOUBT_S
    assert Cut(10.0, "stopped", check).sound_until_s == 10.0


@pytest.mark.parametrize("moment", [None, "soon", True, float("nan")])
def test_a_moment_that_is_none_is_not_believed(
    cut_runs: CutRuns, moment: object
) -> None:
    run = cut_runs.of("stopped").run
    notes = [
        replace(d, note=dict(d.note) | {"device_s": moment})
        if d.note["note"] == "stop"
        else d
        for d in run.decisions
    ]
    cut = cut_of(replace(run, decisions=tuple(notes)))
    assert cut is not None
    assert cut.at_s == max(float(s.device_s.max()) for s in run.streams)
    assert cut_of(replace(run, decisions=tuple(notes), streams=())) is None

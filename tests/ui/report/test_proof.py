"""The proof on the page: what was seen to act, what was not, what could not be."""

from dataclasses import replace

import pytest

from tests.ui.cut_runs import CutRuns
from tests.ui.report.test_trip import without_speed
from ui.report.facts import ABNORMAL, DANGER, GOOD, NEUTRAL
from ui.report.proof import (
    EVENTS,
    GUARDS,
    PULSE,
    RUNNING,
    STOP_GUARD,
    TITLES,
    Part,
    proof_of,
)


def parts(cut_runs: CutRuns, name: str) -> list[Part]:
    return proof_of(cut_runs.of(name).run)


def test_a_proven_run_shows_each_guard_with_its_time(cut_runs: CutRuns) -> None:
    pulse, running = parts(cut_runs, "whole")
    assert (pulse.title, running.title) == (TITLES[PULSE], TITLES[RUNNING])
    assert pulse.mark == running.mark == GOOD
    assert pulse.verdict.startswith("Proven: 10 guards seen to act in 0.8 s")
    assert pulse.verdict.endswith("each by the pulse read back as gone.")
    assert running.verdict.endswith("s, by current and speed, which fell.")
    _, blind = proof_of(without_speed(cut_runs.of("whole").run))
    assert blind.verdict.endswith("s, by current, which fell.")
    took = {row.guard: row.took for row in pulse.rows}
    assert list(took) == [
        "Lease",
        "Damaged frames",
        "Stop",
        *(f"Limit on {name}" for name in ("thrust", "current", "voltage", "speed")),
        "Silence of thrust",
        "Latch",
        "Stop loop",
    ]
    assert took["Stop loop"] == "by hand"
    # A lease of 200 ms, renewed every 25 ms.
    assert 170 < float(took["Lease"].removesuffix(" ms")) < 210
    assert all(row.by for row in (*pulse.rows, *running.rows))


def test_every_guard_that_a_proof_exercises_has_words(cut_runs: CutRuns) -> None:
    run = cut_runs.of("whole").run
    exercised = {str(d.note["guard"]) for d in run.notes("proved")}
    # A stand that has no lease is shown to stop instead.
    assert exercised | {STOP_GUARD} == set(GUARDS)


def test_a_stand_that_cannot_show_a_pulse_is_told_with_what_it_lacks(
    cut_runs: CutRuns,
) -> None:
    pulse, events, running = parts(cut_runs, "blind")
    assert (pulse.mark, pulse.rows) == (NEUTRAL, ())
    assert pulse.verdict == (
        "This stand cannot do it: it can give no pulse with its supply off and read no "
        "pulse back. The guards were proven at zero throttle instead."
    )
    assert events.title == TITLES[EVENTS]
    assert events.mark == running.mark == GOOD
    assert events.verdict.endswith("each by its event, at zero throttle.")


def test_a_stand_without_a_pulse_channel_is_told_so(cut_runs: CutRuns) -> None:
    run = cut_runs.of("blind").run
    whole = cut_runs.of("whole").run.stand
    assert whole is not None
    channels = tuple(c for c in whole.channels if c.name not in ("pulse", "voltage"))
    (pulse, *_) = proof_of(replace(run, stand=replace(whole, channels=channels)))
    assert "it has no pulse channel and has no voltage channel." in pulse.verdict
    (pulse, *_) = proof_of(replace(run, stand=None))
    assert pulse.verdict.startswith("This stand cannot do it. The guards")


def test_a_guard_that_was_not_seen_to_act_is_a_danger_and_ends_it(
    cut_runs: CutRuns,
) -> None:
    pulse, running = parts(cut_runs, "no pulse")
    assert pulse.mark == DANGER
    assert pulse.verdict == (
        "NOT PROVEN: lease. The proof failed: a pulse was commanded and none was read "
        "back."
    )
    assert pulse.rows == ()
    assert (running.mark, running.verdict) == (
        NEUTRAL,
        "Not done: the run ended before.",
    )


def test_a_motor_that_does_not_start_leaves_what_was_proven_before(
    cut_runs: CutRuns,
) -> None:
    pulse, running = parts(cut_runs, "no start")
    assert pulse.mark == GOOD
    assert len(pulse.rows) == 10
    assert running.mark == DANGER
    assert running.verdict.startswith("NOT PROVEN: lease while running. ")


def test_a_part_that_something_else_ended_is_not_finished(cut_runs: CutRuns) -> None:
    run = cut_runs.of("no pulse").run
    outcome = dict(run.outcome or {}) | {"check": "stop", "ended": "stopped"}
    (pulse, _) = proof_of(replace(run, outcome=outcome))
    assert (pulse.mark, pulse.verdict) == (
        ABNORMAL,
        "Not finished: the run ended in it.",
    )


def test_a_run_without_a_proof_says_nothing(cut_runs: CutRuns) -> None:
    run = cut_runs.of("whole").run
    kept = tuple(d for d in run.decisions if "part" not in d.note)
    assert proof_of(replace(run, decisions=kept)) == []


@pytest.mark.parametrize("took_ms", [None, "soon", float("nan"), True])
def test_a_time_that_is_none_is_not_told_as_one(
    cut_runs: CutRuns, took_ms: object
) -> None:
    run = cut_runs.of("whole").run
    notes = [
        replace(d, note=dict(d.note) | {"took_ms": took_ms, "guard": "<b>"})
        if d.note["note"] == "proved"
        else d
        for d in run.decisions
    ]
    (pulse, _) = proof_of(replace(run, decisions=tuple(notes)))
    assert {row.took for row in pulse.rows} == {"by hand"}
    assert pulse.rows[0].guard == "<b>"

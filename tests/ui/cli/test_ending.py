"""What a person reads at a trip: the first line, the danger, and what comes last."""

import json
from collections.abc import Iterator

import pytest

from daq.link.columns.translation import BOARD
from tests.ui.cut_runs import SCENES, CutRuns
from ui.cli.ending import (
    Narrator,
    alarm,
    exit_status,
    tell_end,
    tell_findings,
    tell_last,
)
from ui.cli.main import main
from ui.cli.text import WIDTH
from ui.dangers import GONE, NOT_CONFIRMED, RUNS_ON, danger_in, danger_told
from ui.results import how_far

CUT = [name for name in SCENES if name not in ("whole", "repeated", "heat")]


def told(cut_runs: CutRuns, name: str) -> list[str]:
    """Everything that is told while it goes, line by line."""
    narrator = Narrator()
    lines = []
    for decision in cut_runs.of(name).run.decisions:
        words = narrator.words(decision.note)
        if words:
            lines += words.splitlines()
    return lines


def after_arming(lines: list[str]) -> Iterator[str]:
    begun = False
    for line in lines:
        if begun:
            yield line
        begun = begun or line.startswith("armed")


# ------------------------------------------------------------ while it goes


@pytest.mark.parametrize(
    ("name", "first"),
    [
        ("thrown", "TRIP       thrown: throttle to zero now"),
        ("cable", "TRIP       silence: throttle to zero now"),
        ("loop", "TRIP       stop loop: the stand cut"),
        ("silent", "TRIP       silence: the stand cut"),
        ("burst", "TRIP       burst: throttle on its way down to zero"),
        ("stopped", "stop       the stand says: zero, and latched"),
    ],
)
def test_the_first_line_says_what_acts_and_what_is_done(
    cut_runs: CutRuns, name: str, first: str
) -> None:
    assert next(after_arming(told(cut_runs, name))) == first


def test_a_trip_that_host_and_stand_both_saw_is_told_once(cut_runs: CutRuns) -> None:
    lines = list(after_arming(told(cut_runs, "stalled")))
    assert sum(line.startswith("TRIP") for line in lines) == 1


def test_a_cut_on_the_way_down_is_told_as_one_more(cut_runs: CutRuns) -> None:
    narrator = Narrator()
    down = {"note": "trip", "check": "burst", "action": "ramp down"}
    cut = {"note": "trip", "check": "silence", "action": "cut"}
    stop = {"note": "stop", "check": "burst", "ended": "tripped"}
    assert narrator.words(down) == "TRIP       burst: throttle on its way down to zero"
    assert narrator.words(cut) == "TRIP       silence too: throttle to zero now"
    assert narrator.words(stop) is None
    assert narrator.cut


@pytest.mark.parametrize(
    ("end", "words"),
    [
        ("floor", "down to its floor, after 29.20 min, at 10.04 V"),
        ("spent", "the highest throttle no longer gives the thrust, after"),
        ("not reached", "the highest throttle never gave the thrust, after"),
        ("longest", "for as long as the plan allows, after"),
    ],
)
def test_how_a_hold_ended_is_told(end: str, words: str) -> None:
    note = {"note": "held", "end": end, "lasted_s": 1752.0, "voltage_v": 10.04}
    assert words in str(Narrator().words(note))


def test_of_a_stand_that_prints_lines_no_lease_is_told_as_proven() -> None:
    narrator = Narrator()
    narrator.words({"note": "identified", "board": BOARD, "channels": ["thrust"]})
    by = {"by": "this program"}  # as a spin on such a stand notes it
    proof = {"note": "proof", "part": "c", "how": "supply on", **by}
    proved = {"note": "proved", "guard": "lease while running", "took_ms": 340.0, **by}
    assert narrator.words(proof) == "proof      its stop: supply on"
    told = narrator.words({**proved, "seen": "current and speed fell"})
    assert told == f"{'':<11}stop, motor running     340 ms  current fell"


def test_a_speed_that_nobody_saw_is_not_said_to_have_fallen() -> None:
    narrator = Narrator()
    rest: dict[str, object] = {"note": "looked on", "stopped": True}
    known: dict[str, object] = {"note": "identified", "board": BOARD}
    narrator.words({**known, "channels": ["thrust", "current"]})
    assert narrator.words(rest) == "motor      stands still, by its current"
    narrator.words({**known, "channels": ["thrust", "current", "speed"]})
    assert narrator.words(rest) == "motor      stands still, by its current and speed"


def test_then_comes_what_the_stand_says_and_what_the_motor_does(
    cut_runs: CutRuns,
) -> None:
    lines = list(after_arming(told(cut_runs, "thrown")))[1:]
    assert lines == [
        "stop       the stand says: zero, and latched",
        "motor      stands still, by its current and speed",
    ]
    assert list(after_arming(told(cut_runs, "cable")))[1:] == []
    narrator = Narrator()
    unseen = narrator.words({"note": "looked on", "stopped": None})
    assert unseen == "motor      nobody saw whether it came to rest: look first"


def test_a_motor_that_runs_on_is_an_alarm_the_moment_it_is_seen(
    cut_runs: CutRuns,
) -> None:
    notes = [d.note for d in cut_runs.of("runs on").run.decisions]
    alarms = [danger_told(note) for note in notes if danger_told(note)]
    assert alarms == [RUNS_ON]
    kinds = [
        note["note"] for note in notes if danger_told(note) or note["note"] == "outcome"
    ]
    assert kinds == ["still driven", "outcome"]
    assert not any("stands still" in line for line in told(cut_runs, "runs on"))


@pytest.mark.parametrize(
    ("name", "guard"), [("no pulse", "lease"), ("no start", "lease while running")]
)
def test_a_guard_that_was_not_proven_is_named_in_the_first_line(
    cut_runs: CutRuns, name: str, guard: str
) -> None:
    lines = told(cut_runs, name)
    assert f"NOT PROVEN {guard}" in lines
    assert not any(line.startswith(("TRIP", "STOP", "armed")) for line in lines)


def test_another_failure_is_a_stop(cut_runs: CutRuns) -> None:
    failed = {"note": "stop", "check": "record", "ended": "failed"}
    assert Narrator().words(failed) == "STOP       record: throttle to zero now"
    # Nothing can be said any more over a port that is gone.
    assert list(after_arming(told(cut_runs, "port"))) == []


def test_each_guard_of_the_proof_has_a_line_of_its_own(cut_runs: CutRuns) -> None:
    lines = told(cut_runs, "whole")
    begin = lines.index("proof      part a: supply off, a real pulse read back")
    damaged = "           damaged frames          198 ms  pulse read back as gone"
    assert lines[begin + 2] == damaged
    assert any(line.startswith(f"{'':<11}limit on voltage ") for line in lines)
    assert any("lease, motor running" in line for line in lines)
    assert any("stop loop" in line and "by hand" in line for line in lines)


@pytest.mark.parametrize("name", list(SCENES))
def test_nothing_is_wider_than_the_terminal(
    cut_runs: CutRuns, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    results = cut_runs.of(name)
    outcome = results.outcome
    narrator = Narrator()
    for decision in results.run.decisions:
        print(narrator.words(decision.note) or "")
    clears = narrator.clears(str(outcome["check"]))
    tell_end(outcome, results.run.folder, how_far(results.run), clears)
    tell_last(outcome)
    said = capsys.readouterr()
    for line in (said.out + said.err).splitlines():
        assert len(line) <= WIDTH or str(results.run.folder) in line


# ------------------------------------------------------------------ the end


@pytest.mark.parametrize(
    ("name", "danger"),
    [
        ("cable", NOT_CONFIRMED),
        ("port", NOT_CONFIRMED),
        ("runs on", RUNS_ON),
        ("turns", RUNS_ON),
        ("thrown", ""),
        ("stopped", ""),
        ("no pulse", ""),
        ("whole", ""),
    ],
)
def test_what_is_dangerous_is_said_first_and_last(
    cut_runs: CutRuns, name: str, danger: str, capsys: pytest.CaptureFixture[str]
) -> None:
    results = cut_runs.of(name)
    assert danger_in(results.outcome) == danger
    tell_end(results.outcome, results.run.folder)
    tell_last(results.outcome)
    said = capsys.readouterr()
    lines = said.out.splitlines()
    assert lines[0].startswith("DANGER") == bool(danger)
    if danger:
        assert danger in " ".join(" ".join(said.out.split()).split())
        assert danger in " ".join(said.err.replace("!!", "").split())
        assert said.err.startswith("!" * WIDTH)
    else:
        assert said.err == ""


def test_a_keeper_that_is_gone_is_dangerous(
    cut_runs: CutRuns, capsys: pytest.CaptureFixture[str]
) -> None:
    assert danger_in({}) == GONE
    assert "CUT THE POWER" in GONE
    tell_end({}, cut_runs.of("whole").run.folder)
    out = capsys.readouterr().out
    assert out.startswith("DANGER     The keeper is gone without a word.")
    assert "what was recorded is kept" in out


@pytest.mark.parametrize("confirmed", [False, None, "yes", 1])
def test_a_stop_that_is_not_known_to_be_confirmed_is_not(confirmed: object) -> None:
    outcome = {"ended": "stopped", "cause": "x", "stop_confirmed": confirmed}
    assert danger_in(outcome) == NOT_CONFIRMED


def test_a_tripped_run_says_why_what_to_look_at_what_clears_it_and_how_far(
    cut_runs: CutRuns, capsys: pytest.CaptureFixture[str]
) -> None:
    results = cut_runs.of("thrown")
    narrator = Narrator()
    for decision in results.run.decisions:
        narrator.words(decision.note)
    clears = narrator.clears("thrown")
    tell_end(results.outcome, results.run.folder, how_far(results.run), clears)
    tell_last(results.outcome)
    out = capsys.readouterr().out
    flat = " ".join(out.split())
    labels = [line.split()[0] for line in out.splitlines() if line[0] != " "]
    assert labels == ["TRIPPED", "advice", "clears", "data", "how", "record", "TRIPPED"]
    assert "as if the propeller had come off." in flat
    assert "clears when the motor stands still, and you acknowledge it at the" in flat
    assert "how far The plan was walked for 5.9 of 8.8 s: 1 of 2 dwells" in flat
    assert out.splitlines()[-1] == "TRIPPED    thrown; why stands above"


@pytest.mark.parametrize(
    ("check", "clears"),
    [
        ("stop loop", "the stop loop is closed"),
        ("stop", "its cause is removed"),
        ("unknown", "its cause is removed"),
    ],
)
def test_what_clears_a_trip_that_no_guard_of_ours_saw(check: str, clears: str) -> None:
    assert Narrator().clears(check) == clears


@pytest.mark.parametrize(
    ("ended", "status"),
    [("completed", 0), ("tripped", 3), ("stopped", 1), ("failed", 1), (None, 1)],
)
def test_the_exit_status_tells_a_trip_from_the_rest(ended: object, status: int) -> None:
    assert exit_status({"ended": ended}) == status


def test_an_alarm_is_framed_and_goes_where_a_person_looks(
    capsys: pytest.CaptureFixture[str],
) -> None:
    alarm("CUT THE POWER. " * 12)
    said = capsys.readouterr()
    assert said.out == ""
    lines = said.err.splitlines()
    assert {len(line) for line in lines} == {WIDTH}
    assert lines[0] == lines[-1] == "!" * WIDTH
    assert all(line.startswith("!! ") and line.endswith(" !!") for line in lines[1:-1])
    assert "\x1b" not in said.err  # no terminal, no colour


def test_what_was_said_already_is_not_said_again_with_the_findings(
    cut_runs: CutRuns, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = cut_runs.folder("stopped")
    told = how_far(cut_runs.of("stopped").run)
    tell_findings(folder, told)
    flat = " ".join(capsys.readouterr().out.split())
    assert told[0] not in flat
    assert "Thrust at 60 % throttle" in flat


def test_a_run_that_never_walked_has_a_page_and_no_findings(
    cut_runs: CutRuns, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = cut_runs.folder("no pulse")
    tell_findings(folder)
    (line,) = capsys.readouterr().out.splitlines()
    assert line.startswith("report ")
    page = folder / "derived" / "nominal" / "report.html"
    assert "NOT PROVEN: lease" in page.read_text(encoding="utf-8")


# ------------------------------------------------------------- gramwatt findings


@pytest.mark.parametrize("name", CUT)
def test_findings_of_a_cut_run_say_how_it_ended_and_how_far_it_came(
    cut_runs: CutRuns, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    results = cut_runs.of(name)
    main(["findings", str(results.run.folder)])
    out = capsys.readouterr().out
    flat = " ".join(out.split())
    cause = str(results.outcome["cause"])
    assert f"{results.outcome['ended']} {cause[0].upper()}{cause[1:]}" in flat
    for words in how_far(results.run):
        assert words in flat
    assert ("stop not confirmed by the stand" in flat) == (
        danger_in(results.outcome) == NOT_CONFIRMED
    )
    runs_on = name in ("runs on", "turns")
    assert ("stop the motor ran on after it" in flat) == runs_on
    assert max(len(line) for line in out.splitlines()) <= WIDTH


def test_cautions_do_not_repeat_what_the_notes_have_said(
    cut_runs: CutRuns, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["findings", str(cut_runs.folder("whole"))])
    out = capsys.readouterr().out
    assert out.count("Simulated: no hardware") == 1
    assert out.count("nominal, not calibrated") == 1
    assert "caution " in out


def test_findings_in_json_say_how_far(
    cut_runs: CutRuns, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["findings", str(cut_runs.folder("stopped")), "--json"])
    said = json.loads(capsys.readouterr().out)
    assert said["how_far"] == how_far(cut_runs.of("stopped").run)
    assert said["outcome"]["ended"] == "stopped"
    main(["findings", str(cut_runs.folder("whole")), "--json"])
    assert json.loads(capsys.readouterr().out)["how_far"] == []

"""A run without a terminal: a line for each part that is walked for its data."""

import pytest

from daq.records.wirelog import Kind, Record, to_json
from protocols.goal import Goal
from protocols.plan import Plan, Segment
from protocols.task import Task
from tests.spins import LIMITS, NONCE, spin
from ui.cli.progress import Progress
from ui.live import LiveRun

EVERY_KIND = Plan(
    "every-kind",
    "Warm-up, dwell, glide and burst",
    (
        Segment("rest", "rest", -1, 0.0, 0.0, 1.0),
        Segment("ramp", "warm", 0, 0.0, 0.3, 0.3),
        Segment("warm", "warm", 0, 0.3, 0.3, 0.5),
        Segment("settle", "up", 0, 0.3, 0.3, 0.3),
        Segment("dwell", "up", 0, 0.3, 0.3, 0.5),
        Segment("glide", "up", 1, 0.3, 0.35, 0.6),
        Segment("punch", "up", 2, 0.35, 0.5, 0.1),
        Segment("burst", "up", 2, 0.5, 0.5, 0.3),
        Segment("ramp", "rest", -1, 0.5, 0.0, 0.5),
        Segment("rest", "rest", -1, 0.0, 0.0, 1.0),
    ),
)


def test_every_part_but_the_way_there_is_told_in_a_line_of_eighty_columns(
    capsys: pytest.CaptureFixture[str],
) -> None:
    run = spin(Task(EVERY_KIND, LIMITS, NONCE))
    run.run()
    live, progress = LiveRun(EVERY_KIND), Progress(LIMITS)
    for record in run.records:
        live.take(record)
        for note in live.taken_notes():
            if note["note"] == "segment":
                progress.segment(note, live)
    lines = capsys.readouterr().out.splitlines()
    kinds = [line.split()[0] for line in lines]
    assert kinds == ["rest", "warm", "dwell", "glide", "burst", "rest"]
    assert all(len(line) < 80 for line in lines)
    assert "30 %" in lines[2]
    assert "of 12 A" in lines[2]
    assert "floor 9.9" in lines[2]


def test_a_cut_ends_throttle_and_time_on_the_line() -> None:
    run = spin()
    run.at_walk(3.0, lambda r: r.order(order="stop"))
    run.run()
    live = LiveRun(run.control.task.plan)
    before = 0.0
    for record in run.records:
        live.take(record)
        before = max(before, live.throttle_frac)
    assert before == 0.3
    assert live.throttle_frac == 0.0
    assert live.elapsed_s == pytest.approx(3.0, abs=0.01)
    assert live.extent is not None
    assert live.extent.words().startswith("The plan was walked for 3.0 of")
    assert live.tried
    fresh = LiveRun(run.control.task.plan)
    assert fresh.extent is None
    assert not fresh.tried


def held_live() -> LiveRun:
    """A hold that has come to 32 %, and later ends."""
    goal = Goal(0.44, 0.15, 0.75, 10.05)
    rest = Segment("rest", "rest", -1, 0.0, 0.0, 5.0)
    live = LiveRun(
        Plan(
            "held",
            "Held",
            (
                rest,
                Segment("ramp", "hold", 0, 0.0, 0.25, 0.5),
                Segment("hold", "hold", 0, 0.25, 0.75, 600.0, goal),
                Segment("ramp", "rest", -1, 0.75, 0.0, 1.0),
                rest,
            ),
        )
    )
    told(live, 100.0, note="armed")
    told(live, 105.5, note="segment", index=2, kind="hold")
    told(live, 165.5, note="holding", throttle_frac=0.32, thrust_n=0.44)
    return live


def told(live: LiveRun, now_s: float, **note: object) -> None:
    live.take(Record(Kind.NOTE, round(1e9 * now_s), to_json(note)))


def test_of_a_hold_it_says_what_ends_it(capsys: pytest.CaptureFixture[str]) -> None:
    live = held_live()
    line = Progress(()).line(live)
    assert line.startswith("until 10.05 V or 9.0 min")
    assert " 32 %" in line
    progress = Progress(())
    progress.holding(live)
    progress.holding(live)
    assert len(capsys.readouterr().out.splitlines()) == 1  # one a minute


def test_after_a_hold_the_time_left_is_known_again() -> None:
    live = held_live()
    assert " at most" not in live.left_words()
    told(live, 205.5, note="held", throttle_frac=0.36, end="floor")
    told(live, 205.5, note="segment", index=3, kind="ramp")
    assert live.left_s == pytest.approx(6.0)
    assert live.throttle_frac == pytest.approx(0.36)
    told(live, 206.0, note="told", state="SPINNING")
    assert live.throttle_frac == pytest.approx(0.18)
    assert not live.open_ended
    assert "at most" not in live.left_words()
    assert live.whole_s == pytest.approx(5.5 + 100.0 + 6.0)

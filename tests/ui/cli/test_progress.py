"""A run without a terminal: a line for each part that is walked for its data."""

import pytest

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

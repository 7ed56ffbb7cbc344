"""A live run from its record: the same values as the run has when it is read."""

import math

import pytest

from daq.link.messages import State
from tests.spins import spin
from ui.live import LiveRun


def test_a_live_run_follows_the_record() -> None:
    run = spin()
    run.run()
    live = LiveRun(run.control.task.plan)
    assert math.isnan(live.began_s)
    assert live.throttle_frac == 0.0
    top = 0.0
    seen: list[str] = []
    for record in run.records:
        live.take(record)
        seen += [str(note["note"]) for note in live.taken_notes()]
        top = max(top, live.readings.get("thrust", 0.0))
        assert 0.0 <= live.throttle_frac <= 0.6
        assert 0.0 <= live.left_s <= live.plan.duration_s
    assert seen.index("identified") < seen.index("zeroed") < seen.index("armed")
    assert 1.0 < top < 1.7  # newtons at 60 %, zeroed: the cell rests at 1.17 N
    assert live.readings["current"] == pytest.approx(0.0, abs=0.05)
    assert live.state is State.LOCKED
    assert live.outcome is not None
    assert live.outcome["ended"] == "completed"


def test_readings_are_not_zeroed_before_there_is_a_zero() -> None:
    run = spin()
    run.run(until_s=1.0)
    live = LiveRun(run.control.task.plan)
    for record in run.records:
        live.take(record)
    assert live.readings["thrust"] == pytest.approx(1.17, abs=0.05)
    assert live.taken_notes()
    assert not live.taken_notes()

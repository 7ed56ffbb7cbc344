"""The runner: segments in order, setpoints as planned, zero at the end."""

import pytest

from protocols.runner import Runner
from tests.spins import plan


def test_every_segment_is_entered_once_and_in_order() -> None:
    walk = Runner(plan(), 100.0)
    seen = []
    now_s = 100.0
    while not walk.finished(now_s):
        seen += [index for index, _ in walk.entered(now_s)]
        now_s += 0.013
    seen += [index for index, _ in walk.entered(now_s)]
    assert seen == list(range(len(plan().segments)))


def test_segments_that_a_freeze_skipped_are_still_told() -> None:
    walk = Runner(plan(), 0.0)
    walk.entered(0.0)
    assert [i for i, _ in walk.entered(1e9)] == list(range(1, len(plan().segments)))


def test_the_setpoint_is_the_plans_and_zero_after_it() -> None:
    walk = Runner(plan(), 50.0)
    assert walk.setpoint(50.0) == 0.0
    assert walk.setpoint(50.0 + 2.0 + 0.3 + 0.1) == 0.3
    assert walk.setpoint(50.0 + plan().duration_s) == 0.0
    assert walk.setpoint(1e9) == 0.0
    assert walk.setpoint(49.0) == 0.0


def test_the_next_change_is_the_next_segments_start() -> None:
    walk = Runner(plan(), 10.0)
    walk.entered(10.0)
    assert walk.next_change_s == pytest.approx(12.0)
    walk.entered(1e9)
    assert walk.next_change_s == pytest.approx(10.0 + plan().duration_s)


def test_it_is_finished_at_the_very_end_of_its_plan_and_not_before() -> None:
    walk = Runner(plan(), 0.0)
    end_s = plan().duration_s
    assert not walk.finished(end_s - 1e-6)
    assert walk.finished(end_s)

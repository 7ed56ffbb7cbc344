"""The runner: segments in order, setpoints as planned, zero at the end."""

import math
from itertools import pairwise

import pytest

from protocols.goal import Goal
from protocols.holding import End
from protocols.plan import Plan, Segment
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


def held_plan(longest_s: float = 60.0) -> Plan:
    """Rest, up, a hold, down, rest."""
    goal = Goal(0.6, 0.15, 0.8, 10.0)
    return Plan(
        "held",
        "A thrust held",
        (
            Segment("rest", "rest", -1, 0.0, 0.0, 2.0),
            Segment("ramp", "hold", 0, 0.0, 0.25, 0.5),
            Segment("hold", "hold", 0, 0.25, 0.8, longest_s, goal),
            Segment("ramp", "rest", -1, 0.8, 0.0, 2.0),
            Segment("rest", "rest", -1, 0.0, 0.0, 3.0),
        ),
    )


def walk_held(
    walk: Runner, thrust_n: float, until_s: float, floor_s: float
) -> list[tuple[float, float]]:
    """Times and setpoints; the voltage falls to the floor at that time."""
    now_s, seen = 0.0, []
    while now_s < until_s and not walk.finished(now_s):
        now_s += 0.02
        walk.reading("voltage", 11.0 if now_s < floor_s else 9.9, now_s)
        walk.reading("thrust", thrust_n, now_s)
        walk.entered(now_s)
        seen.append((now_s, walk.setpoint(now_s)))
    return seen


def test_a_hold_ends_at_its_floor_and_the_plan_goes_on_from_there() -> None:
    walk = Runner(held_plan(), 0.0)
    seen = walk_held(walk, 0.55, 100.0, floor_s=20.0)
    held = walk.held()
    assert held is not None
    assert held.end is End.FLOOR
    assert 0.25 < held.throttle_frac < 0.8
    end_s = 2.5 + held.lasted_s
    assert 20.0 < end_s < 20.7
    after = [(now_s, frac) for now_s, frac in seen if now_s > end_s + 0.02]
    assert max(frac for _, frac in after) <= held.throttle_frac
    assert [frac for _, frac in after] == sorted((f for _, f in after), reverse=True)
    # Down in as much time as planned from the highest throttle, then the rest.
    assert seen[-1][0] == pytest.approx(end_s + 2.0 + 3.0, abs=0.05)
    assert walk.held() is None


def test_a_hold_lasts_no_longer_than_it_may() -> None:
    walk = Runner(held_plan(longest_s=30.0), 0.0)
    walk_held(walk, 0.6, 100.0, floor_s=math.inf)
    held = walk.held()
    assert held is not None
    assert held.end is End.LONGEST
    assert held.lasted_s == pytest.approx(30.0, abs=0.03)


def test_no_jump_anywhere_in_a_hold_and_after_it() -> None:
    walk = Runner(held_plan(), 0.0)
    seen = walk_held(walk, 0.4, 100.0, floor_s=33.0)
    steps = [abs(b - a) for (_, a), (_, b) in pairwise(seen)]
    assert max(steps) <= 0.5 * 0.02 + 1e-9  # the ramp up


def test_a_freeze_over_a_hold_never_gives_the_planned_highest() -> None:
    walk = Runner(held_plan(), 0.0)
    walk.entered(1.0)
    assert walk.setpoint(62.5 + 0.1) == 0.25  # as if in the ramp down
    walk.entered(62.6)
    assert walk.setpoint(62.6) == 0.25
    walk.entered(1e6)
    assert walk.setpoint(1e6) <= 0.25

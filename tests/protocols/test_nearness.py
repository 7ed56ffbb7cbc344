"""How near a plan comes to limits, ratings for seconds and budgets."""

import json
import math

import numpy as np
import pytest

from protocols.dry_run import walk_on_paper
from protocols.estimate import Drive, drive_of, operating_point
from protocols.guard.burst import BurstCheck
from protocols.limits import Limit, derive
from protocols.nearness import Budget, nearest_to_each, uses_of
from protocols.plan import Plan, Segment
from protocols.preview import preview
from protocols.ratings import ratings_of
from protocols.recipe import catalogue_names, expand, load_recipe
from protocols.rules import Burst, Rules, derive_rules
from tests.protocols.articles import article

REST = Segment("rest", "rest", -1, 0.0, 0.0, 2.0)


def resistor(ohm: float) -> Drive:
    """A motor that cannot turn: current is throttle squared times 10 V over ohm."""
    return Drive(
        torque_constant_v_s=1e-3,
        resistance_ohm=ohm,
        no_load_current_a=1e9,
        load_nm_s2=0.0,
        source_v=10.0,
        source_ohm=0.0,
    )


def held(*levels: tuple[float, float]) -> Plan:
    """Throttle held so high for so long, one after the other, fast ramps between."""
    segments: list[Segment] = [REST]
    at_frac = 0.0
    for step, (level_frac, duration_s) in enumerate(levels):
        moved_s = abs(level_frac - at_frac) / 10
        segments += [
            Segment("punch", "up", step, at_frac, level_frac, moved_s),
            Segment("burst", "up", step, level_frac, level_frac, duration_s),
        ]
        at_frac = level_frac
    return Plan(
        "held",
        "Held",
        (*segments, Segment("punch", "rest", -1, at_frac, 0.0, at_frac / 10), REST),
    )


def share_of(burst: Burst, plan: Plan, drive: Drive) -> tuple[float, float]:
    rows = walk_on_paper(plan, drive, article())
    (use,) = uses_of(rows, Rules(bursts=(burst,)), drive)
    return use.share, use.at_s


def test_a_part_at_its_rating_for_seconds_uses_just_that_up() -> None:
    # The rating itself: 10 A for 4 s where 5 A may be held for ever.
    drive = resistor(1.0)  # 10 A at full throttle
    burst = Burst("plug", 5.0, 10.0, 4.0, "test")
    share, at_s = share_of(burst, held((1.0, 4.0)), drive)
    # The ramps of 0.1 s are above 5 A for a little too.
    assert share == pytest.approx(1.0, abs=0.02)
    assert at_s == pytest.approx(2 + 0.1 + 4, abs=0.1)


def test_twice_the_square_above_continuous_uses_it_up_in_half_the_time() -> None:
    drive = resistor(1.0)
    # (10^2 - 5^2) 2 s is what (5^2 + 37.5 - 5^2) 4 s is.
    burst = Burst("plug", 5.0, math.sqrt(62.5), 4.0, "test")
    share, _ = share_of(burst, held((1.0, 2.0)), drive)
    assert share == pytest.approx(1.0, abs=0.04)


def test_below_the_continuous_current_the_count_runs_down_but_never_below_zero() -> (
    None
):
    drive = resistor(1.0)
    burst = Burst("plug", 5.0, 10.0, 4.0, "test")
    once, _ = share_of(burst, held((1.0, 2.0)), drive)
    rested, _ = share_of(burst, held((1.0, 2.0), (0.1, 20.0), (1.0, 2.0)), drive)
    close, _ = share_of(burst, held((1.0, 2.0), (0.7, 0.5), (1.0, 2.0)), drive)
    assert rested == pytest.approx(once, abs=0.01)
    assert once < close < 2 * once + 0.01


def test_a_part_that_is_never_loaded_beyond_its_rating_uses_nothing() -> None:
    drive = resistor(1.0)
    burst = Burst("plug", 12.0, 20.0, 4.0, "test")
    assert share_of(burst, held((1.0, 60.0)), drive) == (0.0, 0.0)


@pytest.mark.parametrize("name", catalogue_names())
def test_the_guard_counts_the_same_when_it_reads_what_was_expected(name: str) -> None:
    quad = article(plug__rated_a=4.0, plug__short_a=14.0, plug__short_s=6.0)
    plan = expand(load_recipe(name), quad)
    rules = derive_rules(ratings_of(quad), ("plug",))
    seen = preview(plan, quad, derive(ratings_of(quad), ("current", "speed")), rules)
    (use,) = seen.uses
    drive = drive_of(quad, propeller_off=plan.propeller_off)
    check = BurstCheck(use.burst)
    most = 0.0
    for now_s in np.arange(0.0, plan.duration_s, 0.005):
        throttle_frac = plan.setpoint_at(float(now_s))
        check.current(operating_point(drive, throttle_frac).current_a, float(now_s))
        most = max(most, check.used_share)
    assert use.share == pytest.approx(most, rel=0.01, abs=0.001)


def test_every_limit_that_can_be_foreseen_has_a_place_and_a_share() -> None:
    quad = article()
    limits = derive(
        ratings_of(quad, load_cell_range_n=9.8),
        ("current", "voltage", "speed", "thrust"),
    )
    seen = preview(expand(load_recipe("short-staircase")), quad, limits)
    assert [near.channel for near in seen.approaches] == [x.channel for x in limits]
    assert {near.throttle_frac for near in seen.approaches} == {0.95}
    assert seen.unforeseen == ()
    assert seen.nearest == max(seen.approaches, key=lambda near: near.share)


def test_a_limit_that_nobody_can_foresee_is_named_and_gets_no_share() -> None:
    quad = article("propeller__thrust_coefficient")
    limits = derive(ratings_of(quad, load_cell_range_n=9.8), ("current", "thrust"))
    seen = preview(expand(load_recipe("glide")), quad, limits)
    assert seen.unforeseen == ("thrust",)
    assert [near.channel for near in seen.approaches] == ["current"]


def test_without_a_propeller_thrust_is_foreseen_as_none() -> None:
    quad = article("propeller__thrust_coefficient")
    plan = expand(load_recipe("idle-spin"))
    limits = derive(
        ratings_of(quad, load_cell_range_n=9.8), ("current", "thrust", "speed")
    )
    near = {x.channel: x for x in preview(plan, quad, limits).approaches}
    assert near["thrust"].share == 0.0


def test_of_equal_places_the_first_is_told() -> None:
    drive = resistor(1.0)
    rows = walk_on_paper(held((0.5, 1.0), (0.2, 1.0), (0.5, 1.0)), drive, article())
    (near,) = nearest_to_each(rows, [Limit("current", -1.0, 5.0, 1, 0.1, "x")], drive)
    assert near.at_s == pytest.approx(2.05)


def test_charge_and_energy_are_held_against_what_may_be_taken() -> None:
    seen = preview(expand(load_recipe("staircase")), article())
    charge, energy = seen.budgets
    # 80 % of 450 mAh; energy by 3.7 V a cell.
    assert charge.allowed == pytest.approx(0.8 * 0.45 * 3600)
    assert energy.allowed == pytest.approx(0.8 * 0.45 * 3600 * 3 * 3.7)
    assert charge.share == pytest.approx(seen.charge_c / (0.8 * 1620))
    assert energy.expected == seen.energy_j


def test_a_supply_has_no_budget_and_no_share() -> None:
    assert Budget("charge", 100.0, None).share is None
    fed = article("pack", supply={"voltage_v": 12.0, "current_limit_a": 14.0})
    seen = preview(expand(load_recipe("staircase")), fed)
    assert [budget.share for budget in seen.budgets] == [None, None]
    json.dumps(seen.to_dict(), allow_nan=False)

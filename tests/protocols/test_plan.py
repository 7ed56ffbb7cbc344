import json
import math
import subprocess
import sys
from dataclasses import FrozenInstanceError, replace
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputFault
from protocols.goal import Goal
from protocols.plan import Kind, Leg, Plan, Segment
from protocols.recipe import expand
from protocols.staircase import Staircase

REST = Segment("rest", "rest", -1, 0.0, 0.0, 2.0)
HELD = (
    Segment("ramp", "up", 0, 0.0, 0.5, 1.0),
    Segment("settle", "up", 0, 0.5, 0.5, 0.5),
    Segment("dwell", "up", 0, 0.5, 0.5, 1.5),
    Segment("ramp", "rest", -1, 0.5, 0.0, 1.0),
)
# Where a kind other than a hold of a level belongs.
PLACES: dict[str, tuple[Leg, int]] = {
    "rest": ("rest", -1),
    "warm": ("warm", 0),
    "soak": ("soak", 0),
    "hold": ("hold", 0),
}
GOAL = Goal(0.4, 0.2, 0.8, 10.0)
PLAN = Plan("one-level", "One level", (REST, *HELD, REST))

levels = st.lists(
    st.integers(min_value=1, max_value=100), min_size=1, max_size=12, unique=True
).map(sorted)


@st.composite
def recipes(draw: st.DrawFn) -> Staircase:
    def seconds(low: float, high: float) -> float:
        return draw(st.floats(low, high))

    up_and_down = draw(st.booleans())
    rest_s = {"before": seconds(2, 25), "after": seconds(2, 25)}
    if up_and_down:
        rest_s["between"] = seconds(2, 25)
    return Staircase.model_validate(
        {
            "format": 1,
            "name": "drawn",
            "title": "Drawn at random",
            "why": "to try every shape",
            "kind": "staircase",
            "levels_percent": [float(level) for level in draw(levels)],
            "up_and_down": up_and_down,
            "ramp_percent_per_s": seconds(1, 200),
            "settle_s": seconds(0.1, 60),
            "dwell_s": seconds(0.2, 300),
            "lease_ms": draw(st.integers(50, 500)),
            "rest_s": rest_s,
        }
    )


def bare(**changes: Any) -> Plan:
    """A plan without a propeller, within its bounds unless changed."""
    segments = (
        REST,
        Segment("ramp", "up", 0, 0.0, 0.3, 1.0),
        Segment("dwell", "up", 0, 0.3, 0.3, 1.0),
        Segment("ramp", "rest", -1, 0.3, 0.0, 1.0),
        REST,
    )
    given: dict[str, Any] = {"propeller_off": True, "speed_cap_rad_s": 3000.0}
    return Plan("bare", "Propeller off", segments, **(given | changes))


@given(recipes())
def test_an_expanded_recipe_survives_its_trip_through_json(recipe: Staircase) -> None:
    plan = expand(recipe)
    assert Plan.from_dict(json.loads(json.dumps(plan.to_dict()))) == plan


@given(recipes(), st.floats(allow_nan=True, allow_infinity=True))
def test_a_setpoint_never_leaves_the_levels_asked_for(
    recipe: Staircase, elapsed_s: float
) -> None:
    setpoint_frac = expand(recipe).setpoint_at(elapsed_s)
    assert 0 <= setpoint_frac <= max(recipe.levels_percent) / 100


@given(recipes(), st.floats(-0.1, 1.1), st.floats(-0.1, 1.1))
def test_throttle_never_moves_faster_than_the_ramp(
    recipe: Staircase, one: float, other: float
) -> None:
    plan = expand(recipe)
    first_s, second_s = sorted((one * plan.duration_s, other * plan.duration_s))
    moved_frac = abs(plan.setpoint_at(second_s) - plan.setpoint_at(first_s))
    allowed = recipe.ramp_percent_per_s / 100 * (second_s - first_s)
    assert moved_frac <= allowed + 1e-9


@given(recipes(), st.floats(0, 1))
def test_a_lookup_agrees_with_walking_the_segments_one_by_one(
    recipe: Staircase, share: float
) -> None:
    plan = expand(recipe)
    elapsed_s = share * plan.duration_s
    index, segment, into_s = plan.segment_at(elapsed_s)
    before_s = math.fsum(other.duration_s for other in plan.segments[:index])
    assert plan.segments[index] is segment
    assert before_s + into_s == pytest.approx(elapsed_s, abs=1e-6)
    assert -1e-9 <= into_s <= segment.duration_s + 1e-9


def test_a_ramp_is_a_straight_line_and_a_dwell_is_exactly_flat() -> None:
    assert PLAN.duration_s == 8.0
    assert PLAN.setpoint_at(2.5) == pytest.approx(0.25)
    assert {PLAN.setpoint_at(3 + 0.1 * tick) for tick in range(20)} == {0.5}


@given(st.integers(1, 10_000), st.integers(1, 10_000), st.floats(0, 1))
def test_rounding_carries_no_setpoint_past_the_ends_of_its_segment(
    start: int, end: int, share: float
) -> None:
    start_frac, end_frac = start / 10_000, end / 10_000
    ramp = Segment("ramp", "up", 0, start_frac, end_frac, 1.0)
    held = Segment("dwell", "up", 0, end_frac, end_frac, 1.0)
    low_frac, high_frac = sorted((start_frac, end_frac))
    assert low_frac <= ramp.setpoint_at(share) <= high_frac
    assert (ramp.setpoint_at(0.0), ramp.setpoint_at(1.0)) == (start_frac, end_frac)
    assert held.setpoint_at(share) == end_frac


def test_a_boundary_belongs_to_the_segment_that_follows() -> None:
    assert PLAN.segment_at(2.0) == (1, HELD[0], 0.0)
    assert PLAN.segment_at(3.5) == (3, HELD[2], 0.0)


def test_throttle_is_zero_before_and_at_and_beyond_the_end() -> None:
    cut_short = Plan("x", "x", (REST, *HELD))
    for elapsed_s in (-1.0, 6.0, 7.0, math.inf, -math.inf, math.nan):
        assert cut_short.setpoint_at(elapsed_s) == 0.0


def test_the_segment_before_the_start_is_the_first_and_beyond_the_end_the_last() -> (
    None
):
    assert PLAN.segment_at(-5.0) == (0, REST, 0.0)
    assert PLAN.segment_at(math.inf) == (5, REST, 2.0)


def test_a_time_that_is_not_a_number_is_no_place_in_the_plan() -> None:
    with pytest.raises(ValueError, match="not a number"):
        PLAN.segment_at(math.nan)


def test_a_plan_cannot_be_changed_once_checked() -> None:
    with pytest.raises(FrozenInstanceError):
        PLAN.lease_s = 5.0  # type: ignore[misc]


def _spoilt(path: tuple[str | int, ...], value: object) -> dict[str, Any]:
    data: Any = json.loads(json.dumps(PLAN.to_dict()))
    place = data
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    return data  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        (("format",), 2, "format 2"),
        (("format",), True, "whole number"),
        (("title",), 7, "text"),
        (("lease_s",), 0.6, "lease"),
        (("lease_s",), 0.01, "lease"),
        (("segments",), [], "no segments"),
        (("segments",), {}, "must be a list"),
        (("segments", 0), 3, "segment 1 of the plan must be an object"),
        (("segments", 1, "end_frac"), 1.4, "segment 2 .* from 0 to 1"),
        (("segments", 1, "end_frac"), 0.6, "jumps from 0.6 to 0.5"),
        (("segments", 1, "end_frac"), "0.5", "must be a number"),
        (("segments", 1, "end_frac"), True, "must be a number"),
        (("segments", 1, "end_frac"), math.nan, "must be finite"),
        (("segments", 1, "duration_s"), 0.0, "above zero"),
        (("segments", 1, "duration_s"), -1.0, "above zero"),
        (("segments", 1, "duration_s"), math.inf, "must be finite"),
        (("segments", 1, "duration_s"), 10**400, "must be finite"),
        (("segments", 1, "duration_s"), 0.24, "200 % a second"),
        (("segments", 1, "kind"), "dash", "no kind 'dash'"),
        (("segments", 1, "kind"), "dwell", "only a ramp, a glide, a punch or a hold"),
        (("segments", 1, "leg"), "sideways", "no leg 'sideways'"),
        (("segments", 1, "step"), -1, "step -1"),
        (("segments", 1, "step"), 0.0, "whole number"),
        (("segments", 0, "leg"), "up", "step -1"),
        (("segments", 5, "end_frac"), 0.1, "rest must hold a throttle of zero"),
        (("extra",), 1, "'extra' is not a field"),
    ],
)
def test_a_damaged_plan_is_refused_and_the_place_named(
    path: tuple[str | int, ...], value: object, says: str
) -> None:
    with pytest.raises(InputFault, match=says):
        Plan.from_dict(_spoilt(path, value))


def test_a_missing_field_is_named() -> None:
    data = PLAN.to_dict()
    del data["lease_s"]
    with pytest.raises(InputFault, match="lease_s is missing"):
        Plan.from_dict(data)


def test_a_plan_that_ends_under_throttle_is_refused() -> None:
    with pytest.raises(InputFault, match="end at zero"):
        replace(PLAN, segments=PLAN.segments[:4])


def test_a_plan_that_starts_under_throttle_is_refused() -> None:
    with pytest.raises(InputFault, match="start and end at zero"):
        replace(PLAN, segments=PLAN.segments[2:])


def test_a_plan_too_long_to_add_up_is_refused() -> None:
    endless = replace(REST, duration_s=1.7e308)
    with pytest.raises(InputFault, match="never ends"):
        replace(PLAN, segments=(endless, endless))


@pytest.mark.parametrize(
    ("kind", "leg", "fastest_frac_s"),
    [("ramp", "up", 2.0), ("punch", "up", 10.0), ("glide", "up", 0.1)],
)
def test_each_moving_kind_has_a_bound_of_its_own(
    kind: Kind, leg: Leg, fastest_frac_s: float
) -> None:
    Segment(kind, leg, 0, 0.0, 0.5, 0.5 / fastest_frac_s)
    with pytest.raises(InputFault, match=f"{100 * fastest_frac_s:g} % a second"):
        Segment(kind, leg, 0, 0.0, 0.5, 0.49 / fastest_frac_s)


@pytest.mark.parametrize(
    ("kind", "leg", "step"),
    [
        ("dwell", "warm", 0),  # what warms up is never data
        ("warm", "up", 0),
        ("soak", "up", 0),
        ("dwell", "soak", 0),
        ("warm", "rest", -1),
        ("glide", "rest", -1),
        ("burst", "rest", -1),
        ("rest", "first", 0),
    ],
)
def test_a_kind_stays_in_the_legs_that_it_belongs_to(
    kind: Kind, leg: Leg, step: int
) -> None:
    with pytest.raises(InputFault, match="cannot be in leg"):
        Segment(kind, leg, step, 0.0, 0.0, 1.0)


def test_dwells_glides_bursts_and_soaks_are_what_a_plan_is_walked_for() -> None:
    data = {
        kind
        for kind in get_args(Kind)
        if kind != "hold"
        and Segment(kind, *PLACES.get(kind, ("up", 0)), 0.0, 0.0, 1.0).is_data
    }
    assert data == {"dwell", "glide", "burst", "soak", "load"}
    assert Segment("hold", "hold", 0, 0.2, 0.8, 60.0, GOAL).is_data


def test_a_throttle_may_be_chopped_to_rest_by_a_punch() -> None:
    chop = Segment("punch", "rest", -1, 0.4, 0.0, 0.04)
    assert (
        Plan(
            "x",
            "x",
            (REST, *HELD[:1], replace(HELD[0], start_frac=0.5, end_frac=0.4), chop),
        ).max_throttle_frac
        == 0.5
    )


def test_a_plan_without_propeller_survives_its_trip_through_json() -> None:
    plan = bare()
    assert Plan.from_dict(json.loads(json.dumps(plan.to_dict()))) == plan


def test_a_plan_as_older_records_hold_it_reads_and_writes_the_same() -> None:
    data = PLAN.to_dict()
    assert set(data) == {"format", "protocol", "title", "lease_s", "segments"}
    plan = Plan.from_dict(data)
    assert (plan.propeller_off, plan.speed_cap_rad_s) == (False, None)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"speed_cap_rad_s": None}, "needs a cap on speed"),
        ({"speed_cap_rad_s": 0.0}, "must be above zero"),
        ({"speed_cap_rad_s": math.nan}, "must be above zero"),
        ({"speed_cap_rad_s": math.inf}, "must be above zero"),
        ({"segments": PLAN.segments}, "goes to 50 % throttle without a propeller"),
    ],
)
def test_a_plan_without_propeller_stays_within_its_caps(
    changes: dict[str, Any], says: str
) -> None:
    with pytest.raises(InputFault, match=says):
        replace(bare(), **changes)


def test_a_plan_without_propeller_holds_no_punch() -> None:
    jump = Segment("punch", "up", 0, 0.0, 0.3, 0.03)
    with pytest.raises(InputFault, match="no punch"):
        replace(bare(), segments=(REST, jump, *bare().segments[2:]))


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("propeller_off", 1, "true or false"),
        ("speed_cap_rad_s", "3000", "must be a number"),
        ("speed_cap_rad_s", True, "must be a number"),
    ],
)
def test_a_damaged_cap_is_refused(key: str, value: object, says: str) -> None:
    data = bare().to_dict() | {key: value}
    with pytest.raises(InputFault, match=says):
        Plan.from_dict(data)


def test_plan_and_limits_leave_pydantic_and_numpy_out() -> None:
    script = (
        "import sys, protocols.plan, protocols.limits\n"
        "print(*{'pydantic', 'numpy', 'tomllib'} & set(sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == []


def held(**changes: object) -> Plan:
    """A plan that holds a thrust, with keys of the hold or of its goal changed."""
    goal: dict[str, object] = GOAL.to_dict()
    hold: dict[str, object] = {
        "kind": "hold",
        "leg": "hold",
        "step": 0,
        "start_frac": 0.25,
        "end_frac": 0.8,
        "duration_s": 60.0,
        "goal": goal,
    }
    for key, value in changes.items():
        (goal if key in goal else hold)[key] = value
    rest = Segment("rest", "rest", -1, 0.0, 0.0, 2.0).to_dict()
    up = Segment("ramp", "hold", 0, 0.0, 0.25, 1.0).to_dict()
    down = Segment("ramp", "rest", -1, 0.8, 0.0, 1.0).to_dict()
    rows = [rest, up, {k: v for k, v in hold.items() if v is not None}, down, rest]
    whole = PLAN.to_dict()
    whole["segments"] = rows
    return Plan.from_dict(whole)


def test_a_hold_is_written_and_read_with_its_goal() -> None:
    plan = held()
    assert Plan.from_dict(plan.to_dict()) == plan
    assert plan.goals == (GOAL,)
    assert plan.max_throttle_frac == 0.8
    assert PLAN.goals == ()
    assert all("goal" not in row for row in PLAN.to_dict()["segments"])  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"goal": None}, "lacks its goal"),
        ({"thrust_n": 0.0}, "thrust_n is 0.0; it must be above zero"),
        ({"floor_v": -1.0}, "floor_v is -1.0"),
        ({"thrust_n": math.nan}, "must be finite"),
        ({"lowest_frac": 0.0}, "throttles from 0.0"),
        ({"lowest_frac": 0.3}, "begins below its lowest throttle"),
        ({"highest_frac": 0.7}, "planned up to its highest throttle"),
        ({"highest_frac": 1.2}, "throttles from 0.2 to 1.2"),
        ({"duration_s": 20.0}, "at most 2 % a second"),
        ({"leg": "up"}, "a hold cannot be in leg up"),
        ({"kind": "settle"}, "a settle"),
    ],
)
def test_a_hold_that_cannot_be_is_refused(changes: dict[str, object], why: str) -> None:
    with pytest.raises(InputFault, match=why):
        held(**changes)


def test_a_hold_leads_to_rest_and_nowhere_else() -> None:
    segments = (
        REST,
        Segment("ramp", "hold", 0, 0.0, 0.25, 1.0),
        Segment("hold", "hold", 0, 0.25, 0.8, 60.0, GOAL),
        Segment("ramp", "up", 0, 0.8, 0.3, 1.0),
        Segment("ramp", "rest", -1, 0.3, 0.0, 1.0),
    )
    with pytest.raises(InputFault, match="must lead down to rest"):
        Plan("x", "X", segments)


def test_a_bare_motor_holds_no_thrust() -> None:
    goal = Goal(0.4, 0.2, 0.25, 10.0)
    segments = (
        REST,
        Segment("ramp", "hold", 0, 0.0, 0.2, 1.0),
        Segment("hold", "hold", 0, 0.2, 0.25, 60.0, goal),
        Segment("ramp", "rest", -1, 0.25, 0.0, 1.0),
    )
    with pytest.raises(InputFault, match="holds no thrust"):
        Plan("x", "X", segments, propeller_off=True, speed_cap_rad_s=1000.0)

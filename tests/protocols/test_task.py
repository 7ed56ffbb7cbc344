"""The task: what a keeper will not do, and its way through JSON."""

import json
import math
from dataclasses import replace

import pytest

from daq.errors import InputFault
from protocols.caps import capped
from protocols.limits import Limit
from protocols.recipe import expand, load_recipe
from protocols.rules import NO_RULES, Burst, Rules
from protocols.task import Task
from tests.spins import LIMITS, NONCE, plan

TASK = Task(
    plan(),
    LIMITS,
    NONCE,
    Rules((Burst("plug", 12.0, 18.0, 10.0, "plug 18 A for 10 s"),), charge_c=1296.0),
)


def test_a_task_survives_its_trip_through_json() -> None:
    text = json.dumps(TASK.to_dict(), allow_nan=False)
    assert Task.from_dict(json.loads(text)) == TASK


def test_a_task_without_rules_has_none() -> None:
    assert Task(plan(), LIMITS, NONCE).rules == NO_RULES


def test_no_motor_turns_without_limits() -> None:
    with pytest.raises(InputFault, match="no limits"):
        replace(TASK, limits=())


@pytest.mark.parametrize(
    "limits",
    [LIMITS[1:], (Limit("current", -3.0, math.inf, 3, 0.1, "nothing"), *LIMITS[1:])],
)
def test_no_motor_turns_without_an_upper_limit_on_its_current(
    limits: tuple[Limit, ...],
) -> None:
    with pytest.raises(InputFault, match="no upper limit on the current"):
        replace(TASK, limits=limits)


def test_limits_wider_than_the_plan_asks_are_refused() -> None:
    idle = expand(load_recipe("idle-spin"))
    wide = (*LIMITS, Limit("speed", -math.inf, 6000.0, 5, 0.5, "propeller"))
    for limits in (LIMITS, wide):
        with pytest.raises(InputFault, match="idle-spin caps the speed"):
            Task(idle, limits, NONCE)
    assert Task(idle, capped(idle, wide), NONCE).limits[-1].high == idle.speed_cap_rad_s


@pytest.mark.parametrize("nonce", [1, 0xFFFF])
def test_a_nonce_is_a_word(nonce: int) -> None:
    assert replace(TASK, nonce=nonce).nonce == nonce


@pytest.mark.parametrize("nonce", [0, 0x10000, -1])
def test_a_nonce_that_is_none_is_refused(nonce: int) -> None:
    with pytest.raises(InputFault, match=f"nonce is {nonce}"):
        replace(TASK, nonce=nonce)


@pytest.mark.parametrize("key", list(TASK.to_dict()))
def test_a_task_without_one_of_its_fields_is_refused(key: str) -> None:
    row = TASK.to_dict()
    del row[key]
    with pytest.raises(InputFault, match=f"the task: {key} is missing"):
        Task.from_dict(row)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"limits": {}}, "limits must be a list"),
        ({"nonce": "x"}, "nonce is 'x'; it must be a whole number"),
        ({"rules": None}, "the rules must be an object"),
        ({"plan": None}, "the plan must be an object"),
        ({"note": 1}, "'note' is not a field"),
    ],
)
def test_a_damaged_task_is_refused(changes: dict[str, object], says: str) -> None:
    with pytest.raises(InputFault, match=says):
        Task.from_dict(TASK.to_dict() | changes)

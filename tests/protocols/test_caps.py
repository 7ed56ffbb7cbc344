"""A plan's own bound on speed narrows the limit, and is never forgotten."""

import math
from dataclasses import replace

import pytest

from daq.errors import InputFault
from protocols.caps import capped, fits, ruled
from protocols.limits import Limit, derive
from protocols.ratings import ratings_of
from protocols.recipe import expand, load_recipe
from protocols.rules import derive_rules
from tests.protocols.articles import article

IDLE = expand(load_recipe("idle-spin"))
STAIRS = expand(load_recipe("staircase"))
CHANNELS = ("current", "voltage", "speed")


def test_a_cap_narrows_the_speed_and_nothing_else() -> None:
    limits = derive(ratings_of(article()), CHANNELS)
    narrowed = capped(IDLE, limits)
    assert narrowed[:2] == limits[:2]
    speed = narrowed[2]
    assert speed.high == IDLE.speed_cap_rad_s
    assert "the protocol's cap 30000 rpm" in speed.source
    assert limits[2].source in speed.source


def test_a_tighter_limit_stays_as_it_is() -> None:
    limits = derive(ratings_of(article(propeller__max_rpm=20_000.0)), CHANNELS)
    assert capped(IDLE, limits) == limits


def test_a_plan_without_a_cap_changes_nothing() -> None:
    limits = derive(ratings_of(article()), CHANNELS)
    assert capped(STAIRS, limits) == limits


def test_a_cap_on_a_speed_that_nothing_measures_is_refused() -> None:
    limits = derive(ratings_of(article()), ("current", "voltage"))
    with pytest.raises(InputFault, match="caps the speed at 30000 rpm, so the stand"):
        capped(IDLE, limits)


def test_the_guard_is_told_that_no_thrust_is_due_without_a_propeller() -> None:
    rules = derive_rules(ratings_of(article()))
    assert not ruled(IDLE, rules).propeller_on
    assert ruled(STAIRS, rules) == rules
    assert replace(ruled(IDLE, rules), propeller_on=True) == rules


def test_whether_limits_fit_a_plan_is_told() -> None:
    limits = derive(ratings_of(article()), CHANNELS)
    assert fits(STAIRS, limits[:1])
    assert fits(IDLE, capped(IDLE, limits))
    assert not fits(IDLE, limits)
    assert not fits(IDLE, limits[:2])
    endless = Limit("speed", 0.0, math.inf, 5, 0.5, "test")
    assert not fits(IDLE, (*limits[:2], endless))

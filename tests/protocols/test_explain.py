"""What happened, in words that a person can act on."""

import math

import pytest

from daq.link import messages as m
from protocols import explain
from protocols.limits import Limit
from protocols.outcome import Ended
from tests.spins import LIMITS

STOPPED = explain.ended(Ended.STOPPED, "A person stopped it.", "stop")
SPEED = Limit("speed", -math.inf, 6283.2, 5, 0.5, "propeller 60000 rpm")


def tripped(cause: m.Cause, throttle: int = 6500) -> m.Event:
    return m.Event(0, 1, 7, m.State.TRIPPED, cause, 7, 0, 1, 0, throttle)


@pytest.mark.parametrize(
    "cause", [c for c in m.Cause if c.latches and c != m.Cause.STOP]
)
def test_every_trip_of_a_stand_has_a_name_and_says_what_clears_it(
    cause: m.Cause,
) -> None:
    outcome = explain.stand_tripped(tripped(cause), None, 0.0, "")
    assert outcome.ended is Ended.TRIPPED
    assert outcome.cause.endswith("Throttle was 65 %.")
    assert explain.clears(outcome.check)


def test_nothing_is_said_to_clear_what_nobody_knows() -> None:
    assert explain.clears("unknown") == explain.clears("stop") == ""


def test_a_limit_with_one_bound_is_told_with_that_bound_alone() -> None:
    outcome = explain.stand_tripped(tripped(m.Cause.LIMIT), SPEED, 7853.98, "")
    assert "speed at 75000 rpm, allowed up to 60000 rpm (propeller" in outcome.cause
    assert "inf" not in outcome.cause


def test_a_limit_with_two_bounds_is_told_with_both() -> None:
    outcome = explain.stand_tripped(tripped(m.Cause.LIMIT), LIMITS[0], 12.5, "")
    assert "current at 12.5 A, allowed -3 to 12 A (plug 12 A)" in outcome.cause


@pytest.mark.parametrize(
    ("current_a", "speed_rad_s", "figures"),
    [
        (4.11, 3120.7, ": 4.11 A, 29800 rpm."),
        (None, 3120.7, ": 29800 rpm."),
        (4.11, None, ": 4.11 A."),
        (None, None, "."),
    ],
)
def test_a_motor_that_runs_on_is_told_with_what_shows_it(
    current_a: float | None, speed_rad_s: float | None, figures: str
) -> None:
    outcome = explain.runs_on(STOPPED, current_a, speed_rad_s)
    assert outcome.cause == (
        "A person stopped it. THE MOTOR RUNS ON though the stand's pulse is at zero"
        f"{figures}"
    )
    assert outcome.advice.startswith("PULL THE ARMING PLUG")
    assert outcome.check == "stop"

"""A thrust that is held and the throttle that holds it, as timelines."""

import math

import pytest

from protocols.goal import Goal
from protocols.guard.holds import GOAL_SHARE, HoldsCheck
from protocols.guard.now import Now
from protocols.guard.trip import Action, Trip
from tests.protocols.guard.play import Play

GOAL = Goal(0.6, 0.15, 0.8, 10.0)
FLOOR_N = 0.05
# Thrust of the whole bus voltage, squared, that gives the goal at 40 % of 12 V.
RATIO = 0.6 / (0.4 * 12.0) ** 2


class Bench:
    """A hold under its check."""

    def __init__(self, *, rate_hz: float = 80.0) -> None:
        now = Now(0.0)
        self.check = HoldsCheck(FLOOR_N, now)
        self.play = Play(now, {"thrust": self.check.thrust}, rate_hz=rate_hz)
        self.play.hold(2.0, 0.25, voltage=12.0, thrust=self.due(0.25, 12.0))
        self.check.hold(GOAL, self.play.now_s)

    @staticmethod
    def due(throttle_frac: float, bus_v: float) -> float:
        return float(RATIO * (throttle_frac * bus_v) ** 2)

    def begins(self) -> "Bench":
        """It comes to its goal and stays."""
        first_n = self.due(0.25, 12.0)
        assert self.play.hold(2.0, 0.25, voltage=12.0, thrust=first_n) is None
        up = self.play.ramp(
            10.0,
            0.25,
            0.4,
            voltage=12.0,
            thrust=lambda s: self.due(0.25 + 0.015 * max(0.0, s - 0.4), 12.0),
        )
        assert up is None
        assert self.play.hold(5.0, 0.4, voltage=12.0, thrust=0.6) is None
        return self


def sees(trip: Trip | None) -> str:
    assert trip is not None
    assert trip.check == "hold"
    assert trip.action is Action.CUT
    return trip.cause


@pytest.mark.parametrize("rate_hz", [10.0, 80.0, 500.0])
def test_minutes_of_a_pack_that_empties_are_no_fault(rate_hz: float) -> None:
    bench = Bench(rate_hz=rate_hz).begins()
    # The throttle makes up for the voltage; a winding that warms takes a tenth.
    trip = bench.play.ramp(
        600.0, 0.4, 0.52, voltage=lambda s: 12.0 - 2.0 * s / 600.0, thrust=0.6
    )
    assert trip is None


def test_a_blade_that_goes_is_seen_within_a_second() -> None:
    bench = Bench().begins()
    cause = sees(bench.play.hold(5.0, 0.4, voltage=12.0, thrust=0.38))
    assert bench.play.took_s < 0.8
    assert "gf at 40 % and 12 V" in cause
    assert "was due" in cause


def test_a_cell_that_answers_no_more_is_seen_before_the_throttle_is_far() -> None:
    bench = Bench().begins()
    sees(bench.play.ramp(60.0, 0.4, 0.8, voltage=12.0, thrust=0.55))
    reached_frac = 0.4 + 0.4 * bench.play.took_s / 60.0
    assert reached_frac < 0.4 * math.sqrt((0.6 + FLOOR_N) / (1 - GOAL_SHARE) / 0.6)


def test_a_cell_that_drifts_up_and_takes_the_throttle_down_is_seen() -> None:
    bench = Bench().begins()
    sees(bench.play.ramp(60.0, 0.4, 0.2, voltage=12.0, thrust=0.62))


def test_a_cell_that_stays_at_its_goal_while_the_pack_sags_is_seen() -> None:
    bench = Bench().begins()
    sees(bench.play.hold(600.0, 0.4, voltage=lambda s: 12.0 - s / 100.0, thrust=0.6))


def test_one_that_jams_on_the_way_to_its_goal_is_seen_there() -> None:
    bench = Bench()
    first_n = bench.due(0.25, 12.0)
    assert bench.play.hold(2.0, 0.25, voltage=12.0, thrust=first_n) is None
    sees(bench.play.ramp(30.0, 0.25, 0.8, voltage=12.0, thrust=first_n))
    assert 0.25 + 0.55 * bench.play.took_s / 30.0 < 0.5


@pytest.mark.parametrize("power", [1.4, 2.8])
def test_a_propeller_that_is_no_square_law_is_no_fault(power: float) -> None:
    bench = Bench()
    first_n = 0.6 * (0.25 / 0.4) ** power
    assert bench.play.hold(2.0, 0.25, voltage=12.0, thrust=first_n) is None
    trip = bench.play.ramp(
        10.0,
        0.25,
        0.4,
        voltage=12.0,
        thrust=lambda s: 0.6 * ((0.25 + 0.015 * s) / 0.4) ** power,
    )
    assert trip is None


def test_a_dip_of_a_third_of_a_second_is_no_fault() -> None:
    bench = Bench().begins()
    assert bench.play.hold(0.3, 0.4, voltage=12.0, thrust=0.3) is None
    assert bench.play.hold(5.0, 0.4, voltage=12.0, thrust=0.6) is None


def test_outside_of_a_hold_nothing_is_judged() -> None:
    bench = Bench().begins()
    bench.check.hold(None, bench.play.now_s)
    assert bench.play.hold(5.0, 0.4, voltage=12.0, thrust=0.1) is None


def test_what_is_no_number_shows_nothing() -> None:
    bench = Bench().begins()
    assert bench.play.hold(5.0, 0.4, voltage=12.0, thrust=math.nan) is None
    assert bench.play.hold(5.0, 0.4, voltage=math.nan, thrust=0.1) is None

"""The table of the stand's states, against what the link's page says of them."""

import pytest

from daq.link.messages import Cause, State
from daq.link.standing import CAUSES, MAY_DRIVE, STATES, TABLE, Move, after


def test_every_move_has_a_row_and_every_row_a_place_for_each_state() -> None:
    assert set(TABLE) == set(Move)
    assert {len(row) for row in TABLE.values()} == {len(STATES)}
    assert set(STATES) == set(State) - {State.UNKNOWN}


def test_only_an_acknowledgement_leads_out_of_a_trip() -> None:
    leads = [move for move in Move if after(State.TRIPPED, move) is not None]
    assert leads == [Move.ACKNOWLEDGE]
    assert after(State.TRIPPED, Move.ACKNOWLEDGE) is State.LOCKED


def test_a_stop_trips_every_state_and_a_guard_every_state_with_a_pulse() -> None:
    assert all(after(s, Move.STOP) is State.TRIPPED for s in STATES[:-1])
    trips = {s for s in STATES if after(s, Move.TRIP) is State.TRIPPED}
    assert trips == set(MAY_DRIVE)


@pytest.mark.parametrize("move", [Move.ARM, Move.PROVE])
def test_a_pulse_is_granted_from_locked_alone(move: Move) -> None:
    assert [s for s in STATES if after(s, move) is not None] == [State.LOCKED]


def test_nothing_but_a_throttle_makes_an_armed_stand_spin() -> None:
    ways = [(s, move) for s in STATES for move in Move if after(s, move) == 4]
    assert ways == [(State.ARMED, Move.THROTTLE_UP)]


def test_each_move_but_a_trip_has_a_cause_of_its_own() -> None:
    assert set(CAUSES) == set(Move) - {Move.TRIP}
    assert len(set(CAUSES.values())) == len(CAUSES)
    assert {c.latches for c in CAUSES.values() if c is not Cause.STOP} == {False}

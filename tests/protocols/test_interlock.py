"""The interlock: every state with every input, and what must never happen."""

import pytest

from daq.link.messages import State
from protocols.interlock import TABLE, TOLD, Input, Interlock


def test_every_state_has_a_row_for_every_input() -> None:
    assert set(TABLE) == {(state, given) for state in State for given in Input}


@pytest.mark.parametrize("given", Input, ids=lambda i: i.name)
@pytest.mark.parametrize("state", State, ids=lambda s: s.name)
def test_a_move_goes_where_the_table_says(state: State, given: Input) -> None:
    lock = Interlock()
    lock.state = state
    assert lock.give(given) is TABLE[state, given]


# What the host holds after each input, written out a second time on purpose.
WRITTEN = """
input           unknown  locked   proving  armed    spinning tripped
TOLD_LOCKED     locked   locked   locked   locked   locked   tripped
TOLD_PROVING    tripped  tripped  proving  tripped  tripped  tripped
PROVE_GRANTED   tripped  proving  proving  tripped  tripped  tripped
TOLD_ARMED      tripped  tripped  tripped  armed    armed    tripped
ARM_GRANTED     tripped  armed    tripped  armed    armed    tripped
TOLD_SPINNING   tripped  tripped  tripped  spinning spinning tripped
TOLD_TRIPPED    tripped  tripped  tripped  tripped  tripped  tripped
STOPPED         tripped  tripped  tripped  tripped  tripped  tripped
ACKNOWLEDGED    unknown  locked   proving  armed    spinning locked
LINK_LOST       unknown  unknown  unknown  unknown  unknown  tripped
RESTARTED       unknown  unknown  unknown  tripped  tripped  tripped
"""


def test_the_table_is_what_was_agreed() -> None:
    head, *rows = [line.split() for line in WRITTEN.split("\n") if line]
    assert len(rows) == len(Input)
    for name, *after in rows:
        for state, expected in zip(head[1:], after, strict=True):
            moved = TABLE[State[state.upper()], Input[name]]
            assert moved.name.lower() == expected, (name, state)


def test_a_new_interlock_knows_nothing_and_may_do_nothing() -> None:
    lock = Interlock()
    assert lock.state is State.UNKNOWN
    assert not lock.may_arm
    assert not lock.may_drive


def test_nothing_leaves_tripped_but_an_acknowledgement() -> None:
    for given in Input:
        expected = State.LOCKED if given is Input.ACKNOWLEDGED else State.TRIPPED
        assert TABLE[State.TRIPPED, given] is expected


def test_armed_is_only_reached_from_locked_when_asked_for() -> None:
    into_armed = {key for key, after in TABLE.items() if after is State.ARMED}
    for state, given in into_armed:
        if state not in (State.ARMED, State.SPINNING):
            assert (state, given) == (State.LOCKED, Input.ARM_GRANTED)


def test_proving_is_only_reached_from_locked_when_asked_for() -> None:
    into = {key for key, after in TABLE.items() if after is State.PROVING}
    for state, given in into - {(State.PROVING, given) for given in Input}:
        assert (state, given) == (State.LOCKED, Input.PROVE_GRANTED)


def test_spinning_is_only_reached_from_armed() -> None:
    into = {state for (state, _), after in TABLE.items() if after is State.SPINNING}
    assert into == {State.ARMED, State.SPINNING}


def test_a_stop_trips_from_everywhere() -> None:
    assert all(TABLE[state, Input.STOPPED] is State.TRIPPED for state in State)


def test_a_lost_link_leaves_nothing_known_but_a_trip() -> None:
    for state in State:
        after = TABLE[state, Input.LINK_LOST]
        assert after is (State.TRIPPED if state is State.TRIPPED else State.UNKNOWN)


def test_only_locked_may_arm_and_only_armed_or_spinning_may_drive() -> None:
    lock = Interlock()
    for state in State:
        lock.state = state
        assert lock.may_arm is (state is State.LOCKED)
        assert lock.may_drive is (state in (State.ARMED, State.SPINNING))


def test_every_state_a_stand_can_tell_has_an_input() -> None:
    assert set(TOLD) == set(State) - {State.UNKNOWN}

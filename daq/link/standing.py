"""The stand's own states as one table: what moves it, and where to.

The simulated stand walks it, and the firmware's table is generated from it, so
that both are the table and neither a reading of it. It says nothing of when a
command is granted: that is checked before (``README.md`` beside this file).
"""

from enum import IntEnum
from typing import Final

from daq.link.messages import Cause, State


class Move(IntEnum):
    """What can move a stand from one state to another."""

    PROVE = 0
    ARM = 1
    THROTTLE_UP = 2
    THROTTLE_ZERO = 3
    LOCK = 4
    IDLE = 5
    ACKNOWLEDGE = 6
    STOP = 7
    TRIP = 8


_L, _P, _A, _S, _T = (
    State.LOCKED,
    State.PROVING,
    State.ARMED,
    State.SPINNING,
    State.TRIPPED,
)
STATES: Final = (_L, _P, _A, _S, _T)
STAY: Final = None
"""Nothing happens, and no event tells of it."""

# Columns: from locked, proving, armed, spinning, tripped.
TABLE: Final[dict[Move, tuple[State | None, ...]]] = {
    Move.PROVE: (_P, STAY, STAY, STAY, STAY),
    Move.ARM: (_A, STAY, STAY, STAY, STAY),
    Move.THROTTLE_UP: (STAY, STAY, _S, STAY, STAY),
    Move.THROTTLE_ZERO: (STAY, STAY, STAY, _A, STAY),
    Move.LOCK: (STAY, _L, _L, _L, STAY),
    Move.IDLE: (STAY, STAY, _L, STAY, STAY),
    Move.ACKNOWLEDGE: (STAY, STAY, STAY, STAY, _L),
    Move.STOP: (_T, _T, _T, _T, STAY),
    Move.TRIP: (STAY, _T, _T, _T, STAY),
}

# The cause that the event tells; a trip has one of several.
CAUSES: Final[dict[Move, Cause]] = {
    Move.PROVE: Cause.PROVING,
    Move.ARM: Cause.ARMED,
    Move.THROTTLE_UP: Cause.THROTTLE_UP,
    Move.THROTTLE_ZERO: Cause.THROTTLE_ZERO,
    Move.LOCK: Cause.LOCKED,
    Move.IDLE: Cause.IDLE_TOO_LONG,
    Move.ACKNOWLEDGE: Cause.ACKNOWLEDGED,
    Move.STOP: Cause.STOP,
}

MAY_DRIVE: Final = (_P, _A, _S)
"""Where a throttle is taken, and everything that protects is at work."""


def after(state: State, move: Move) -> State | None:
    """The state that a move leads to, None where it changes nothing."""
    return TABLE[move][STATES.index(state)]

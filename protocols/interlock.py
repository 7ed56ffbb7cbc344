"""The interlock: what the host holds the stand's state to be, as one table.

Two rules make the table. First, the host never believes more than it was told
*and* asked for: a stand that is armed without having been asked to be is
somebody else's spin, and is stopped. Second, a trip is sticky: once tripped,
nothing but a confirmed acknowledgement leads out, not a restart, not a lost
link, not a stand that says it is fine.

The states are those of the wire (``daq.link.messages.State``), so both sides
use the same six words. Every state has a row for every input; a test holds it.
"""

from enum import Enum

from daq.link.messages import State


class Input(Enum):
    """What can move the interlock."""

    TOLD_LOCKED = "the stand says locked"
    TOLD_PROVING = "the stand says proving"
    PROVE_GRANTED = "the stand says proving, and was asked to"
    TOLD_ARMED = "the stand says armed"
    ARM_GRANTED = "the stand says armed, and was asked to be"
    TOLD_SPINNING = "the stand says spinning"
    TOLD_TRIPPED = "the stand says tripped"
    STOPPED = "the host stopped: a person, the guard, a fault"
    ACKNOWLEDGED = "the stand confirmed an acknowledgement"
    LINK_LOST = "the port is gone or silent"
    RESTARTED = "the stand started again"


TOLD = {
    State.LOCKED: Input.TOLD_LOCKED,
    State.PROVING: Input.TOLD_PROVING,
    State.ARMED: Input.TOLD_ARMED,
    State.SPINNING: Input.TOLD_SPINNING,
    State.TRIPPED: Input.TOLD_TRIPPED,
}

_U, _L, _P, _A, _S, _T = (
    State.UNKNOWN,
    State.LOCKED,
    State.PROVING,
    State.ARMED,
    State.SPINNING,
    State.TRIPPED,
)

# Rows: input. Columns: from unknown, locked, proving, armed, spinning, tripped.
_ROWS: dict[Input, tuple[State, State, State, State, State, State]] = {
    Input.TOLD_LOCKED: (_L, _L, _L, _L, _L, _T),
    Input.TOLD_PROVING: (_T, _T, _P, _T, _T, _T),
    Input.PROVE_GRANTED: (_T, _P, _P, _T, _T, _T),
    Input.TOLD_ARMED: (_T, _T, _T, _A, _A, _T),
    Input.ARM_GRANTED: (_T, _A, _T, _A, _A, _T),
    Input.TOLD_SPINNING: (_T, _T, _T, _S, _S, _T),
    Input.TOLD_TRIPPED: (_T, _T, _T, _T, _T, _T),
    Input.STOPPED: (_T, _T, _T, _T, _T, _T),
    Input.ACKNOWLEDGED: (_U, _L, _P, _A, _S, _L),
    Input.LINK_LOST: (_U, _U, _U, _U, _U, _T),
    Input.RESTARTED: (_U, _U, _U, _T, _T, _T),
}
TABLE: dict[tuple[State, Input], State] = {
    (state, given): row[column]
    for given, row in _ROWS.items()
    for column, state in enumerate((_U, _L, _P, _A, _S, _T))
}


class Interlock:
    """Where the host holds the stand to be.

    Attributes:
        state: the state now.
    """

    def __init__(self) -> None:
        self.state = State.UNKNOWN

    def give(self, given: Input) -> State:
        """Apply one input and return the state after it."""
        self.state = TABLE[self.state, given]
        return self.state

    @property
    def may_arm(self) -> bool:
        """Whether an arm command may be sent."""
        return self.state is State.LOCKED

    @property
    def may_drive(self) -> bool:
        """Whether a throttle may be sent."""
        return self.state in (State.ARMED, State.SPINNING)

"""How far a spin has come, what that allows, and what one step of it wants done."""

from dataclasses import dataclass, field
from enum import Enum
from typing import Final

Note = dict[str, object]


class Phase(Enum):
    """How far the spin has come."""

    IDENTIFYING = "identifying"
    ZEROING = "zeroing"
    LATCHED = "waiting for an acknowledgement"
    LIMITING = "limiting"
    READY = "ready"
    ARMING = "arming"
    RUNNING = "running"
    LOCKING = "locking"
    STOPPING = "stopping"
    LINGERING = "lingering"
    ENDED = "ended"


# The guard judges; the motor may turn; nothing was armed yet; it is over, and no
# throttle, arm or lock is sent any more.
GUARDED: Final = (Phase.ARMING, Phase.RUNNING, Phase.LOCKING)
MAY_TURN: Final = (*GUARDED, Phase.STOPPING)
BEFORE_ARMING: Final = (
    Phase.IDENTIFYING,
    Phase.ZEROING,
    Phase.LATCHED,
    Phase.LIMITING,
    Phase.READY,
)
OVER: Final = (Phase.STOPPING, Phase.LINGERING, Phase.ENDED)


@dataclass(slots=True)
class Outputs:
    """What one step wants done.

    Attributes:
        writes: bytes for the port, each a whole frame or more.
        notes: decisions for the record.
    """

    writes: list[bytes] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.writes or self.notes)

"""How far a spin has come, what that allows, and what one step of it wants done."""

from dataclasses import dataclass, field
from enum import Enum
from typing import Final

Note = dict[str, object]


class Phase(Enum):
    """How far the spin has come."""

    IDENTIFYING = "identifying"
    LISTENING = "listening"
    LATCHED = "waiting for an acknowledgement"
    UNPLUGGING = "waiting for the supply to be off"
    PROVING = "proving the guards"
    PLUGGING = "waiting for the supply"
    ZEROING = "zeroing"
    LIMITING = "limiting"
    READY = "ready"
    TRYING = "proving the lease with the motor running"
    ARMING = "arming"
    RUNNING = "running"
    LOADING = "watching a load that is switched by hand"
    RETREATING = "ramping down"
    LOCKING = "locking"
    STOPPING = "stopping"
    LINGERING = "lingering"
    ENDED = "ended"


# The guard judges; the motor may turn; a proof is under way; nothing was ever
# granted yet; it is over, and no throttle, arm or lock is sent any more.
GUARDED: Final = (
    Phase.TRYING,
    Phase.ARMING,
    Phase.RUNNING,
    Phase.RETREATING,
    Phase.LOCKING,
    Phase.LOADING,
)
MAY_TURN: Final = (
    Phase.TRYING,
    Phase.ARMING,
    Phase.RUNNING,
    Phase.RETREATING,
    Phase.LOCKING,
    Phase.STOPPING,
)
DRIVES: Final = (Phase.RUNNING, Phase.RETREATING)
ON_TRIAL: Final = (Phase.PROVING, Phase.TRYING)
GRANTED: Final = (*ON_TRIAL, Phase.ARMING, Phase.RUNNING, Phase.RETREATING)
BEFORE_ARMING: Final = (
    Phase.IDENTIFYING,
    Phase.LISTENING,
    Phase.LATCHED,
    Phase.UNPLUGGING,
    Phase.PLUGGING,
    Phase.ZEROING,
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
        moved: the time alone brought something about that has no words of its own;
            a replay needs this moment too.
    """

    writes: list[bytes] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    moved: bool = False

    def __bool__(self) -> bool:
        return bool(self.writes or self.notes or self.moved)

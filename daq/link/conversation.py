"""What every conversation with a stand offers, whatever language the stand speaks.

Whoever drives, watches or reads a stand knows this and no more; which conversation it
is follows from whether the stand has a description.
"""

from typing import Protocol

from daq.link import messages as m
from daq.link.columns.description import Description
from daq.link.columns.session import LineSession
from daq.link.session import Happening, Health, Session, Stand
from daq.link.timing import ArrivalMap


class Conversation(Protocol):
    """What whoever drives a stand needs of a conversation with it.

    Attributes:
        health: what the link lost and what could not be read.
        arrivals: map from device time to host time.
        newest_us: newest device stamp seen, raw, for throttle and arm.
    """

    health: Health
    arrivals: ArrivalMap
    newest_us: int

    @property
    def stands_in(self) -> bool:
        """Whether what the stand tells of its state is this program's own word."""
        ...

    @property
    def stand(self) -> Stand | None:
        """Who is there, once identified."""
        ...

    @property
    def state(self) -> m.State:
        """The stand's interlock state as last told."""
        ...

    @property
    def drops(self) -> int:
        """What was no frame, or no line."""
        ...

    @property
    def deadline_s(self) -> float:
        """When ``poll`` has something to do next; infinite when nothing."""
        ...

    def not_taken(self) -> str:
        """What arrived and was not used, a sentence with examples; "" for nothing."""
        ...

    def identify(self, now_s: float) -> None:
        """Find out who is there."""
        ...

    def know(self, stand: Stand) -> None:
        """Take it for known who is there, though it was not heard."""
        ...

    def send(self, command: m.ToStand, now_s: float) -> bytes:
        """Bytes for one command; what comes of it comes as a happening."""
        ...

    def poll(self, now_s: float) -> tuple[bytes, list[Happening]]:
        """What is due: bytes to write, and what did or did not happen."""
        ...

    def receive(self, data: bytes, now_s: float) -> list[Happening]:
        """What ``data``, arrived at ``now_s``, says."""
        ...


def conversation_with(
    description: Description | None, *, from_log: bool = False
) -> Conversation:
    """A conversation that has not begun.

    Args:
        description: of a stand that prints lines; None for any other.
        from_log: its lines are those of a log, whole from the first on.
    """
    if description is None:
        return Session()
    return LineSession(description, begins_whole=from_log)

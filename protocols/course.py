"""What the parts of one spin share: how far it is, whom it talks to, what is said.

The parts (``preparing``, ``driving``, ``ending``) each do their share on one course;
``control`` hands them what came in. Decides nothing by itself.
"""

import math

from daq.link import messages as m
from daq.link.conversation import conversation_with
from daq.link.framing import spoil
from protocols.interlock import Interlock
from protocols.phases import Outputs, Phase
from protocols.task import Task


class Course:
    """One spin on its way.

    Attributes:
        task: what to do.
        phase: how far it has come.
        phase_end_s: when this phase has lasted for too long, or long enough.
        next_send_s: when something has to be said again.
        interlock: where the host holds the stand to be.
        session: the conversation.
        link_is_lost: nothing can be sent any more.
    """

    def __init__(self, task: Task) -> None:
        self.task = task
        self.phase = Phase.IDENTIFYING
        self.phase_end_s = math.inf
        self.next_send_s = math.inf
        self.interlock = Interlock()
        self.session = conversation_with(task.stand)
        self.link_is_lost = False
        self._offset_s = 0.0
        self._out = Outputs()

    def enter(self, phase: Phase, now_s: float, patience_s: float = math.inf) -> None:
        """Begin a phase that may last that long."""
        self.phase = phase
        self.phase_end_s = now_s + patience_s
        self.moved()

    def moved(self) -> None:
        """This moment matters to a replay, though nothing may be said at it."""
        self._out.moved = True

    def send(self, command: m.ToStand, now_s: float, *, damaged: bool = False) -> None:
        """Say it, if there is anybody left to say it to."""
        if not self.link_is_lost:
            write = self.session.send(command, now_s)
            self.write(spoil(write) if damaged else write)

    def write(self, data: bytes) -> None:
        """Bytes for the port, if there are any."""
        if data:
            self._out.writes.append(data)

    def note(self, what: str, /, **fields: object) -> None:
        """A decision, for the record."""
        self._out.notes.append({"note": what, **fields})

    @property
    def by(self) -> dict[str, str]:
        """For notes of what the stand said: who said it in its place, if anybody."""
        return {"by": "this program"} if self.session.stands_in else {}

    def take_out(self) -> Outputs:
        """Everything said and noted since last taken."""
        taken, self._out = self._out, Outputs()
        return taken

    def device_s(self, now_s: float) -> float:
        """This moment on the stand's clock.

        On the clock as it went on before, where a stand has just begun again.
        """
        arrivals = self.session.arrivals
        if arrivals.known:
            self._offset_s = arrivals.offset_s
        return now_s - self._offset_s

    @property
    def lease_ms(self) -> int:
        """How long a throttle holds."""
        return round(self.task.plan.lease_s * 1e3)

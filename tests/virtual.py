"""A whole spin in virtual time: the control and a simulated device, no port.

Moves both along the same jumping time, millisecond by millisecond, with a
stated delay on the way. Keeps the records that the keeper would have written,
so that a test can replay or analyse them.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from daq.records.wirelog import Kind, Record, to_json
from daq.stand.device import TICK_S, Device
from protocols.control import Control
from protocols.keeper import give
from protocols.phases import Phase

BEAT_PERIOD_S = 0.2
DELAY_S = 0.002
START_NS = 1_000_000_000_000


@dataclass
class VirtualSpin:
    """One spin, driven until its outcome.

    Attributes:
        control: the host's core.
        device: the stand.
        records: what the keeper's log would hold, header apart.
        beats: whether the client beats.
        host_ns: the host's time.
        keep_records: whether to keep them at all.
    """

    control: Control
    device: Device
    beats: bool = True
    keep_records: bool = True
    records: list[Record] = field(default_factory=list)
    host_ns: int = START_NS
    to_host: deque[tuple[int, bytes]] = field(default_factory=deque)
    to_stand: deque[tuple[int, bytes]] = field(default_factory=deque)
    hooks: list[tuple[float, Callable[["VirtualSpin"], None]]] = field(
        default_factory=list
    )
    cable: bool = True
    host_runs: bool = True
    went: bool = False
    beat_due_ns: int = START_NS

    @property
    def elapsed_s(self) -> float:
        """Virtual seconds since the beginning."""
        return (self.host_ns - START_NS) * 1e-9

    def at(self, elapsed_s: float, act: Callable[["VirtualSpin"], None]) -> None:
        """Do something once that much virtual time has passed."""
        self.hooks.append((elapsed_s, act))

    def order(self, **order: object) -> None:
        """The client orders."""
        self._input(Kind.ORDER, to_json(order))

    def run(self, until_s: float = 600.0) -> Control:
        """Until the outcome, or until virtual time runs out."""
        self._input(Kind.TICK, b"")
        while self.control.phase is not Phase.ENDED and self.elapsed_s < until_s:
            self.step()
        return self.control

    def step(self, ticks: int = 2) -> None:
        """A little later on both sides."""
        self.host_ns += round(ticks * TICK_S * 1e9)
        for when_s, act in [h for h in self.hooks if h[0] <= self.elapsed_s]:
            self.hooks.remove((when_s, act))
            act(self)
        while self.to_stand and self.to_stand[0][0] <= self.host_ns:
            self.device.receive(self.to_stand.popleft()[1])
        sent = self.device.advance(ticks)
        if sent and self.cable:
            self.to_host.append((self.host_ns + round(DELAY_S * 1e9), sent))
        if not self.host_runs:
            return
        while self.to_host and self.to_host[0][0] <= self.host_ns:
            self._input(Kind.BYTES_IN, self.to_host.popleft()[1])
        self._client()
        if self.control.deadline_s <= self.host_ns * 1e-9:
            self._input(Kind.TICK, b"")

    def _client(self) -> None:
        if self.beats and self.host_ns >= self.beat_due_ns:
            self.beat_due_ns = self.host_ns + round(BEAT_PERIOD_S * 1e9)
            self.order(order="beat")
        if self.control.phase is Phase.READY and not self.went:
            self.went = True
            self.order(order="go")

    def _input(self, kind: Kind, data: bytes) -> None:
        outputs = give(self.control, kind, self.host_ns, data)
        if self.cable:
            arrive_ns = self.host_ns + round(DELAY_S * 1e9)
            self.to_stand.extend((arrive_ns, write) for write in outputs.writes)
        if self.keep_records and (kind is not Kind.TICK or outputs):
            self.records.append(Record(kind, self.host_ns, data))
            for write in outputs.writes:
                self.records.append(Record(Kind.BYTES_OUT, self.host_ns, write))
            for note in outputs.notes:
                self.records.append(Record(Kind.NOTE, self.host_ns, to_json(note)))

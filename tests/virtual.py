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
        obliging: whether somebody does what is wanted at the bench.
        asked: what was wanted so far.
        armed_ns: when the walk through the plan began.
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
    walk_hooks: list[tuple[float, Callable[["VirtualSpin"], None]]] = field(
        default_factory=list
    )
    armed_ns: int | None = None
    cable: bool = True
    host_runs: bool = True
    went: bool = False
    obliging: bool = True
    asked: list[str] = field(default_factory=list)
    beat_due_ns: int = START_NS

    @property
    def elapsed_s(self) -> float:
        """Virtual seconds since the beginning."""
        return (self.host_ns - START_NS) * 1e-9

    def at(self, elapsed_s: float, act: Callable[["VirtualSpin"], None]) -> None:
        """Do something once that much virtual time has passed."""
        self.hooks.append((elapsed_s, act))

    def at_walk(self, into_s: float, act: Callable[["VirtualSpin"], None]) -> None:
        """Do something once the plan has been walked for so long."""
        self.walk_hooks.append((into_s, act))

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
        if self.armed_ns is not None:
            into_s = (self.host_ns - self.armed_ns) * 1e-9
            for when_s, act in [h for h in self.walk_hooks if h[0] <= into_s]:
                self.walk_hooks.remove((when_s, act))
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

    def _wanted(self, what: object) -> None:
        """What a person at the bench does when asked."""
        self.asked.append(str(what))
        if not self.obliging:
            return
        faulty = hasattr(self.device, "plug_in")  # its plant may be falsified
        bench = self.device if faulty else self.device.plant
        match what:
            case "plug out" | "plug in":
                bench.plug_in = what == "plug in"  # type: ignore[union-attr]
            case "loop open" | "loop closed":
                self.device.stop_loop_open = what == "loop open"
            case _:
                raise ValueError(f"nobody knows how to do {what!r}")

    def _client(self) -> None:
        if self.beats and self.host_ns >= self.beat_due_ns:
            self.beat_due_ns = self.host_ns + round(BEAT_PERIOD_S * 1e9)
            self.order(order="beat")
        if self.control.phase is Phase.READY and not self.went:
            self.went = True
            self.order(order="go")

    def _input(self, kind: Kind, data: bytes) -> None:
        outputs = give(self.control, kind, self.host_ns, data)
        for note in outputs.notes:
            if note["note"] == "wanted":
                self._wanted(note["what"])
            elif note["note"] in ("armed", "began"):
                self.armed_ns = self.host_ns
        if self.cable:
            arrive_ns = self.host_ns + round(DELAY_S * 1e9)
            self.to_stand.extend((arrive_ns, write) for write in outputs.writes)
        if self.keep_records and (kind is not Kind.TICK or outputs):
            self.records.append(Record(kind, self.host_ns, data))
            for write in outputs.writes:
                self.records.append(Record(Kind.BYTES_OUT, self.host_ns, write))
            for note in outputs.notes:
                self.records.append(Record(Kind.NOTE, self.host_ns, to_json(note)))

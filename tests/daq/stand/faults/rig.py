"""A faulty stand in virtual time, and what a host that keeps it spinning hears."""

from dataclasses import dataclass
from typing import TypeVar

from daq.link import messages as m
from daq.link.framing import Deframer, frame
from daq.link.timing import WRAP_US
from daq.stand.faults.fault import Fault
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from tests.daq.stand.plant.builder import QUIET, changed

NONCE = 5
LEASE_MS = 200
RENEW_TICKS = 25  # as the runner renews

Heard = TypeVar("Heard", bound=m.FromStand)


@dataclass(frozen=True)
class Reading:
    """One count of one channel, when the host heard it."""

    at_s: float
    count: int
    si: float


class Rig:
    """Drives a stand tick by tick.

    Attributes:
        stand: what is driven.
        said: whole messages that came, with the time at which they did.
        drops: what framing had to drop.
    """

    def __init__(self, *faults: Fault, seed: int = 1, noisy: bool = False) -> None:
        truth = changed({} if noisy else QUIET)
        self.stand = FaultyStand(Plant(truth, seed), faults, seed=seed)
        self.said: list[tuple[float, m.FromStand]] = []
        self.raw = b""
        self._sequence = 0
        self._deframer = Deframer()
        self._seen_us = 0

    @property
    def drops(self) -> int:
        return self._deframer.drops.frames

    @property
    def now_s(self) -> float:
        return self.stand.elapsed_s

    def state(self) -> m.State:
        return self.stand.state

    def dark(self) -> bool:
        return self.stand.dark

    def send(self, command: m.ToStand) -> None:
        self.stand.receive(b"\0" + frame(m.encode(command, self._sequence)))
        self._sequence += 1

    def run(self, ticks: int = 1) -> None:
        for _ in range(ticks):
            came = self.stand.advance(1)
            self.raw += came
            for payload in self._deframer.feed(came):
                try:
                    message = m.decode_from_stand(payload)
                except m.MalformedMessage:
                    continue
                assert not isinstance(message, m.Unknown)
                self.said.append((self.now_s, message))
                if isinstance(message, m.Samples):
                    self._seen_us = message.time_us

    def until(self, time_s: float) -> None:
        self.run(round(time_s * 1000) - round(self.now_s * 1000))

    def limits(self) -> m.Limits:
        return m.Limits((m.LimitEntry(self.index("current"), -32_000, 32_767, 3, 50),))

    def arm(self) -> None:
        """From rest to armed, which takes 30 ms."""
        self.run(25)
        self.send(self.limits())
        seen_us = self.stand.time_us % WRAP_US
        self.send(m.Arm(NONCE, self.stand.boot, self.limits().crc, 500, seen_us))
        self.run(5)
        assert self.stand.state is m.State.ARMED

    def hold(self, throttle_frac: float, until_s: float) -> None:
        """Renew a throttle as a host does, from what it has heard."""
        while self.now_s < until_s - 1e-6:
            if round(self.now_s * 1000) % RENEW_TICKS == 0:
                setpoint = round(throttle_frac * m.THROTTLE_FULL)
                self.send(m.Throttle(NONCE, setpoint, LEASE_MS, self._seen_us))
            self.run()

    def index(self, name: str) -> int:
        return next(c.index for c in self.stand.channels if c.name == name)

    def messages(self, kind: type[Heard]) -> list[Heard]:
        return [message for _, message in self.said if isinstance(message, kind)]

    def causes(self) -> list[m.Cause]:
        return [event.cause for event in self.messages(m.Event)]

    def readings(self, name: str) -> list[Reading]:
        """All counts of a channel; those that say there is none are left out."""
        page = self.stand.channels[self.index(name)]
        (stream,) = (s for s in self.stand.streams if page.index in s.channels)
        found = []
        for at_s, message in self.said:
            if isinstance(message, m.Samples) and message.stream == stream.index:
                count = self._count(message.raw, stream, page)
                if count != page.no_reading:
                    found.append(Reading(at_s, count, page.to_si(count)))
        return found

    def _count(self, raw: bytes, stream: m.StreamPage, page: m.ChannelPage) -> int:
        before = stream.channels[: stream.channels.index(page.index)]
        place = sum(self.stand.channels[i].width for i in before)
        data = raw[place : place + page.width]
        return int.from_bytes(data, "little", signed=True)

    def si(self, name: str, begin_s: float, end_s: float) -> list[float]:
        """Readings of a channel heard in a stretch of time."""
        return [r.si for r in self.readings(name) if begin_s < r.at_s <= end_s]


def spinning(
    *faults: Fault, throttle_frac: float = 0.5, until_s: float = 2.0, seed: int = 1
) -> Rig:
    """A rig that was armed and spun until a time."""
    rig = Rig(*faults, seed=seed)
    rig.arm()
    rig.hold(throttle_frac, until_s)
    return rig


def mean(values: list[float]) -> float:
    assert values
    return sum(values) / len(values)

"""Faults of the line, and one direction of a line that has them.

Pure: bytes and times in, bytes and times out. What is hit follows from the seed
and from the bytes alone, never from how the bytes were cut for ``send``, as long
as a fault acts on bytes; repeating, delaying and swapping act on what one
``send`` brought.
"""

import heapq
import math
from abc import ABC
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import count
from typing import ClassVar, Literal, NamedTuple

import numpy as np
from typing_extensions import override

from daq.stand.faults.fault import Lasting, choice, figure

Direction = Literal["to-host", "to-stand"]
DIRECTIONS: tuple[Direction, Direction] = ("to-host", "to-stand")
WAYS = {"to-host": "to the host", "to-stand": "to the stand", "both": "both ways"}
HOLD_S = 0.05
"""How long a chunk that is to be overtaken waits for the next one."""


@dataclass(frozen=True, slots=True)
class WireFault(Lasting, ABC):
    """A fault of the line.

    Attributes:
        direction: which way it acts.
        once: it acts on the first byte or chunk after its start and then no more.
    """

    direction: str = choice("both", (*DIRECTIONS, "both"))
    once: bool = False

    def acts(self, direction: Direction, now_s: float) -> bool:
        """Whether it is at work."""
        here = self.direction in (direction, "both")
        return here and self.start_s <= now_s < self.end_s

    def _row(self, rate_frac: float, burst_bytes: int = 1) -> str:
        """How often, in brackets."""
        often = "once" if self.once else f"1 in {1.0 / rate_frac:,.0f}"
        row = f", {burst_bytes} in a row" if burst_bytes > 1 else ""
        return f"({often}{row})"

    @property
    def _way(self) -> str:
        return WAYS[self.direction]


@dataclass(frozen=True, slots=True)
class CableOut(WireFault):
    """Nothing gets through, as with a cable between adapter and board pulled."""

    kind: ClassVar[str] = "cable-out"

    @override
    def words(self) -> str:
        return f"the cable is out ({self._way})"


@dataclass(frozen=True, slots=True)
class LostBytes(WireFault):
    """Bytes that never arrive.

    Attributes:
        rate_frac: chance of each byte to begin a loss.
        burst_bytes: how many are lost in a row.
    """

    kind: ClassVar[str] = "lost-bytes"

    rate_frac: float = figure(0.001, 1e-9, 1.0, (1e-4, 0.03))
    burst_bytes: int = figure(1, 1, 4096, (1, 100))

    @override
    def words(self) -> str:
        row = self._row(self.rate_frac, self.burst_bytes)
        return f"bytes {self._way} are lost {row}"


@dataclass(frozen=True, slots=True)
class DamagedBytes(WireFault):
    """Bytes with a bit turned over.

    Attributes:
        rate_frac: chance of each byte to begin a damage.
        burst_bytes: how many are damaged in a row, a bit in each.
    """

    kind: ClassVar[str] = "damaged-bytes"

    rate_frac: float = figure(0.001, 1e-9, 1.0, (1e-4, 0.03))
    burst_bytes: int = figure(1, 1, 4096, (1, 20))

    @override
    def words(self) -> str:
        row = self._row(self.rate_frac, self.burst_bytes)
        return f"bytes {self._way} are damaged {row}"


@dataclass(frozen=True, slots=True)
class LateChunks(WireFault):
    """Bytes that come late; none overtakes another.

    Attributes:
        rate_frac: share of chunks that are held up.
        delay_s: how long each is held up.
        jitter_s: how much longer at most, evenly drawn.
    """

    kind: ClassVar[str] = "late-chunks"

    rate_frac: float = figure(1.0, 1e-9, 1.0, (0.05, 1.0))
    delay_s: float = figure(0.05, 0.0, 60.0, (0.005, 0.6))
    jitter_s: float = figure(0.0, 0.0, 60.0, (0.001, 0.1))

    @override
    def words(self) -> str:
        longer = f" to {self.delay_s + self.jitter_s:.3g}" if self.jitter_s else ""
        late = f"{self.delay_s:.3g}{longer} s late"
        return f"bytes {self._way} are {late} {self._row(self.rate_frac)}"


@dataclass(frozen=True, slots=True)
class RepeatedChunks(WireFault):
    """Chunks that arrive twice.

    Attributes:
        rate_frac: share of chunks.
        again_s: how long after the first the second one comes.
    """

    kind: ClassVar[str] = "repeated-chunks"

    rate_frac: float = figure(0.01, 1e-9, 1.0, (0.005, 0.5))
    again_s: float = figure(0.0, 0.0, 60.0, (0.001, 0.5))

    @override
    def words(self) -> str:
        again = f"come again {self.again_s:.3g} s later"
        return f"bytes {self._way} {again} {self._row(self.rate_frac)}"


@dataclass(frozen=True, slots=True)
class ReorderedChunks(WireFault):
    """Chunks that the next one overtakes.

    Attributes:
        rate_frac: share of chunks.
    """

    kind: ClassVar[str] = "reordered-chunks"

    rate_frac: float = figure(0.01, 1e-9, 1.0, (0.005, 0.5))

    @override
    def words(self) -> str:
        return f"bytes {self._way} come out of order {self._row(self.rate_frac)}"


class Chunk(NamedTuple):
    """Bytes on their way.

    Attributes:
        data: the bytes.
        at_s: when they arrive at the earliest.
        in_order: they wait for what was sent before them.
    """

    data: bytes
    at_s: float
    in_order: bool = True


class _Chance:
    """Which of a row of units are hit; the distance to the next is geometric."""

    def __init__(self, fault: WireFault, rate_frac: float, rng: np.random.Generator):
        self._once = fault.once
        self._rate = rate_frac
        self._rng = rng
        self._ahead = 0 if fault.once else self._distance()

    def _distance(self) -> int:
        return int(self._rng.geometric(self._rate)) - 1

    def hits(self, units: int, span: int = 1) -> list[int]:
        """Which of the next units are hit; ``span`` of them at each."""
        places = []
        while self._ahead < units:
            places.append(self._ahead)
            if self._once:
                self._ahead = 2**63
                return places
            self._ahead += span + self._distance()
        self._ahead -= units
        return places


Pass = Callable[[list[Chunk]], list[Chunk]]


class _OnBytes:
    """Loses or damages bytes, in bursts that may reach into the next chunk."""

    def __init__(
        self, fault: LostBytes | DamagedBytes, rng: np.random.Generator
    ) -> None:
        self._chance = _Chance(fault, fault.rate_frac, rng)
        self._burst = fault.burst_bytes
        self._left = 0
        # Numbers of its own: which bit must not move which byte is next.
        self._bits = rng.spawn(1)[0] if isinstance(fault, DamagedBytes) else None

    def __call__(self, chunks: list[Chunk]) -> list[Chunk]:
        changed = [chunk._replace(data=self._hurt(chunk.data)) for chunk in chunks]
        return [chunk for chunk in changed if chunk.data]

    def _hurt(self, data: bytes) -> bytes:
        places = set(range(min(self._left, len(data))))
        self._left -= len(places)
        for place in self._chance.hits(len(data), self._burst):
            end = place + self._burst
            places.update(range(place, min(end, len(data))))
            self._left = max(self._left, end - len(data))
        if not places:
            return data
        if self._bits is None:
            return bytes(byte for i, byte in enumerate(data) if i not in places)
        hurt = bytearray(data)
        for place in sorted(places):
            hurt[place] ^= 1 << int(self._bits.integers(8))
        return bytes(hurt)


class _Late:
    def __init__(self, fault: LateChunks, rng: np.random.Generator) -> None:
        self._fault, self._rng = fault, rng
        self._chance = _Chance(fault, fault.rate_frac, rng)

    def __call__(self, chunks: list[Chunk]) -> list[Chunk]:
        late = list(chunks)
        for place in self._chance.hits(len(chunks)):
            delay_s = self._fault.delay_s + self._fault.jitter_s * self._rng.random()
            late[place] = chunks[place]._replace(at_s=chunks[place].at_s + delay_s)
        return late


class _Repeated:
    def __init__(self, fault: RepeatedChunks, rng: np.random.Generator) -> None:
        self._again_s = fault.again_s
        self._chance = _Chance(fault, fault.rate_frac, rng)

    def __call__(self, chunks: list[Chunk]) -> list[Chunk]:
        out: list[Chunk] = []
        hits = self._chance.hits(len(chunks))
        for place, chunk in enumerate(chunks):
            out.append(chunk)
            if place in hits:
                later_s = chunk.at_s + self._again_s
                out.append(Chunk(chunk.data, later_s, in_order=self._again_s == 0.0))
        return out


class _Reordered:
    """Holds a chunk back until the next one has gone."""

    def __init__(self, fault: ReorderedChunks, rng: np.random.Generator) -> None:
        self._chance = _Chance(fault, fault.rate_frac, rng)
        self._held: Chunk | None = None

    def __call__(self, chunks: list[Chunk]) -> list[Chunk]:
        out: list[Chunk] = []
        for chunk in chunks:
            hit = bool(self._chance.hits(1))
            if self._held is not None:
                held, self._held = self._held, None
                out += [chunk, held._replace(at_s=max(held.at_s, chunk.at_s))]
            elif hit:
                self._held = chunk
            else:
                out.append(chunk)
        return out

    def release(self, now_s: float) -> list[Chunk]:
        """What waited too long for a next one."""
        if self._held is None or now_s < self._held.at_s + HOLD_S:
            return []
        held, self._held = self._held, None
        return [held]

    @property
    def due_s(self) -> float:
        return math.inf if self._held is None else self._held.at_s + HOLD_S


def _nothing(_: list[Chunk]) -> list[Chunk]:
    return []


def _worker(fault: WireFault, rng: np.random.Generator) -> Pass:
    match fault:
        case LostBytes() | DamagedBytes():
            return _OnBytes(fault, rng)
        case LateChunks():
            return _Late(fault, rng)
        case RepeatedChunks():
            return _Repeated(fault, rng)
        case ReorderedChunks():
            return _Reordered(fault, rng)
        case _:
            return _nothing


class Wire:
    """One direction of the line.

    Args:
        direction: which one; faults of the other are passed over.
        faults: what goes wrong with it.
        seed: of what is hit, not negative.
        delay_s: how long bytes take when nothing is wrong.
    """

    def __init__(
        self,
        direction: Direction,
        faults: Iterable[WireFault] = (),
        *,
        seed: int = 0,
        delay_s: float = 0.0,
    ) -> None:
        self.direction = direction
        self._seed = seed
        self._delay_s = delay_s
        self._workers: list[tuple[WireFault, Pass]] = []
        self._queue: list[tuple[float, int, bytes]] = []
        self._number = count()
        self._last_s = -math.inf
        for fault in faults:
            self.add(fault)

    def add(self, fault: WireFault) -> None:
        """Have one more thing go wrong."""
        key = (DIRECTIONS.index(self.direction), len(self._workers))
        sequence = np.random.SeedSequence(self._seed, spawn_key=key)
        rng = np.random.Generator(np.random.PCG64(sequence))
        self._workers.append((fault, _worker(fault, rng)))

    def send(self, now_s: float, data: bytes) -> None:
        """Put bytes in, at a time that never falls."""
        chunks = [Chunk(data, now_s + self._delay_s)] if data else []
        for fault, worker in self._workers:
            if fault.acts(self.direction, now_s):
                chunks = worker(chunks)
        self._put(chunks)

    def _put(self, chunks: Sequence[Chunk]) -> None:
        for chunk in chunks:
            at_s = chunk.at_s
            if chunk.in_order:
                at_s = self._last_s = max(self._last_s, at_s)
            heapq.heappush(self._queue, (at_s, next(self._number), chunk.data))

    def due(self, now_s: float) -> bytes:
        """What has arrived by now."""
        for _, worker in self._workers:
            if isinstance(worker, _Reordered):
                self._put(worker.release(now_s))
        out = b""
        while self._queue and self._queue[0][0] <= now_s:
            out += heapq.heappop(self._queue)[2]
        return out

    @property
    def busy(self) -> bool:
        """Whether anything is on its way."""
        return bool(self._queue) or self.next_due_s < math.inf

    @property
    def next_due_s(self) -> float:
        """When there may be something to get; infinite when nothing is on its way."""
        held = [w.due_s for _, w in self._workers if isinstance(w, _Reordered)]
        first = [self._queue[0][0]] if self._queue else []
        return min((*held, *first), default=math.inf)

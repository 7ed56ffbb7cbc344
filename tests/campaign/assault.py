"""Assaults by bytes: what sends them, what must hold, and a spin under them.

What both families of bytes have in common; ``hostile_frames`` and ``hostile_lines``
have what each of them is made of and what it goes into.
"""

import gc
import itertools
import tracemalloc
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeVar

import numpy as np

from daq.records.wirelog import Kind
from protocols.phases import Phase
from protocols.task import Task
from tests.protocols.test_control_laws import assert_replays
from tests.virtual import VirtualSpin

BLOCK: Final = 1 << 16
REPLAYED_EVERY: Final = 5

Rng = np.random.Generator
Maker = Callable[[Rng, int], bytes]


# ------------------------------------------------------------ kinds of bytes


def noise(rng: Rng, size: int) -> bytes:
    """Random bytes."""
    return rng.bytes(size)


def turned_over(rng: Rng, source: bytes, size: int) -> bytes:
    """A stretch of it, round and round, with bits turned over, here few, there many."""
    start = int(rng.integers(len(source)))
    turned = source[start:] + source[:start]
    data = np.frombuffer((turned * (size // len(turned) + 1))[:size], np.uint8).copy()
    hit = np.flatnonzero(rng.random(size) < 10.0 ** rng.uniform(-4, -1))
    data[hit] ^= (1 << rng.integers(0, 8, hit.size)).astype(np.uint8)
    return data.tobytes()


def cut_up(rng: Rng, pick: Callable[[], bytes], end: bytes, size: int) -> bytes:
    """Pieces of what is picked, out of order and again and again.

    Every other begins behind an end, so that whole ones come.
    """
    out = bytearray()
    while len(out) < size:
        source = pick()
        start = int(rng.integers(len(source)))
        if rng.random() < 0.5:
            start = source.find(end, start) + 1
        out += source[start : start + int(rng.integers(1, 600))]
    return bytes(out[:size])


def chunks(maker: Maker, seed: int, size: int) -> Iterator[bytes]:
    """That many bytes, in reads of one byte to four thousand."""
    rng = np.random.default_rng(seed)
    left = size
    while left > 0:
        block = maker(rng, min(BLOCK, left))
        left -= len(block)
        place = 0
        while place < len(block):
            step = int(min(4096, 2.0 ** rng.uniform(0, 12)))
            yield block[place : place + step]
            place += step


# ------------------------------------------------------------ what must hold


class Broken(Exception):
    """A law that did not hold."""


def hold(law: bool, words: str) -> None:
    """Say so where it does not.

    Raises:
        Broken: it does not hold.
    """
    if not law:
        raise Broken(words)


@dataclass
class Tally:
    """What became of the bytes.

    Attributes:
        bytes: how many went in.
        frames: whole frames among them.
        grown: bytes of memory kept more over a stretch of them.
        seen: what else there is to say, by name.
    """

    bytes: int = 0
    frames: int = 0
    grown: int = 0
    seen: Counter[str] = field(default_factory=Counter)


OURS: Final = [
    tracemalloc.Filter(inclusive=True, filename_pattern=pattern)
    for pattern in ("*/daq/link/*", "*/daq/stand/device.py", "*/protocols/*")
]


class Growth:
    """Watches what our own lines keep, over the second half of a stretch.

    Whatever is allocated is traced from a third of the bytes on; by the middle of
    the stretch all that is merely replaced from time to time has been.
    """

    def __init__(self, size: int) -> None:
        self._from, self._middle = size // 3, size * 2 // 3
        self._before: int | None = None
        self.bytes = 0

    def look(self, done: int) -> None:
        """Called with how many bytes have gone in."""
        if not tracemalloc.is_tracing():
            if self._from <= done < self._middle:
                tracemalloc.start()
        elif self._before is None and done >= self._middle:
            self._before = _kept()

    def end(self) -> None:
        """No more bytes."""
        if tracemalloc.is_tracing():
            if self._before is not None:
                self.bytes = _kept() - self._before
            tracemalloc.stop()


def _kept() -> int:
    gc.collect()
    taken = tracemalloc.take_snapshot().filter_traces(OURS)
    return sum(trace.size for trace in taken.traces)


Subject = Callable[[Iterator[bytes], Growth, Tally], None]


# ------------------------------------------------------------ a spin under them


class Assailed(VirtualSpin):
    """A spin that is brought to a phase, and whose stand then says whatever comes."""

    task: Task
    stopping: Phase  # what a stop leads to on this stand
    ends_within_s: float  # after it

    def prepare(self, phase: Phase) -> None:
        """Before it begins, so that it can come to that phase."""

    def pause_s(self, chunk: bytes) -> float:
        """How long the chunk took to come."""
        raise NotImplementedError

    def judge(self, phase: Phase, tally: Tally) -> None:
        """What must hold once it has ended, beyond what holds for every spin."""

    def climb(self, phase: Phase) -> None:
        """With its own stand, as far as that; whatever it is then in, it stays."""
        self.went = phase is Phase.READY  # nobody says go
        self.prepare(phase)
        self._input(Kind.TICK, b"")
        for _ in range(20_000):
            if self.control.phase is phase:
                return
            self.step(2)
            if phase is self.stopping and self.control.phase is Phase.RUNNING:
                self.order(order="stop")
        raise Broken(f"never came to {phase.value}")

    def assail(self, chunk: bytes) -> None:
        """Bytes come in, a little later; nothing else does."""
        self.host_ns += round(self.pause_s(chunk) * 1e9)
        self._input(Kind.BYTES_IN, chunk)
        if self.control.deadline_s <= self.host_ns * 1e-9:
            self._input(Kind.TICK, b"")

    def finish(self) -> None:
        """A person stops it, the stand says nothing more: that ends it."""
        self.order(order="stop")
        for _ in range(round(self.ends_within_s / 0.005)):
            if self.control.phase is Phase.ENDED:
                return
            self.host_ns += 5_000_000
            if self.control.deadline_s <= self.host_ns * 1e-9:
                self._input(Kind.TICK, b"")
        raise Broken(f"a stop left it {self.control.phase.value}")


_Run = TypeVar("_Run", bound=Assailed)


def into_each_phase(
    phases: Sequence[Phase],
    bring: Callable[[Phase, int], _Run],
    spell: int,
    source: Iterator[bytes],
    tally: Tally,
) -> None:
    """From each phase: the laws of what is said hold, and it ends when told to.

    Args:
        phases: again and again, until no bytes are left.
        bring: a spin in a phase, by number.
        spell: bytes into one spin before the next begins.
        source: the bytes.
        tally: what becomes of them.
    """
    for number, phase in enumerate(itertools.cycle(phases)):
        run, spent = bring(phase, number), 0
        before = run.control.session.health.frames
        for chunk in source:
            spent += len(chunk)
            run.assail(chunk)
            if spent >= spell:
                break
        tally.bytes += spent
        tally.frames += max(0, run.control.session.health.frames - before)
        tally.seen[f"{phase.value} to {run.control.phase.value}"] += 1
        run.finish()
        hold(run.control.outcome is not None, "no outcome")
        run.judge(phase, tally)
        if number % REPLAYED_EVERY == 0:
            assert_replays(run.records, run.task)
        if spent < spell:
            return


def into_one(
    run: Assailed,
    pause_s: Callable[[bytes], float],
    source: Iterator[bytes],
    growth: Growth,
    tally: Tally,
) -> None:
    """One control for all of it: what it keeps does not grow with what it hears."""
    control, now_s = run.control, run.host_ns * 1e-9
    before = control.session.health.frames
    for chunk in source:
        tally.bytes += len(chunk)
        now_s += pause_s(chunk)
        control.receive(chunk, now_s)
        control.tick(now_s)
        growth.look(tally.bytes)
    tally.frames = control.session.health.frames - before
    tally.seen[control.phase.value] += 1
    run.host_ns = round(now_s * 1e9)
    run.finish()

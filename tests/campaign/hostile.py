"""``python -m tests.campaign.hostile``: millions of hostile bytes into both sides.

Five kinds of bytes: random ones; random ones with delimiters; valid traffic with bits
turned over; whole frames of random types and bodies; valid traffic cut and spliced
(and the like of lines, in ``hostile_lines``). They go into framing, messages and
session, into the stand, and into the control in each of its phases. Nothing may be
raised but what is documented, nothing may grow, every byte and every frame has to be
accounted for. Exit status 0 when all of that held, else 1.
"""

import argparse
import gc
import itertools
import sys
import traceback
import tracemalloc
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache, partial
from typing import Final, TypeVar

import numpy as np

from daq.clock import Clock
from daq.firmware.lockstep import Lockstep
from daq.link import messages as m
from daq.link.framing import MAX_ENCODED, Deframer, frame
from daq.link.session import MAX_AWAITED, Session
from daq.link.standing import MAY_DRIVE
from daq.machine_clock import MachineClock
from daq.records.wirelog import Kind
from daq.stand.device import ZERO_PULSE_S, Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols.control import Control
from protocols.phases import Phase
from tests import built
from tests.protocols.test_control_laws import TASK, Spin, assert_replays
from tests.spins import spin

BLOCK: Final = 1 << 16
GROWTH_MAX: Final = 8_000  # bytes kept more after than before, whatever went in
SERVO_S: Final = 0.003
PORTION: Final = 200  # bytes that the firmware's core deals with at once
COUNTED_AFTER: Final = 500  # half milliseconds
TICK_S: Final = 0.001

_Code = TypeVar(
    "_Code", m.State, m.Cause, m.Verdict, m.Quantity, m.Kind, m.StopReason, m.Trigger
)
Rng = np.random.Generator
Maker = Callable[[Rng, int], bytes]


# ------------------------------------------------------------ kinds of bytes


@cache
def traffic() -> tuple[bytes, bytes]:
    """What both sides say in a whole spin: from the stand, to the stand."""
    run = spin(TASK)
    run.run()
    kinds = (Kind.BYTES_IN, Kind.BYTES_OUT)
    heard, said = (
        b"".join(r.data for r in run.records if r.kind is kind) for kind in kinds
    )
    return heard, said


def noise(rng: Rng, size: int) -> bytes:
    """Random bytes."""
    return rng.bytes(size)


def delimited(rng: Rng, size: int) -> bytes:
    """Random bytes, one in eight a delimiter."""
    data = rng.integers(0, 256, size, np.uint8)
    data[rng.random(size) < 1 / 8] = 0
    return data.tobytes()


def flipped(rng: Rng, size: int) -> bytes:
    """Valid traffic either way with bits turned over, here few, there many."""
    both = traffic()
    source = both[int(rng.integers(2))]
    start = int(rng.integers(len(source)))
    data = np.frombuffer(_round(source, start, size), np.uint8).copy()
    rate = 10.0 ** rng.uniform(-4, -1)
    hit = np.flatnonzero(rng.random(size) < rate)
    data[hit] ^= (1 << rng.integers(0, 8, hit.size)).astype(np.uint8)
    return data.tobytes()


TYPES: Final = (*m.FROM_STAND, *m.TO_STAND)


def _told(rng: Rng) -> m.Message:
    """A message whose every field may be, and is believed by whoever hears it."""

    def any_of(kind: type[_Code]) -> _Code:
        codes = [code for code in kind if code]
        return codes[int(rng.integers(len(codes)))]

    u8, u16, u32 = (int(rng.integers(1 << bits)) for bits in (8, 16, 32))
    boot = 1 if rng.random() < 0.8 else u16
    few, throttle = int(rng.integers(8)), int(rng.integers(m.THROTTLE_FULL + 1))
    lease_ms = int(rng.integers(m.LEASE_MIN_MS, m.LEASE_MAX_MS + 1))
    state, cause, verdict = any_of(m.State), any_of(m.Cause), any_of(m.Verdict)
    verdict = m.Verdict.DONE if rng.random() < 0.5 else verdict
    name = f"channel-{few}"
    limit = m.LimitEntry(few, -u16 % 0x8000, 0x7FFF, 1 + few, 1 + u8 % 255)
    every: tuple[Callable[[], m.Message], ...] = (
        lambda: m.Identity(1, few, u8, boot, u32, m.Ability(u8), few, few % 4, name),
        lambda: m.ChannelPage(
            few, any_of(m.Quantity), any_of(m.Kind), 2, 1.5, 0, -99, u16, 0, u16, name
        ),
        lambda: m.StreamPage(few % 4, 1 + u16, (few, u8 % 8)),
        lambda: m.Samples(few % 4, u32, rng.bytes((12, 4, 4, u8 % 57)[few % 4])),
        lambda: m.Event(u32, boot, few, state, cause, few, u8, few, u16, throttle),
        lambda: m.Reply(TYPES[u8 % len(TYPES)], u8 % 200, verdict, u16, u32),
        lambda: m.Counters(u32, boot, state, few, few, throttle, u16, 0, 0, 0, 0),
        lambda: m.Who(few),
        lambda: m.Limits((limit,) * (few % 5)),
        lambda: m.Prove(u16, boot, u16, lease_ms, u32),
        lambda: m.Arm(u16, boot, u16, lease_ms, u32),
        lambda: m.Throttle(u16, throttle, lease_ms, u32),
        lambda: m.Stop(any_of(m.StopReason)),
        lambda: m.Acknowledge(boot, few),
        lambda: m.Lock(boot),
        lambda: m.Burst(few, few, 0, 1 + few, few, u32, 1 + u16, u8, 1, rng.bytes(1)),
        lambda: m.Capture(
            u8, boot, few, u32, 1 + u16, u16, any_of(m.Trigger), u16, 1 + u16 % 5000
        ),
    )
    return every[int(rng.integers(len(every)))]()


def framed(rng: Rng, size: int) -> bytes:
    """Whole frames of random types and bodies; half of them are messages."""
    out = bytearray()
    number = int(rng.integers(0x10000))
    while len(out) < size:
        number += 1
        if rng.random() < 0.5:
            out += frame(m.encode(_told(rng), number))
            continue
        code = TYPES[int(rng.integers(len(TYPES)))]
        if rng.random() < 0.2:
            code = int(rng.integers(256))
        out += frame(bytes([code]) + rng.bytes(2 + int(rng.integers(62))))
    return bytes(out[:size])


def spliced(rng: Rng, size: int) -> bytes:
    """Valid traffic of both sides in pieces, out of order and again and again."""
    out = bytearray()
    while len(out) < size:
        source = traffic()[int(rng.random() < 0.3)]
        start = int(rng.integers(len(source)))
        length = int(rng.integers(1, 600))
        if rng.random() < 0.5:  # at the frames' ends, so that whole ones come
            start = source.find(b"\0", start) + 1
        out += source[start : start + length]
    return bytes(out[:size])


def _round(source: bytes, start: int, size: int) -> bytes:
    """A stretch of it, from the beginning again where it ends."""
    turned = source[start:] + source[:start]
    return (turned * (size // len(turned) + 1))[:size]


MAKERS: Final[dict[str, Maker]] = {
    "random bytes": noise,
    "random with delimiters": delimited,
    "valid, bits turned over": flipped,
    "frames of random bodies": framed,
    "valid, cut and spliced": spliced,
}


def makers_for(subject: str) -> dict[str, Maker]:
    """The kinds of bytes that a subject is fed with."""
    from tests.campaign import hostile_lines

    return hostile_lines.MAKERS if subject in hostile_lines.SUBJECTS else MAKERS


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


# --------------------------------------------------------------- what must hold


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


def into_framing(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
    """Every byte is in a payload, a delimiter, a drop or the rest."""
    deframer = Deframer()
    delimiters = whole = 0
    for chunk in source:
        tally.bytes += len(chunk)
        delimiters += chunk.count(0)
        for payload in deframer.feed(chunk):
            tally.frames += 1
            whole += len(payload) + 3  # CRC, and what COBS adds
        hold(len(deframer._rest) <= MAX_ENCODED + 1, "the rest grows")
        growth.look(tally.bytes)
    accounted = whole + delimiters + deframer.drops.bytes + len(deframer._rest)
    hold(accounted == tally.bytes, f"{tally.bytes - accounted} bytes unaccounted for")
    tally.seen["dropped"] = deframer.drops.frames


def into_messages(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
    """A payload is malformed, unknown, or a message that reads back as itself."""
    deframer = Deframer()
    for chunk in source:
        tally.bytes += len(chunk)
        for payload in deframer.feed(chunk):
            tally.frames += 1
            for decode in (m.decode_from_stand, m.decode_to_stand):
                try:
                    message = decode(payload)
                except m.MalformedMessage as fault:
                    hold(bool(str(fault)), "malformed without words")
                    tally.seen["malformed"] += 1
                    continue
                if isinstance(message, m.Unknown):
                    tally.seen["unknown"] += 1
                    continue
                tally.seen["read"] += 1
                again = m.encode(message, m.head(payload)[1])
                hold(decode(again) == message, f"{message} reads back otherwise")
        growth.look(tally.bytes)


ASKS: Final = (
    m.Who(),
    m.Stop(m.StopReason.PERSON),
    m.Acknowledge(1, 2),
    m.Throttle(7, 100, 200, 5),
    m.Lock(1),
)


def into_session(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
    """Each frame is counted once, whatever it says; what is awaited stays bounded."""
    session, tap = Session(), Deframer()
    now_s = 0.0
    session.identify(now_s)
    for number, chunk in enumerate(source):
        now_s += 0.002
        tally.bytes += len(chunk)
        tally.frames += len(tap.feed(chunk))
        for happening in session.receive(chunk, now_s):
            tally.seen[type(happening).__name__.lower()] += 1
        if number % 7 == 0:
            session.send(ASKS[number // 7 % len(ASKS)], now_s)
        if session.deadline_s <= now_s:
            session.poll(now_s)
        if number % 5000 == 4999:
            session.identify(now_s)
        growth.look(tally.bytes)
    health = session.health
    counted = health.frames + health.malformed + health.unknown + health.unsorted
    hold(counted == tally.frames, f"{tally.frames} frames, {counted} counted")
    hold(session.drops == tap.drops.frames, "drops are counted otherwise")
    hold(health.lost >= 0, f"{health.lost} lost")
    hold(len(session._awaited) <= MAX_AWAITED, "awaited replies grow")
    hold(len(session._pages.channels) <= m.MAX_CHANNELS, "channel pages grow")
    hold(len(session._pages.streams) <= 256, "stream pages grow")


RENEWING: Final = (m.Prove.TYPE, m.Arm.TYPE, m.Throttle.TYPE)


def into_stand(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
    """No pulse but on a live lease; every frame is obeyed or counted as malformed."""
    device, tap = Device(Plant(shipped_truth(), 1, plug_in=False)), Deframer()
    renewed_s = -1.0
    for number, chunk in enumerate(source):
        tally.bytes += len(chunk)
        for payload in tap.feed(chunk):
            tally.frames += 1
            if payload[0] in RENEWING:
                renewed_s = device.time_us * 1e-6
        device.receive(chunk)
        sent = device.advance(1)
        hold(len(sent) < 4_000 + 600 * len(chunk), f"{len(sent)} bytes in answer")
        if device.pulse_s > ZERO_PULSE_S:
            tally.seen["ticks with a pulse"] += 1
            longest_s = m.LEASE_MAX_MS * 1e-3 + SERVO_S + 2 * TICK_S
            hold(
                device.time_us * 1e-6 - renewed_s <= longest_s,
                "a pulse without anybody renewing its lease",
            )
        if number % 1000 == 999 and device.state is m.State.TRIPPED:
            acknowledge = m.Acknowledge(device.boot, device._latch)
            device.receive(b"\0" + frame(m.encode(acknowledge, number)))
            tap.feed(b"\0" + frame(m.encode(acknowledge, number)))
            tally.frames += 1
        growth.look(tally.bytes)
    counted = device._received + device._malformed
    hold(counted == tally.frames, f"{tally.frames} frames, {counted} counted")
    hold(device._deframer.drops.frames == tap.drops.frames, "drops differ")
    device.advance(m.LEASE_MAX_MS + 10)
    hold(device.pulse_s == ZERO_PULSE_S, "a pulse when nobody speaks any more")
    hold(device.state not in MAY_DRIVE, f"{device.state.name} when nobody speaks")


SPELL: Final = 8_000  # bytes into one spin before the next begins
REPLAYED_EVERY: Final = 5
PHASES: Final = (
    Phase.IDENTIFYING,
    Phase.LISTENING,
    Phase.LATCHED,
    Phase.UNPLUGGING,
    Phase.PROVING,
    Phase.PLUGGING,
    Phase.ZEROING,
    Phase.LIMITING,
    Phase.READY,
    Phase.TRYING,
    Phase.ARMING,
    Phase.RUNNING,
    Phase.LOCKING,
    Phase.LINGERING,
    Phase.STOPPING,
    Phase.ENDED,
)


class Assailed(Spin):
    """A spin that is brought to a phase, and whose stand then says whatever comes."""

    def climb(self, phase: Phase) -> None:
        """With its own stand, as far as that; whatever it is then in, it stays."""
        self.begin()
        self.went = phase is Phase.READY  # nobody says go
        if phase is Phase.LATCHED:
            self.device.receive(frame(m.encode(m.Stop(m.StopReason.PERSON), 0)))
        self._input(Kind.TICK, b"")
        for _ in range(20_000):
            if self.control.phase is phase:
                return
            self.step(2)
            if phase is Phase.STOPPING and self.control.phase is Phase.RUNNING:
                self.order(order="stop")
        raise Broken(f"never came to {phase.value}")

    def assail(self, chunk: bytes) -> None:
        """Bytes come in, a little later; nothing else does."""
        self.host_ns += 20_000_000
        self._input(Kind.BYTES_IN, chunk)
        if self.control.deadline_s <= self.host_ns * 1e-9:
            self._input(Kind.TICK, b"")

    def finish(self) -> None:
        """A person stops it, the stand says nothing more: that ends it."""
        self.order(order="stop")
        for _ in range(1_000):
            if self.control.phase is Phase.ENDED:
                return
            self.host_ns += 5_000_000
            if self.control.deadline_s <= self.host_ns * 1e-9:
                self._input(Kind.TICK, b"")
        raise Broken(f"a stop left it {self.control.phase.value}")


def assailed(phase: Phase) -> Assailed:
    """A spin in that phase."""
    device = Device(Plant(shipped_truth(), 1))
    run = Assailed(Control(TASK, "test port"), device)
    run.climb(phase)
    return run


def into_control(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
    """From each phase: the laws of what is said hold, and it ends when told to."""
    for number, phase in enumerate(itertools.cycle(PHASES)):
        run, spell = assailed(phase), 0
        before = run.control.session.health.frames
        for chunk in source:
            spell += len(chunk)
            run.assail(chunk)
            if spell >= SPELL:
                break
        tally.bytes += spell
        tally.frames += max(0, run.control.session.health.frames - before)
        tally.seen[f"{phase.value} to {run.control.phase.value}"] += 1
        run.finish()
        hold(run.control.outcome is not None, "no outcome")
        if number % REPLAYED_EVERY == 0:
            assert_replays(run.records, TASK)
        if spell < SPELL:
            return


def into_one_control(
    phase: Phase, source: Iterator[bytes], growth: Growth, tally: Tally
) -> None:
    """One control for all of it: what it keeps does not grow with what it hears."""
    run = assailed(phase)
    control, now_s = run.control, run.host_ns * 1e-9
    before = control.session.health.frames
    for chunk in source:
        tally.bytes += len(chunk)
        now_s += 0.002
        control.receive(chunk, now_s)
        control.tick(now_s)
        growth.look(tally.bytes)
    tally.frames = control.session.health.frames - before
    tally.seen[control.phase.value] += 1
    run.host_ns = round(now_s * 1e9)
    run.finish()


def into_driven_stand(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
    """With the motor turning: the pulse ends when nobody renews its lease."""
    longest_s = m.LEASE_MAX_MS * 1e-3 + SERVO_S + 2 * TICK_S
    for _ in itertools.count():
        run, tap, spell = assailed(Phase.RUNNING), Deframer(), 0
        device = run.device
        while device.pulse_s == ZERO_PULSE_S:
            run.step(2)
        renewed_s = device.time_us * 1e-6
        for chunk in source:
            spell += len(chunk)
            frames = tap.feed(chunk)
            tally.frames += len(frames)
            if any(payload[0] in RENEWING for payload in frames):
                renewed_s = device.time_us * 1e-6
            device.receive(chunk)
            device.advance(20)
            away_s = device.time_us * 1e-6 - renewed_s
            if device.pulse_s > ZERO_PULSE_S:
                hold(away_s <= longest_s, f"a pulse {away_s:.3f} s after a renewal")
            if spell >= SPELL:
                break
        tally.bytes += spell
        tally.seen[f"left {device.state.name.lower()}"] += 1
        if spell < SPELL:
            return


def into_firmware(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
    """The firmware's core in C, with sanitizers: it goes on, and counts every frame."""
    core = Lockstep([str(built.host())])
    tap, heard = Deframer(), Deframer()
    counters: m.Counters | None = None
    try:
        quiet = [b"\0"] * COUNTED_AFTER  # until the counters have told of everything
        for chunk in itertools.chain(source, quiet):
            for at in range(0, len(chunk), PORTION):
                part = chunk[at : at + PORTION]
                tally.frames += len(tap.feed(part))
                core.send(part)
                for payload in heard.feed(core.run(500).sent):
                    message = m.decode_from_stand(payload)
                    tally.seen[type(message).__name__.lower()] += 1
                    if isinstance(message, m.Counters):
                        counters = message
            tally.bytes += len(chunk) if chunk != b"\0" else 0
            hold(heard.drops.frames == 0, "it said something damaged")
            growth.look(tally.bytes)
    finally:
        core.close()
    hold(counters is not None, "it says nothing any more")
    if counters is not None:
        due = tally.frames + tap.drops.frames
        found = counters.received + counters.damaged
        hold((due - found) & 0xFFFF == 0, f"{due} frames, {found} counted")
        hold(counters.throttle == 0, "a throttle")


SUBJECTS: Final[dict[str, Subject]] = {
    "firmware core": into_firmware,
    "framing": into_framing,
    "messages": into_messages,
    "session": into_session,
    "stand": into_stand,
    "stand, motor turning": into_driven_stand,
    "control, each phase": into_control,
    "one control, ready": partial(into_one_control, Phase.READY),
    "one control, running": partial(into_one_control, Phase.RUNNING),
}


def every_subject() -> dict[str, Subject]:
    """Those here, and those of stands that print lines."""
    from tests.campaign import hostile_lines

    return SUBJECTS | hostile_lines.SUBJECTS


@dataclass(frozen=True, slots=True)
class Result:
    """One kind of bytes into one subject.

    Attributes:
        subject: into what.
        kind: of bytes.
        tally: what became of them.
        took_s: how long it took.
        broken: the law that did not hold, or "".
    """

    subject: str
    kind: str
    tally: Tally
    took_s: float
    broken: str


def assail(subject: str, kind: str, size: int, seed: int, clock: Clock) -> Result:
    """That many bytes of that kind into that."""
    tally, growth = Tally(), Growth(size)
    begun_s = clock.now_s()
    broken = ""
    try:
        source = chunks(makers_for(subject)[kind], seed, size)
        every_subject()[subject](source, growth, tally)
    except Broken as law:
        broken = str(law)
    except Exception as fault:  # noqa: BLE001 - whatever is not documented
        broken = f"{type(fault).__name__}: {fault}"
        traceback.print_exc()
    finally:
        growth.end()
    tally.grown = growth.bytes
    if growth.bytes > GROWTH_MAX and not broken:
        broken = f"{growth.bytes} bytes kept more"
    return Result(subject, kind, tally, clock.now_s() - begun_s, broken)


def table(results: Sequence[Result]) -> str:
    """One row a subject and kind."""
    lines = [
        f"{'into':<21}{'kind of bytes':<25}{'bytes':>11}{'frames':>9}{'MB/s':>7}"
        f"{'grown':>8}  law"
    ]
    for one in results:
        speed = one.tally.bytes / one.took_s / 1e6
        lines.append(
            f"{one.subject:<21}{one.kind:<25}{one.tally.bytes:>11,}"
            f"{one.tally.frames:>9,}{speed:>7.2f}{one.tally.grown:>8,}  "
            f"{one.broken or 'held'}"
        )
    return "\n".join(lines)


def seen_in(results: Sequence[Result]) -> str:
    """What was made of the bytes, by what went in."""
    lines = []
    for subject in dict.fromkeys(one.subject for one in results):
        total: Counter[str] = Counter()
        for one in results:
            if one.subject == subject:
                total += one.tally.seen
        told = ", ".join(f"{name} {number:,}" for name, number in sorted(total.items()))
        lines.append(f"{subject}: {told}")
    return "\n".join(lines)


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign.hostile")
    parser.add_argument("--bytes", type=int, default=10_000_000, help="into each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--into", choices=every_subject(), action="append")
    options = parser.parse_args()
    clock = MachineClock()
    results = []
    for subject in options.into or every_subject():
        kinds = makers_for(subject)
        size = options.bytes // len(kinds)
        for kind in kinds:
            results.append(assail(subject, kind, size, options.seed, clock))
            print(table(results[-1:]).splitlines()[1], file=sys.stderr, flush=True)
    print(table(results))
    print()
    print(seen_in(results))
    return 1 if any(one.broken for one in results) else 0


if __name__ == "__main__":
    sys.exit(main())

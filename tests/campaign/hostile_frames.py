"""Hostile bytes for what hears frames; ``tests.campaign.hostile`` runs them.

Random bytes; random ones with delimiters; valid traffic with bits turned over; whole
frames of random types and bodies; valid traffic cut and spliced. They go into framing,
messages and session, into the stand and the firmware's core, and into the control in
each of its phases.
"""

import itertools
from collections.abc import Callable, Iterator
from functools import cache, partial
from typing import Final, TypeVar

import numpy as np
from typing_extensions import override

from daq.firmware.lockstep import Lockstep
from daq.link import messages as m
from daq.link.framing import MAX_ENCODED, Deframer, frame
from daq.link.session import MAX_AWAITED, Session
from daq.link.standing import MAY_DRIVE
from daq.records.wirelog import Kind
from daq.stand.device import ZERO_PULSE_S, Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols.control import Control
from protocols.phases import Phase
from tests import built
from tests.campaign.assault import (
    Assailed,
    Growth,
    Maker,
    Rng,
    Subject,
    Tally,
    cut_up,
    hold,
    into_each_phase,
    into_one,
    noise,
    turned_over,
)
from tests.protocols.test_control_laws import TASK, Spin
from tests.spins import spin

SERVO_S: Final = 0.003
PORTION: Final = 200  # bytes that the firmware's core deals with at once
COUNTED_AFTER: Final = 500  # half milliseconds
TICK_S: Final = 0.001

_Code = TypeVar(
    "_Code", m.State, m.Cause, m.Verdict, m.Quantity, m.Kind, m.StopReason, m.Trigger
)


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


def delimited(rng: Rng, size: int) -> bytes:
    """Random bytes, one in eight a delimiter."""
    data = rng.integers(0, 256, size, np.uint8)
    data[rng.random(size) < 1 / 8] = 0
    return data.tobytes()


def flipped(rng: Rng, size: int) -> bytes:
    """Valid traffic either way with bits turned over, here few, there many."""
    return turned_over(rng, traffic()[int(rng.integers(2))], size)


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
    return cut_up(rng, lambda: traffic()[int(rng.random() < 0.3)], b"\0", size)


MAKERS: Final[dict[str, Maker]] = {
    "random bytes": noise,
    "random with delimiters": delimited,
    "valid, bits turned over": flipped,
    "frames of random bodies": framed,
    "valid, cut and spliced": spliced,
}


# ------------------------------------------------------------ what they go into


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


class AssailedFrames(Assailed, Spin):
    """A spin on a stand that speaks frames."""

    stopping = Phase.STOPPING
    ends_within_s = 5.0
    task = TASK

    @override
    def prepare(self, phase: Phase) -> None:
        self.begin()
        if phase is Phase.LATCHED:
            self.device.receive(frame(m.encode(m.Stop(m.StopReason.PERSON), 0)))

    @override
    def pause_s(self, chunk: bytes) -> float:
        return 0.02


def assailed(phase: Phase, number: int = 0) -> AssailedFrames:
    """A spin in that phase."""
    device = Device(Plant(shipped_truth(), 1))
    run = AssailedFrames(Control(TASK, "test port"), device)
    run.climb(phase)
    return run


def into_control(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
    """From each phase."""
    into_each_phase(PHASES, assailed, SPELL, source, tally)


def into_one_control(
    phase: Phase, source: Iterator[bytes], growth: Growth, tally: Tally
) -> None:
    """One control for all of it."""
    into_one(assailed(phase), lambda chunk: 0.002, source, growth, tally)


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

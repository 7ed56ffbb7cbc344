"""Hostile bytes for what hears lines; ``tests.campaign.hostile`` runs them.

Random bytes; random ones with line ends; printed lines with bits turned over; lines
of random fields; printed lines cut and spliced. They go into a session, and into the
control from each phase. Nothing of a line is used that is not whole, every line is
accounted for, and no throttle leaves that the phase does not allow.
"""

import math
from collections.abc import Iterator, Sequence
from functools import cache, partial
from typing import Final, cast

import numpy as np
from typing_extensions import override

from daq.link import messages as m
from daq.link.columns.commands import HeardCommands
from daq.link.columns.description import Description
from daq.link.columns.lines import MAX_LINE
from daq.link.columns.session import SIMULATED_LINE, LineSession
from daq.link.session import Sampled
from daq.link.standing import MAY_DRIVE
from daq.records.wirelog import Kind
from daq.stand.device import Device
from daq.stand.faults.stand import FaultyStand
from daq.stand.lines import LineStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols.control import Control
from protocols.phases import GUARDED, OVER, Phase
from protocols.task import Task
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
from tests.lined import DESCRIPTION, described, timeless
from tests.protocols.test_control_laws import QUICK
from tests.spins import LIMITS, NONCE

ALIVE: Final = 'keep_alive = "K\\n"\nkeep_alive_period_s = 0.2\n'
TEXTS: Final = (DESCRIPTION, timeless(), DESCRIPTION + ALIVE)
SPELL: Final = 2_000  # bytes into one spin before the next begins
BYTES_PER_S: Final = 2_200.0


# ------------------------------------------------------------ kinds of bytes


@cache
def printed() -> bytes:
    """What two stands print while somebody drives them."""
    return b"".join(_printed(text) for text in TEXTS[:2])


def _printed(text: str) -> bytes:
    stand = LineStand(Device(Plant(shipped_truth(), 1)), described(text))
    out = stand.advance(2000)
    stand.receive(b"T30.0\n")
    return out + stand.advance(3000)


def ended(rng: Rng, size: int) -> bytes:
    """Random bytes, one in eight a line end."""
    data = rng.integers(0, 256, size, np.uint8)
    data[rng.random(size) < 1 / 8] = 10
    data[rng.random(size) < 1 / 40] = 13
    return data.tobytes()


def flipped(rng: Rng, size: int) -> bytes:
    """Printed lines with bits turned over, here few, there many."""
    return turned_over(rng, printed(), size)


_ODD: Final = (
    "nan", "-inf", "1e999", "-1e308", "0x10", "1_0", "", "--1", "1e-400", "٣", "1.",
    ".5", "+3.20", "T50.0", "S", "K", "ovf", "9" * 300, "1,5", '"', "#", "\t", "\0",
)  # fmt: skip


def fields(rng: Rng, size: int) -> bytes:
    """Whole lines of random fields, the clock often one that could be."""
    out = bytearray()
    now_us = int(rng.integers(1 << 32))
    while len(out) < size:
        now_us = (now_us + int(rng.integers(0, 30_000))) % (1 << 32)
        if rng.random() < 0.02:
            now_us = int(rng.integers(1 << 33))
        row = [f"{now_us}", *(f"{rng.normal(0, 300):.1f}" for _ in range(1))]
        row += [f"{rng.normal(11, 3):.2f}", f"{rng.exponential(5):.2f}"]
        if rng.random() < 0.3:
            row[int(rng.integers(len(row)))] = _ODD[int(rng.integers(len(_ODD)))]
        if rng.random() < 0.3:
            row = row[1:] if rng.random() < 0.7 else row * int(rng.integers(4))
        line = ",".join(row)
        line = SIMULATED_LINE if rng.random() < 0.01 else line
        out += line.encode() + (b"\n", b"\r\n", b"\r")[int(rng.integers(3))]
    return bytes(out[:size])


def spliced(rng: Rng, size: int) -> bytes:
    """Printed lines in pieces, out of order and again and again."""
    return cut_up(rng, printed, b"\n", size)


MAKERS: Final[dict[str, Maker]] = {
    "random bytes": noise,
    "random with line ends": ended,
    "lines, bits turned over": flipped,
    "lines of random fields": fields,
    "lines, cut and spliced": spliced,
}


# ------------------------------------------------------------ the session


ASKS: Final[Sequence[m.ToStand]] = (
    m.Who(),
    m.Throttle(7, 4000, 200, 5),
    m.Stop(m.StopReason.PERSON),
    m.Acknowledge(1, 2),
    m.Lock(1),
    m.Prove(7, 1, 0, 200, 0),
)


class Drivable:
    """Asks a stand-in for throttle as often as it may be had, and judges its words."""

    def __init__(self, description: Description) -> None:
        self._heard = HeardCommands(description.commands)
        self._nonce = 0
        self.limits = m.Limits((m.LimitEntry(2, -100, 100, 3, 10),))

    def ask(self, session: LineSession, now_s: float, number: int) -> None:
        """One command, and what is due."""
        stand_in = session._stand_in
        if number % 40 == 0:
            self._nonce += 1
            self._say(session, m.Acknowledge(stand_in.boot, stand_in.latch), now_s)
            self._say(session, self.limits, now_s)
            crc = self.limits.crc
            arm = m.Arm(self._nonce % 0xFFFF + 1, stand_in.boot, crc, 200, 0)
            self._say(session, arm, now_s)
        elif number % 11 == 0:
            self._say(session, ASKS[number // 11 % len(ASKS)], now_s)
        else:
            nonce = self._nonce % 0xFFFF + 1
            self._say(session, m.Throttle(nonce, number % 10_001, 200, 0), now_s)
        self._judge(session, session.poll(now_s)[0])

    def _say(self, session: LineSession, command: m.ToStand, now_s: float) -> None:
        self._judge(session, session.send(command, now_s))

    def _judge(self, session: LineSession, text: bytes) -> None:
        for line in text.decode("ascii").splitlines():
            drives = session._stand_in.state in MAY_DRIVE
            throttle = self._heard.throttle(line)
            hold(self._heard.hears(line), f"{line!r} is no command")
            hold(not throttle or drives, f"{line!r} while {session._stand_in.state}")


def into_session(
    text: str, source: Iterator[bytes], growth: Growth, tally: Tally
) -> None:
    """Each line is used whole, refused, skipped or dropped, and counted once."""
    description = described(text)
    session, driver = LineSession(description), Drivable(description)
    lines, rest, now_s, simulated = 0, b"", 0.0, 0
    session.identify(now_s)
    for number, chunk in enumerate(source):
        now_s += pause_s(chunk)
        tally.bytes += len(chunk)
        *whole, rest = (rest + chunk.replace(b"\r", b"\n")).split(b"\n")
        rest = rest[: MAX_LINE + 1]
        lines += sum(1 for line in whole if line.strip(b" "))
        simulated += whole.count(SIMULATED_LINE.encode())
        for happening in session.receive(chunk, now_s):
            tally.seen[type(happening).__name__.lower()] += 1
            if isinstance(happening, Sampled):
                hold(len(happening.counts) == len(description.channels), "a part of it")
        driver.ask(session, now_s, number)
        hold(len(session._pending) == 0, "what is pending grows")
        hold(len(session._lines._rest) <= MAX_LINE + 1, "the rest grows")
        hold(1 <= session._stand_in.boot <= 0xFFFF, "a boot that no message holds")
        growth.look(tally.bytes)
    health, drops = session.health, session._lines.drops
    counted = health.frames + health.malformed + health.unknown
    counted += session.reader.skipped + drops.cut + simulated
    hold(counted in (lines, lines + 1), f"{lines} lines, {counted} counted")
    tally.frames = health.frames
    now_s += 60.0
    session.poll(now_s)
    hold(session._stand_in.state not in MAY_DRIVE, "it drives when nobody renews")


# ------------------------------------------------------------ the control


PHASES: Final = (
    Phase.IDENTIFYING,
    Phase.LISTENING,
    Phase.PLUGGING,
    Phase.ZEROING,
    Phase.READY,
    Phase.TRYING,
    Phase.RUNNING,
    Phase.LINGERING,
    Phase.ENDED,
)


class AssailedLines(Assailed):
    """A spin on a stand that prints lines."""

    stopping = Phase.LINGERING
    ends_within_s = 10.0
    heard: HeardCommands
    over = False
    stopped_s = math.inf  # when a stop was first said for good
    newest_s = -math.inf  # when a line was last taken

    @override
    def _input(self, kind: Kind, data: bytes) -> None:
        before, frames = len(self.records), self.control.session.health.frames
        super()._input(kind, data)
        if self.control.session.health.frames > frames:
            self.newest_s = self.elapsed_s
        if self.control.phase in OVER:
            self.stopped_s = min(self.stopped_s, self.elapsed_s)
        for record in self.records[before:]:
            if record.kind is Kind.BYTES_OUT:
                self._judge(record.data.decode("ascii"))
        self.over |= self.control.phase in OVER

    def _judge(self, text: str) -> None:
        """Whatever is said is a command that the phase allows."""
        phase = self.control.phase
        for line in text.splitlines():
            throttle = self.heard.throttle(line)
            hold(self.heard.hears(line), f"{line!r} is no command")
            if throttle:
                hold(phase in GUARDED, f"{line!r} while {phase.value}")
                hold(not self.over, f"{line!r} after a stop")
            elif throttle is None and line not in self.heard.stop:
                hold(phase in GUARDED, f"{line!r} while {phase.value}")

    @override
    def prepare(self, phase: Phase) -> None:
        stand: object = self.device
        if phase is Phase.PLUGGING and isinstance(stand, LineStand):
            stand.plug_in, self.obliging = False, False

    @override
    def pause_s(self, chunk: bytes) -> float:
        return pause_s(chunk)

    @override
    def judge(self, phase: Phase, tally: Tally) -> None:
        outcome = self.control.outcome
        turned = phase in (*GUARDED, Phase.LINGERING)
        if outcome is not None and turned and outcome.stop_confirmed:
            tally.seen["confirmed"] += 1
            seen = self.newest_s > self.stopped_s
            hold(seen, "a confirmed stop that nobody saw")


def pause_s(chunk: bytes) -> float:
    """So that a clock in printed lines keeps pace."""
    return len(chunk) / BYTES_PER_S


def assailed(phase: Phase, number: int = 0) -> AssailedLines:
    """A spin in that phase, on one stand after the other."""
    text = TEXTS[number % len(TEXTS)]
    task = Task(QUICK, LIMITS, NONCE, lines=text)
    stand = LineStand(FaultyStand(Plant(shipped_truth(), 1)), described(text))
    run = AssailedLines(Control(task, "test port"), cast(Device, stand))
    run.task = task
    run.heard = HeardCommands(described(text).commands)
    run.climb(phase)
    return run


def into_control(source: Iterator[bytes], growth: Growth, tally: Tally) -> None:
    """From each phase."""
    into_each_phase(PHASES, assailed, SPELL, source, tally)


def into_one_control(
    phase: Phase, source: Iterator[bytes], growth: Growth, tally: Tally
) -> None:
    """One control for all of it."""
    into_one(assailed(phase), pause_s, source, growth, tally)


SUBJECTS: Final[dict[str, Subject]] = {
    "line session": partial(into_session, DESCRIPTION),
    "timeless session": partial(into_session, TEXTS[1]),
    "control on lines": into_control,
    "one control on lines": partial(into_one_control, Phase.READY),
}

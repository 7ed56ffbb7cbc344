"""The C core and the simulated device, given the same: they must say the same.

Two implementations of one page. Random commands, right and wrong ones, and random
events at the pins go to both; every event and every reply has to be the same, in the
same order. Only the stamps are left out.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest

from daq.firmware.lockstep import Lockstep
from daq.link import messages as m
from daq.link.framing import Deframer, frame
from daq.stand.device import Device
from daq.stand.plant.conversions import Converter
from daq.stand.plant.sensors import FastFrame, SensorSpec
from tests import built

STEPS = 80
# How often each move is made: grant, throttle, limits, clear, stop, rubbish, pin,
# capture.
DRIVING = (1, 12, 2, 1, 1, 1, 2, 1)
WEIGHTS = {
    m.State.LOCKED: (10, 1, 4, 1, 1, 2, 3, 2),
    m.State.TRIPPED: (1, 1, 1, 9, 1, 1, 2, 1),
}
PLUGGED, UNPLUGGED = 583, 0  # steps of the converter
CALM, MUCH = 20, 400
NO_READING_16, NO_READING_32 = -(1 << 15), -(1 << 31)
QUANTITIES = {
    m.Quantity.FORCE: "force",
    m.Quantity.CURRENT: "current",
    m.Quantity.VOLTAGE: "voltage",
    m.Quantity.ROTATIONAL_SPEED: "rotational speed",
    m.Quantity.DURATION: "duration",
    m.Quantity.POWER: "power",
}


def spec_of(page: m.ChannelPage) -> SensorSpec:
    """A channel of the firmware as the simulated device declares one."""
    return SensorSpec(
        name=page.name,
        quantity=QUANTITIES[page.quantity],
        kind="point",
        counts_per_unit=page.counts_per_unit,
        zero_counts=page.zero_counts,
        low_counts=page.low_counts,
        high_counts=page.high_counts,
        width_bytes=page.width,
        gain_tolerance_rel=1e-4,
        delay_s=page.delay_us * 1e-6,
    )


@dataclass
class Pins:
    """What both see; an article for the simulated device."""

    sensor_specs: tuple[SensorSpec, ...]
    slow_specs: tuple[SensorSpec, ...]
    current: int = CALM
    voltage: int = PLUGGED
    _ms: int = field(default=0, init=False)

    def advance(self, duration_s: float, pulse_s: float) -> None:
        self._ms += 1

    def fast_frame(self) -> FastFrame:
        """All of the fast channels; there is one more than in the usual frame."""
        amps, volts = self.current * 16, self.voltage * 16
        counts = (amps, amps, volts, volts, self.current * self.voltage, 0)
        if self.current < 0:
            none = (NO_READING_16,) * 2 + (volts, volts, NO_READING_32, 0)
            counts = none
        return (*counts, NO_READING_16)  # type: ignore[return-value]

    def slow_frame(self) -> tuple[int, ...]:
        return (5000,)

    def converter(self, name: str) -> Converter:
        return Converter(1000, 1000, 1)

    def conversions(self, name: str, first_us: int, period_us: int) -> list[int]:
        return [16 * (self.current if name == "current" else self.voltage)]

    def take_conversion(self) -> int | None:
        return 0 if self._ms % 25 == 0 else None


Said = tuple[object, ...]


def said(payloads: list[bytes]) -> Iterator[Said]:
    """Events and replies, without their stamps."""
    for payload in payloads:
        match m.decode_from_stand(payload):
            case m.Event() as e:
                rest = (e.latch, e.limit, e.channel, e.count, e.throttle)
                yield ("event", e.boot, e.number, e.state, e.cause, *rest)
            case m.Reply() as r:
                yield ("reply", r.to_type, r.to_sequence, r.verdict, r.value)
            case _:
                pass


class Pair:
    """Both, side by side."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.core = Lockstep([str(built.host())])
        self.core.ask(f"voltage {PLUGGED};current {CALM};readback 0;cell 0")
        self.heard = Deframer(), Deframer()
        self.pins = Pins(*self._specs())
        self.core.ask("reset 1")
        self.device = Device(self.pins, boot=2)
        self.story: list[str] = []
        self.sequence = 0

    def _specs(self) -> tuple[tuple[SensorSpec, ...], tuple[SensorSpec, ...]]:
        self.core.send(b"\0" + frame(m.encode(m.Who(), 0)))
        payloads = Deframer().feed(self.core.run(40_000).sent)
        told = [m.decode_from_stand(payload) for payload in payloads]
        pages = [t for t in told if isinstance(t, m.ChannelPage)]
        fast, slow = pages[:8], pages[8:]
        return tuple(map(spec_of, fast)), tuple(map(spec_of, slow))

    def run(self, ms: int) -> None:
        """Let time pass for both, and compare what they said."""
        told = self.core.run(1000 * ms).sent, self.device.advance(ms)
        core, device = (
            list(said(heard.feed(sent)))
            for heard, sent in zip(self.heard, told, strict=True)
        )
        assert core == device, "\n".join(self.story[-12:])

    def give(self, wire: bytes, words: str) -> None:
        """The same bytes to both."""
        self.story.append(words)
        self.core.send(wire)
        self.device.receive(wire)

    def command(self, message: m.ToStand) -> None:
        """A command, under the next number."""
        payload = m.encode(message, self.sequence)
        self.sequence = (self.sequence + 1) & 0xFFFF
        self.give(b"\0" + frame(payload), repr(message))

    # ------------------------------------------------------------- moves

    def grant(self) -> None:
        """An arming or proving, mostly right."""
        draw, device = self.chance.random, self.device
        nonce = device._spent_nonce + 1 if draw() < 0.9 else device._spent_nonce
        crc = device._limits_crc or 0
        kind = m.Arm if draw() < 0.6 else m.Prove
        self.command(
            kind(
                nonce=nonce & 0xFFFF,
                boot=device.boot if draw() < 0.95 else 9,
                limits_crc=crc if draw() < 0.95 else crc ^ 1,
                lease_ms=self.chance.choice([49, 50, *[200] * 8, 500, 501]),
                seen_us=self._stamp(),
            )
        )

    def _stamp(self) -> int:
        """A stamp as fresh, or as old, as may be; now and then from the future."""
        rare = [49, 150, 199, 200, 300, 1000, -1]
        ages_ms = [0, 1, 2, 30] if self.chance.random() < 0.8 else rare
        age_ms = self.chance.choice(ages_ms)
        return (self.device.time_us - age_ms * 1000) & 0xFFFFFFFF

    def throttle(self) -> None:
        """A setpoint, mostly right."""
        setpoint = self.chance.choice([0, 0, 1, 500, 3000, 10_000])
        nonce = self.device._nonce if self.chance.random() < 0.9 else 77
        lease_ms = self.chance.choice([50, 200, 200, 500])
        self.command(m.Throttle(nonce, setpoint, lease_ms, self._stamp()))

    def limits(self) -> None:
        """A set: wide, violated, or of a channel that is not there."""
        entries = []
        for _ in range(self.chance.choice([1, 1, 2, 3, 5])):
            channel = self.chance.choice([0, 0, 1, 2, 2, 3, 4, 5])
            channel = 40 if self.chance.random() < 0.04 else channel
            low = self.chance.choice([-70_000, -100, *[0] * 8, 100])
            high = self.chance.choice([400, 5000, *[16_367] * 6, 300_000])
            persistence = self.chance.choice([1, 2, 3, 20])
            age = self.chance.choice([1, 5, 10, 255])
            entries.append(m.LimitEntry(channel, low, high, persistence, age))
        self.command(m.Limits(tuple(entries)))

    def clear(self) -> None:
        """An acknowledgement or a lock, mostly right."""
        boot = self.device.boot if self.chance.random() < 0.9 else 9
        if self.chance.random() < 0.7:
            latch = self.device._latch if self.chance.random() < 0.9 else 60_000
            self.command(m.Acknowledge(boot, latch))
        else:
            self.command(m.Lock(boot))

    def capture(self) -> None:
        """Any capture; only the replies are the same, each has its own pace."""
        draw = self.chance.choice
        count = draw([1, 2, 39, 40, 256, 257, 9000])
        wire = m.Capture.LAYOUT.pack(
            self.chance.randrange(256),
            self.device.boot if self.chance.random() < 0.9 else 9,
            draw([0, 0, 1, 2, 2, 3, 4, 7, 8, 9, 63, 64, 255]),
            draw([0, 26_000, 40_000, 2**32 - 1]),
            count if self.chance.random() < 0.9 else 0,
            draw([0, 0, count // 2, count - 1, count]),
            draw([1, 2, 2, 3, 3, 0, 4]),
            draw([-(1 << 31), -1, 0, 320, 8000, 16_280, 16_281, (1 << 31) - 1]),
            draw([1, 50, 5000, 0, 5001]),
        )
        head = bytes([m.Capture.TYPE]) + self.sequence.to_bytes(2, "little")
        self.sequence = (self.sequence + 1) & 0xFFFF
        self.give(b"\0" + frame(head + wire), f"capture {wire.hex()}")

    def stop(self) -> None:
        self.command(m.Stop(m.StopReason.PERSON))

    def rubbish(self) -> None:
        """A whole frame of anything, or a damaged or endless one."""
        kind = self.chance.choice([*range(0x3F, 0x4B), self.chance.randrange(256)])
        size = self.chance.choice([0, 1, 2, 4, 8, 10, 12, 30, 61])
        head = bytes([kind]) + self.sequence.to_bytes(2, "little")
        wire = frame(head + self.chance.randbytes(size))
        if kind == m.Who.TYPE:
            return  # its pages come at different paces
        if self.chance.random() < 0.3:
            wire = self.chance.randbytes(self.chance.randrange(150)).replace(b"\0", b"")
            wire += b"\0"
        self.sequence = (self.sequence + 1) & 0xFFFF
        self.give(b"\0" + wire, f"rubbish {wire.hex()}")

    def pin(self) -> None:
        """Something happens at the pins, between two readings."""
        if self.device.time_us % 2000:
            self.run(1)  # else one side averages the old with the new
        what = self.chance.choice(["loop", "loop", "plug", "current", "reset"])
        if what == "loop":
            self.device.stop_loop_open = is_open = self.chance.random() < 0.3
            self.core.ask(f"loop {int(is_open)}")
        elif what == "plug":
            self.pins.voltage = self.chance.choice([PLUGGED, UNPLUGGED])
            self.core.ask(f"voltage {self.pins.voltage}")
        elif what == "current":
            self.pins.current = self.chance.choice([CALM, CALM, MUCH, -1])
            self.core.ask(f"current {self.pins.current}")
        elif self.chance.random() < 0.3:
            cause = self.chance.choice(list(m.Cause)[:5])
            self.core.ask(f"reset {int(cause)}")
            self.device.reset(cause)
            self.heard = Deframer(), Deframer()
        pins = (self.pins.current, self.pins.voltage, self.device.stop_loop_open)
        self.story.append(f"{what}: {pins}")

    def walk(self) -> None:
        """Many moves, and some time between them."""
        moves = [self.grant, self.throttle, self.limits, self.clear, self.stop]
        moves += [self.rubbish, self.pin, self.capture]
        self.run(2)
        for _ in range(STEPS):
            weights = WEIGHTS.get(self.device.state, DRIVING)
            (move,) = self.chance.choices(moves, weights)
            move()
            self.run(self.chance.choice([1, 1, 2, 2, 5, 40, 150]))


@pytest.mark.parametrize("seed", range(20))
def test_both_say_the_same(seed: int) -> None:
    pair = Pair(seed)
    try:
        pair.walk()
    finally:
        pair.core.close()


@pytest.mark.slow
@pytest.mark.parametrize("first", range(1000, 1400, 100))
def test_both_say_the_same_for_long(first: int) -> None:
    for seed in range(first, first + 100):
        test_both_say_the_same(seed)

"""A small stand written from daq/link/README.md, to hold the contract suite.

It shares no line with the project's simulated stand: where a test passes on one and
fails on the other, the page was unclear or one of them is wrong. The first version
was written from the page alone. It was then brought into line, with the page, where
the page had left it guessing: in those places its agreement is no second opinion. Its
`prove` was written from the page alone and agreed at the first comparison; the page
says since then what both had taken it to mean. Its `capture` was written by whoever
wrote the page: it tells whether that can be followed in another way, not whether it is
clear.
Its motor is crude on purpose; it must never be used to judge physics.
"""

import math
import struct
from dataclasses import dataclass, field

from tests.contract import stranger

LOCKED, PROVING, ARMED, SPINNING, TRIPPED = range(1, 6)
GRANTED = (PROVING, ARMED, SPINNING)
DONE, UNKNOWN, MALFORMED, WRONG_STATE, WRONG_BOOT, WRONG_LIMITS, NO_LIMITS = range(7)
BAD_LIMITS, EXCEEDED, SILENT, LOOP_OPEN, BAD_LEASE, BAD_NONCE, BAD_LATCH, STALE = range(
    7, 15
)
SUPPLY_ON, CANNOT_CAPTURE = 15, 16
TICK_US = 1000
IDLE_US = 30_000_000
COUNTERS_US = 200_000
SERVO_US = 3000
SUPPLY_OFF_V, SUPPLY_AGE_US = 1.0, 100_000
NO_READING = {2: -32768, 4: -2147483648}


@dataclass(frozen=True)
class Sensor:
    """One channel: how its reading becomes a count."""

    quantity: int
    width: int
    counts_per_unit: float
    zero_counts: int
    low_counts: int
    high_counts: int
    name: str


SENSORS = (
    Sensor(1, 4, -50_000.0, 8123, -2_000_000, 2_000_000, "thrust"),
    Sensor(2, 2, 1000.0, 100, -1000, 30_000, "current"),
    Sensor(3, 2, 1000.0, 0, 0, 20_000, "voltage"),
    Sensor(4, 4, 10.0, 0, 0, 100_000, "speed"),
    Sensor(5, 2, 4e6, 50, 0, 12_000, "pulse"),
)
VOLTAGE = 2
CAPTURABLE = (1, 2, 3)
ROOM = 300  # samples
BLOCK = 25
# Period in microseconds and channels; in an order that is not that of the indices.
STREAMS = ((2000, (3, 1, 2, 4)), (12_000, (0,)))


@dataclass
class Limit:
    """One entry of the set, and how many readings in a row were outside it."""

    channel: int
    low: int
    high: int
    persistence: int
    age_us: int
    run: int = 0

    def take(self, count: int) -> None:
        """One reading of its channel."""
        self.run = 0 if self.low <= count <= self.high else self.run + 1


@dataclass
class Motor:
    """First-order speed; current and thrust follow it smoothly."""

    spin: float = 0.0
    powered: bool = True

    def step(self, drive: float) -> None:
        """One tick of 1 ms towards the drive, 60 ms slow."""
        wanted = drive if self.powered else 0.0
        self.spin += (wanted - self.spin) * (1.0 - math.exp(-1.0 / 60.0))

    def values(self) -> tuple[float, float, float, float]:
        """Thrust in N, current in A, voltage in V, speed in rad/s."""
        current_a = 0.1 + 9.0 * self.spin**3 if self.powered else 0.0
        return (
            3.0 * self.spin**2,
            current_a,
            12.4 - 0.03 * current_a if self.powered else 0.02,
            3000.0 * self.spin,
        )


@dataclass
class Recording:
    """A capture under way: the samples so far, and what was asked for."""

    number: int
    channel: int
    total: int
    before: int
    trigger: int
    level: int
    end: int
    samples: list[int | None] = field(default_factory=list)
    readings: list[int] = field(default_factory=list)  # the newest two
    hit: int | None = None
    done: bool = False
    sent: int = 0

    def take(self, count: int | None, now: int) -> None:
        """One sample, and whether it ends here."""
        self.samples.append(count)
        if count is not None:
            self.readings = [*self.readings[-1:], count]
        if self.hit is None:
            self.samples = self.samples[-self.before - 1 :]
            if len(self.samples) == self.before + 1 and self._fires(count):
                self.hit = now
            elif now >= self.end:
                self.hit, self.total, self.done = now, 0, True
        if self.hit is not None and len(self.samples) == self.total:
            self.done = True

    def _fires(self, count: int | None) -> bool:
        if self.trigger == 1:
            return True
        if count is None or len(self.readings) < 2:
            return False
        sign = 1 if self.trigger == 2 else -1
        was, now, level = (sign * value for value in (*self.readings, self.level))
        return was < level <= now


@dataclass
class Counts:
    """What the stand counts of the line."""

    received: int = 0
    damaged: int = 0
    ignored: int = 0


@dataclass
class StrangerStand:
    """Bytes in, bytes out; `advance` is the only passing of time.

    `loop_open`, `plug_in` and `silent` (indices of channels without readings) are side
    doors. Where it does not `prove` or `capture` it knows no such command.
    """

    boot: int = 7
    proves: bool = True
    captures: bool = True
    loop_open: bool = False
    plug_in: bool = True
    silent: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        self._out = bytearray()
        self.reset(cause=1, advance_boot=False)

    def reset(self, *, cause: int, advance_boot: bool = True) -> None:
        """Start afresh: nothing is kept but the boot number."""
        self.boot = (self.boot + advance_boot) & 0xFFFF
        self.now = 0
        self.state = LOCKED
        self.latch = self.events = self.setpoint = self.nonce = self.lease_end = 0
        self.last_throttle = self.idle_since = self._sequence = 0
        self.limits: list[Limit] = []
        self.limits_crc = 0
        self.heard: dict[int, tuple[int, int]] = {}
        self.counts = Counts()
        self.recording: Recording | None = None
        self.motor = Motor()
        self.pulse_s = 1e-3
        self._line = bytearray()
        self._event(cause)

    # --- Bytes ------------------------------------------------------------------

    def feed(self, data: bytes) -> None:
        """What the host sent; acted on at once."""
        for byte in data:
            if byte:
                if len(self._line) <= stranger.MAX_WIRE_BYTES:
                    self._line.append(byte)
                continue
            wire, self._line = bytes(self._line), bytearray()
            if wire:
                self._frame(wire)

    def advance(self, ms: int) -> bytes:
        """Let time pass; what the stand sent meanwhile."""
        for _ in range(ms):
            self._tick()
        out, self._out = bytes(self._out), bytearray()
        return out

    def _send(self, kind: int, body: bytes) -> None:
        self._out += stranger.frame(kind, self._sequence, body)
        self._sequence = (self._sequence + 1) & 0xFFFF

    def _event(
        self,
        cause: int,
        limit: int = 255,
        channel: int = 255,
        count: int = 0,
        throttle: int | None = None,
    ) -> None:
        self.events = self.events % 0xFFFF + 1
        if self.state == TRIPPED:
            self.latch = self.events
        self._send(
            0x05,
            struct.pack(
                "<IHHBBHBBiH",
                self.now & 0xFFFFFFFF,
                self.boot,
                self.events,
                self.state,
                cause,
                self.latch,
                limit,
                channel,
                count,
                self.setpoint if throttle is None else throttle,
            ),
        )

    # --- Time -------------------------------------------------------------------

    def _tick(self) -> None:
        self.now += TICK_US
        if self.now % SERVO_US == 0:
            self.pulse_s = (1.0 + self.setpoint / 10_000.0) * 1e-3
        self.motor.powered = self.plug_in
        self.motor.step(self.pulse_s * 1e3 - 1.0)
        self._record()
        for index, (period_us, channels) in enumerate(STREAMS):
            if self.now % period_us == 0:
                self._sample(index, channels)
        if self.state in GRANTED:
            self._watch()
        if self.now % COUNTERS_US == 0:
            self._send(
                0x07,
                struct.pack(
                    "<IHBHHHHHHHH",
                    self.now & 0xFFFFFFFF,
                    self.boot,
                    self.state,
                    self.latch,
                    self.events,
                    self.setpoint,
                    self.counts.received & 0xFFFF,
                    self.counts.damaged & 0xFFFF,
                    self.counts.ignored & 0xFFFF,
                    0,
                    0,
                ),
            )

    def _count(self, channel: int) -> int:
        sensor = SENSORS[channel]
        value = (*self.motor.values(), self.pulse_s)[channel]
        count = round(value * sensor.counts_per_unit) + sensor.zero_counts
        return min(max(count, sensor.low_counts), sensor.high_counts)

    def _record(self) -> None:
        recording = self.recording
        if recording is None:
            return
        if not recording.done:
            silent = recording.channel in self.silent
            recording.take(None if silent else self._count(recording.channel), self.now)
            return
        sensor = SENSORS[recording.channel]
        # Not as the project's device does it: one scale for all captures of a channel.
        step = -(-(sensor.high_counts - sensor.low_counts) // 254)
        block = recording.samples[recording.sent : recording.sent + BLOCK]
        if recording.total == 0:
            block = []
        body = struct.pack(
            stranger.BURST_HEAD,
            recording.number,
            recording.channel,
            recording.sent,
            recording.total,
            recording.before if recording.total else 0,
            (recording.hit or 0) & 0xFFFFFFFF,
            TICK_US * 1000,
            sensor.low_counts,
            step,
        )
        for count in block:
            told = 255 if count is None else round((count - sensor.low_counts) / step)
            body += bytes([told])
        self._send(0x08, body)
        recording.sent += len(block)
        if recording.sent == recording.total:
            self.recording = None

    def _sample(self, index: int, channels: tuple[int, ...]) -> None:
        body = struct.pack("<BI", index, self.now & 0xFFFFFFFF)
        readings = []
        for channel in channels:
            sensor, count = SENSORS[channel], self._count(channel)
            if channel in self.silent:
                count = NO_READING[sensor.width]
            else:
                readings.append((channel, count))
            body += struct.pack("<h" if sensor.width == 2 else "<i", count)
        self._send(0x04, body)
        for channel, count in readings:
            self.heard[channel] = (self.now, count)
            for limit in self.limits:
                if limit.channel == channel:
                    limit.take(count)

    def _silent_limit(self) -> int | None:
        for number, limit in enumerate(self.limits):
            heard = self.heard.get(limit.channel)
            if heard is None or self.now - heard[0] > limit.age_us:
                return number
        return None

    def _watch(self) -> None:
        worst = [n for n, li in enumerate(self.limits) if li.run >= li.persistence]
        if worst:
            channel = self.limits[worst[0]].channel
            self._trip(33, worst[0], channel, self.heard[channel][1])
        elif self.now >= self.lease_end:
            self._trip(32)
        elif self.loop_open:
            self._trip(36)
        elif self.state == PROVING and not self._supply_is_off():
            self._trip(37)
        elif (number := self._silent_limit()) is not None:
            channel = self.limits[number].channel
            self._trip(34, number, channel, self.heard.get(channel, (0, 0))[1])
        elif self.state == ARMED and self.now - self.idle_since >= IDLE_US:
            self.state = LOCKED
            self._event(21)

    def _trip(
        self,
        cause: int,
        limit: int = 255,
        channel: int = 255,
        count: int = 0,
    ) -> None:
        before, self.setpoint = self.setpoint, 0
        self.state = TRIPPED
        self._event(cause, limit, channel, count, throttle=before)

    # --- Commands ---------------------------------------------------------------

    def _frame(self, wire: bytes) -> None:
        payload = stranger.unframe(wire)
        if payload is None:
            self.counts.damaged += 1
            return
        kind, sequence = struct.unpack_from("<BH", payload)
        body = payload[3:]
        verdict = self._obey(kind, sequence, body)
        if verdict == MALFORMED:
            self.counts.damaged += 1
        else:
            self.counts.received += 1
        if kind == stranger.THROTTLE or (kind == stranger.WHO and verdict == DONE):
            return
        done_limits = kind == stranger.LIMITS and verdict == DONE
        value = self.limits_crc if done_limits else 0
        self._send(
            0x06,
            struct.pack(
                "<BHBII", kind, sequence, verdict, value, self.now & 0xFFFFFFFF
            ),
        )

    def _obey(self, kind: int, sequence: int, body: bytes) -> int:
        if kind == stranger.WHO:
            return self._who(body)
        if kind == stranger.THROTTLE:
            return self._throttle(sequence, body)
        if kind == stranger.LIMITS:
            return self._limits(body)
        if kind == stranger.PROVE and self.proves:
            return self._prove(sequence, body)
        if kind == stranger.ARM:
            return self._arm(sequence, body)
        if kind == stranger.STOP:
            return self._stop()
        if kind == stranger.ACKNOWLEDGE:
            return self._acknowledge(body)
        if kind == stranger.LOCK:
            return self._lock(body)
        if kind == stranger.CAPTURE and self.captures:
            return self._capture(body)
        return UNKNOWN

    def _who(self, body: bytes) -> int:
        if len(body) != 1:
            return MALFORMED
        self._identify()
        return DONE

    def _identify(self) -> None:
        self._send(
            0x01,
            struct.pack(
                "<BBBHIHBB16s",
                1,
                0,
                3,
                self.boot,
                0x57A9D001,
                1
                | 2
                | 4
                | 8
                | (stranger.PROVES if self.proves else 0)
                | (stranger.CAPTURES if self.captures else 0),
                len(SENSORS),
                len(STREAMS),
                b"a stranger",
            ),
        )
        for index, sensor in enumerate(SENSORS):
            self._send(
                0x02,
                struct.pack(
                    "<BBBBfiiiIH16s",
                    index,
                    sensor.quantity,
                    1,
                    sensor.width,
                    sensor.counts_per_unit,
                    sensor.zero_counts,
                    sensor.low_counts,
                    sensor.high_counts,
                    0xFFFFFFFF,
                    0,
                    sensor.name.encode(),
                ),
            )
        for index, (period_us, channels) in enumerate(STREAMS):
            self._send(
                0x03,
                struct.pack("<BIB", index, period_us, len(channels)) + bytes(channels),
            )

    def _limits(self, body: bytes) -> int:
        entries = parse_limits(body)
        if entries is None:
            return MALFORMED
        if self.state not in (LOCKED, PROVING, ARMED):
            return WRONG_STATE
        if not entries:
            return NO_LIMITS
        if any(entry.channel >= len(SENSORS) for entry in entries):
            return BAD_LIMITS
        self.limits, self.limits_crc = entries, stranger.crc16(body)
        for limit in entries:
            if limit.channel in self.heard:
                limit.take(self.heard[limit.channel][1])
        return DONE

    def _lease_end(self, lease_ms: int, seen_us: int) -> int | None:
        """When a lease ends on our own clock, None if it is over."""
        age = (self.now - seen_us) & 0xFFFFFFFF
        if age >= 1 << 31 or lease_ms * 1000 <= age:
            return None
        return self.now + lease_ms * 1000 - age

    def _supply_is_off(self) -> bool:
        heard = self.heard.get(VOLTAGE)
        if heard is None or self.now - heard[0] > SUPPLY_AGE_US:
            return False
        return heard[1] / SENSORS[VOLTAGE].counts_per_unit < SUPPLY_OFF_V

    def _prove(self, sequence: int, body: bytes) -> int:
        verdict = self._grantable(body)
        if verdict != DONE:
            return verdict
        if not self._supply_is_off():
            return SUPPLY_ON
        self._grant(sequence, body, PROVING, 22)
        return DONE

    def _arm(self, sequence: int, body: bytes) -> int:
        verdict = self._grantable(body)
        if verdict == DONE:
            self._grant(sequence, body, ARMED, 16)
        return verdict

    def _grantable(self, body: bytes) -> int:
        if len(body) != 12:
            return MALFORMED
        nonce, boot, crc, lease_ms, seen_us = struct.unpack("<HHHHI", body)
        end = self._lease_end(lease_ms, seen_us)
        refusals = (
            (self.state != LOCKED, WRONG_STATE),
            (boot != self.boot, WRONG_BOOT),
            (not self.limits, NO_LIMITS),
            (crc != self.limits_crc, WRONG_LIMITS),
            (nonce in (0, self.nonce), BAD_NONCE),
            (not 50 <= lease_ms <= 500, BAD_LEASE),
            (end is None, STALE),
            (self.loop_open, LOOP_OPEN),
            (self._silent_limit() is not None, SILENT),
            (self._outside_now(), EXCEEDED),
        )
        for refused, verdict in refusals:
            if refused:
                return verdict
        return DONE

    def _grant(self, sequence: int, body: bytes, state: int, cause: int) -> None:
        self.nonce, _, _, lease_ms, seen_us = struct.unpack("<HHHHI", body)
        self.lease_end = self._lease_end(lease_ms, seen_us) or 0
        self.last_throttle = sequence
        self.idle_since = self.now
        self.state = state
        self._event(cause)

    def _outside_now(self) -> bool:
        return any(entry.run for entry in self.limits)

    def _throttle(self, sequence: int, body: bytes) -> int:
        if len(body) != 10:
            return MALFORMED
        nonce, setpoint, lease_ms, seen_us = struct.unpack("<HHHI", body)
        if setpoint > 10_000 or not 50 <= lease_ms <= 500:
            return MALFORMED
        ahead = (sequence - self.last_throttle) & 0xFFFF
        end = self._lease_end(lease_ms, seen_us)
        ours = self.state in GRANTED and nonce == self.nonce
        if not ours or not 1 <= ahead <= 32767 or end is None:
            self.counts.ignored += 1
            return STALE
        before = self.setpoint
        self.last_throttle, self.lease_end, self.setpoint = sequence, end, setpoint
        if setpoint and self.state == ARMED:
            self.state = SPINNING
            self._event(17)
        elif not setpoint and self.state == SPINNING:
            self.state, self.idle_since = ARMED, self.now
            self._event(18, throttle=before)
        return DONE

    def _stop(self) -> int:
        if self.state != TRIPPED:
            self._trip(35)
        return DONE

    def _acknowledge(self, body: bytes) -> int:
        if len(body) != 4:
            return MALFORMED
        boot, latch = struct.unpack("<HH", body)
        if self.state != TRIPPED:
            return WRONG_STATE
        if boot != self.boot:
            return WRONG_BOOT
        if latch != self.latch:
            return BAD_LATCH
        self.state, self.latch = LOCKED, 0
        self._event(20)
        return DONE

    def _lock(self, body: bytes) -> int:
        if len(body) != 2:
            return MALFORMED
        if self.state == TRIPPED:
            return WRONG_STATE
        if struct.unpack("<H", body)[0] != self.boot:
            return WRONG_BOOT
        if self.state != LOCKED:
            before, self.setpoint = self.setpoint, 0
            self.state = LOCKED
            self._event(19, throttle=before)
        return DONE

    def _capture(self, body: bytes) -> int:
        if len(body) != 19:
            return MALFORMED
        number, boot, channel, _, count, before, trigger, level, patience_ms = (
            struct.unpack("<BHBIHHBiH", body)
        )
        good = count > before and trigger in (1, 2, 3) and 1 <= patience_ms <= 5000
        if not good:
            return MALFORMED
        if boot != self.boot:
            return WRONG_BOOT
        if channel not in CAPTURABLE:
            return CANNOT_CAPTURE
        total = min(count, ROOM)
        self.recording = Recording(
            number,
            channel,
            total,
            before * total // count,
            trigger,
            level,
            self.now + patience_ms * 1000,
        )
        return DONE


def parse_limits(body: bytes) -> list[Limit] | None:
    """The entries of a `limits` body, or None where it is malformed."""
    entries: list[Limit] = []
    at = 1
    while at < len(body):
        layout = "<BiiBB" if body[at] & 0x80 else "<BhhBB"
        if at + struct.calcsize(layout) > len(body):
            return None
        mark, low, high, persistence, age = struct.unpack_from(layout, body, at)
        at += struct.calcsize(layout)
        if low > high or persistence == 0 or age == 0 or mark & 0x40:
            return None
        entries.append(Limit(mark & 0x7F, low, high, persistence, age * 10_000))
    return entries if body and len(entries) == body[0] else None

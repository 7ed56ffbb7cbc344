"""What a stand's firmware does, on real wire bytes, in its own time.

The same states, lease, limits and refusals as the reference text in
``daq/link/README.md``, over any plant that has the few methods of ``Article``.
Pure: time moves only in ``advance``. It must never trust the host: every
argument is checked here, and whoever falls silent stops the motor.
"""

import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from daq.link import messages as m
from daq.link.framing import Deframer, crc16, frame
from daq.link.standing import CAUSES, MAY_DRIVE, Move, after
from daq.link.timing import WRAP_US
from daq.stand.capture import CAPTURED, BurstMaker
from daq.stand.plant.conversions import Converter
from daq.stand.plant.sensors import FastFrame, SensorSpec

TICK_US = 1_000
TICK_S = TICK_US * 1e-6
SERVO_TICKS = 3  # a new pulse can begin every 3 ms
FAST_TICKS = 2  # 500 samples/s
COUNTERS_TICKS = 200
IDLE_TICKS = 30_000  # armed this long without spinning locks by itself
CELL_TICKS = 12.5  # the converter's 80 readings/s
ZERO_PULSE_S = 1.0e-3
FULL_PULSE_S = 2.0e-3
SLOW_TICKS = 100  # 10 samples/s of what changes slowly
DELAY_MOST_US = 0xFFFF  # what a channel's page can say
BLOCK_TICKS = 4  # a block of a capture, so that a line of 500 kbaud carries all
FAST, SCALE, SLOW = 0, 1, 2
SUPPLY_OFF_V = 1.0  # below it nothing can turn
SUPPLY_MAX_AGE_US = 100_000  # a voltage older than this is not known

QUANTITIES = {
    "force": m.Quantity.FORCE,
    "current": m.Quantity.CURRENT,
    "voltage": m.Quantity.VOLTAGE,
    "rotational speed": m.Quantity.ROTATIONAL_SPEED,
    "duration": m.Quantity.DURATION,
    "temperature": m.Quantity.TEMPERATURE,
    "power": m.Quantity.POWER,
}
KINDS = {
    "point": m.Kind.POINT,
    "mean": m.Kind.MEAN,
    "low": m.Kind.LOW,
    "high": m.Kind.HIGH,
}
ABILITIES = (
    m.Ability.LEASE
    | m.Ability.LIMITS
    | m.Ability.STOP_LOOP
    | m.Ability.PULSE_READBACK
    | m.Ability.PROVE
    | m.Ability.CAPTURE
    | m.Ability.SIMULATED
)


class Article(Protocol):
    """What the device needs of the physics around it."""

    sensor_specs: tuple[SensorSpec, ...]
    slow_specs: tuple[SensorSpec, ...]

    def advance(self, duration_s: float, pulse_s: float) -> None:
        """Move on with that pulse on the ESC's input."""
        ...

    def fast_frame(self) -> FastFrame:
        """Counts of everything but the load cell since the last call."""
        ...

    def slow_frame(self) -> tuple[int, ...]:
        """Counts of the slow channels now."""
        ...

    def converter(self, name: str) -> Converter:
        """What takes ``current`` or ``voltage`` quickly."""
        ...

    def conversions(self, name: str, first_us: int, period_us: int) -> list[int]:
        """Counts of such a channel at moments of the newest step, from its start."""
        ...

    def take_conversion(self) -> int | None:
        """The load cell's newest count, once."""
        ...


@dataclass(slots=True)
class _Reading:
    """The newest reading of one channel.

    Attributes:
        count: its raw count.
        at_us: device time when it came; None before the first.
    """

    count: int = 0
    at_us: int | None = None


@dataclass(slots=True)
class _Watch:
    """One limit at work, and how many readings in a row were outside it."""

    entry: m.LimitEntry
    reading: _Reading
    outside: int = 0

    def take(self) -> None:
        """Judge the reading that just came."""
        inside = self.entry.low <= self.reading.count <= self.entry.high
        self.outside = 0 if inside else self.outside + 1

    def silent(self, now_us: int) -> bool:
        at_us = self.reading.at_us
        return at_us is None or now_us - at_us > self.entry.max_age_10ms * 10_000


def _page(index: int, spec: SensorSpec) -> m.ChannelPage:
    return m.ChannelPage(
        index=index,
        quantity=QUANTITIES[spec.quantity],
        kind=KINDS[spec.kind],
        width=spec.width_bytes,
        counts_per_unit=spec.counts_per_unit,
        zero_counts=spec.zero_counts,
        low_counts=spec.low_counts,
        high_counts=spec.high_counts,
        gain_u_ppm=round(spec.gain_tolerance_rel * 1e6),
        delay_us=min(round(spec.delay_s * 1e6), DELAY_MOST_US),
        name=spec.name,
    )


class Device:
    """The stand's side of the conversation.

    Attributes:
        state: the interlock's state.
        pulse_s: the servo pulse on the ESC's input now.
        stop_loop_open: the normally-closed loop through guard and buttons.
        boot: boot number.
        link_version: what it says it speaks.
    """

    def __init__(
        self,
        plant: Article,
        *,
        stand_id: int = 0x7E51,
        boot: int = 1,
        cause: m.Cause = m.Cause.POWER_ON,
        start_us: int = 0,
        board: str = "simulated",
    ) -> None:
        self.plant = plant
        self.stand_id = stand_id
        self.board = board
        self.link_version = m.LINK_VERSION
        self.stop_loop_open = False
        specs = plant.sensor_specs + plant.slow_specs
        self.channels = tuple(_page(i, spec) for i, spec in enumerate(specs))
        slow = tuple(range(len(plant.sensor_specs), len(specs)))
        quick = [c for c in self.channels if c.index not in slow]
        fast = tuple(c.index for c in quick if c.name != "thrust")
        cell = tuple(c.index for c in quick if c.name == "thrust")
        self.streams: tuple[m.StreamPage, ...] = (
            m.StreamPage(FAST, FAST_TICKS * TICK_US, fast),
            m.StreamPage(SCALE, round(CELL_TICKS * TICK_US), cell),
        )
        if slow:
            self.streams += (m.StreamPage(SLOW, SLOW_TICKS * TICK_US, slow),)
        self._pack_fast = _packer(tuple(self.channels[i] for i in fast))
        self._pack_slow = _packer(tuple(self.channels[i] for i in slow))
        self._pack_cell = _packer(tuple(self.channels[i] for i in cell))
        self._out = bytearray()
        self.boot = boot
        self._start(cause, start_us)

    def _start(self, cause: m.Cause, start_us: int) -> None:
        """Everything that a reset clears."""
        self._deframer = Deframer()
        self._sequence = 0
        self._tick = 0
        self._start_us = start_us
        self.state = m.State.LOCKED
        self.pulse_s = ZERO_PULSE_S
        self._setpoint = 0
        self._readings = [_Reading() for _ in self.channels]
        self._watches: list[_Watch] = []
        self._by_channel: dict[int, list[_Watch]] = {}
        self._limits_crc: int | None = None
        self._nonce = 0
        self._spent_nonce = 0
        self._lease_end_us = 0
        self._throttle_sequence = 0
        self._latch = 0
        self._events = 0
        self._idle_ticks = 0
        self._received = 0
        self._malformed = 0
        self._ignored = 0
        self.unsent = 0
        self._capture: BurstMaker | None = None
        self._event(cause)

    # -------------------------------------------------------------- time

    @property
    def time_us(self) -> int:
        """Device time in microseconds since its clock's zero, not wrapped."""
        return self._start_us + self._tick * TICK_US

    def reset(self, cause: m.Cause) -> None:
        """Restart: locked, zero pulse, next boot, first event says why."""
        self._out.clear()
        self.boot = (self.boot + 1) & 0xFFFF
        self._start(cause, 0)

    def advance(self, ticks: int = 1) -> bytes:
        """Run for so many milliseconds; what it sent meanwhile."""
        plant, slow = self.plant, len(self.streams) > SLOW
        for _ in range(ticks):
            if self._tick % SERVO_TICKS == 0:
                span_s = FULL_PULSE_S - ZERO_PULSE_S
                self.pulse_s = ZERO_PULSE_S + span_s * self._setpoint / m.THROTTLE_FULL
            plant.advance(TICK_S, self.pulse_s)
            self._tick += 1
            if self._capture is not None:
                self._sample_capture()
                self._tell_capture()
            count = plant.take_conversion()
            if count is not None:
                self._sample(SCALE, self._pack_cell, (count,))
            if self._tick % FAST_TICKS == 0:
                self._sample(FAST, self._pack_fast, plant.fast_frame())
            if slow and self._tick % SLOW_TICKS == 0:
                self._sample(SLOW, self._pack_slow, plant.slow_frame())
            if self.state in MAY_DRIVE:
                self._protect()
            if self._tick % COUNTERS_TICKS == 0:
                self._tell_counters()
        sent = bytes(self._out)
        self._out.clear()
        return sent

    def _sample_capture(self) -> None:
        """What an interrupt does: more samples, until all of them are there."""
        capture = self._capture
        if capture is None or capture.over:
            return
        begin_us = self.time_us - TICK_US
        first_us = capture.due_us - begin_us
        counts = self.plant.conversions(capture.name, first_us, capture.period_us)
        none = self.channels[capture.asked.channel].no_reading
        for count in counts:
            capture.take(None if count == none else count)
        capture.look(self.time_us)

    def _tell_capture(self) -> None:
        """What the main loop does: a block now and then, once all samples are there."""
        capture = self._capture
        if capture is None or not capture.over or self._tick % BLOCK_TICKS:
            return
        self._send(capture.next_block())
        if capture.sent:
            self._capture = None

    def _sample(
        self, stream: int, pack: Callable[..., bytes], counts: tuple[int, ...]
    ) -> None:
        self._send_body(
            m.Samples.TYPE,
            m.Samples.HEAD.pack(stream, self.time_us % WRAP_US) + pack(*counts),
        )
        now_us = self.time_us
        for channel, count in zip(self.streams[stream].channels, counts, strict=True):
            if count == self.channels[channel].no_reading:
                continue  # not a reading: the one before goes on ageing
            reading = self._readings[channel]
            reading.count = count
            reading.at_us = now_us
            if channel in self._by_channel:
                for watch in self._by_channel[channel]:
                    watch.take()

    def _protect(self) -> None:
        """What an interrupt does every millisecond, whatever the rest does."""
        now_us = self.time_us
        for index, watch in enumerate(self._watches):
            if watch.outside >= watch.entry.persistence:
                self._trip(m.Cause.LIMIT, index)
                return
            if watch.silent(now_us):
                self._trip(m.Cause.CHANNEL_SILENT, index)
                return
        if self.stop_loop_open:
            self._trip(m.Cause.STOP_LOOP_OPEN)
        elif self.state == m.State.PROVING and not self._supply_off:
            self._trip(m.Cause.SUPPLY_ON)
        elif now_us >= self._lease_end_us:
            self._trip(m.Cause.LEASE_ENDED)
        elif self.state == m.State.ARMED:
            self._idle_ticks += 1
            if self._idle_ticks >= IDLE_TICKS:
                self._go(Move.IDLE)

    # ------------------------------------------------------------ states

    def _go(
        self, move: Move, cause: m.Cause | None = None, limit: int = m.NONE
    ) -> None:
        """Go where the table says, and tell of it; nowhere if it says so."""
        to = after(self.state, move)
        if to is None:
            return
        throttle = self._setpoint
        self.state = to
        self._idle_ticks = 0
        if to not in MAY_DRIVE:
            self._zero()
        if to == m.State.TRIPPED:
            self._latch = _next_number(self._events)
        self._event(CAUSES[move] if cause is None else cause, limit, throttle)

    def _zero(self) -> None:
        self._setpoint = 0
        self._nonce = 0

    def _trip(self, cause: m.Cause, limit: int = m.NONE) -> None:
        self._go(Move.TRIP, cause, limit)

    def _event(self, cause: m.Cause, limit: int = m.NONE, throttle: int = 0) -> None:
        self._events = _next_number(self._events)
        channel, count = m.NONE, 0
        if limit != m.NONE:
            channel = self._watches[limit].entry.channel
            count = self._watches[limit].reading.count
        self._send(
            m.Event(
                time_us=self.time_us % WRAP_US,
                boot=self.boot,
                number=self._events,
                state=self.state,
                cause=cause,
                latch=self._latch,
                limit=limit,
                channel=channel,
                count=count,
                throttle=throttle,
            )
        )

    def _tell_counters(self) -> None:
        damaged = self._deframer.drops.frames + self._malformed
        self._send(
            m.Counters(
                time_us=self.time_us % WRAP_US,
                boot=self.boot,
                state=self.state,
                latch=self._latch,
                events=self._events,
                throttle=self._setpoint,
                received=self._received & 0xFFFF,
                damaged=damaged & 0xFFFF,
                ignored=self._ignored & 0xFFFF,
                unsent=self.unsent & 0xFFFF,
                missed=0,
            )
        )

    # ------------------------------------------------------------- wire

    def _send(self, message: m.FromStand) -> None:
        self._send_body(message.TYPE, message.body())

    def _send_body(self, type_code: int, body: bytes) -> None:
        head = bytes((type_code, self._sequence & 0xFF, self._sequence >> 8))
        self._sequence = (self._sequence + 1) & 0xFFFF
        self._out += frame(head + body)

    def receive(self, data: bytes) -> None:
        """Take bytes from the host; answers come out of ``advance``."""
        for payload in self._deframer.feed(data):
            type_code, sequence = m.head(payload)
            try:
                message = m.decode_to_stand(payload)
            except m.MalformedMessage:
                self._malformed += 1
                if type_code != m.Throttle.TYPE:
                    self._reply(type_code, sequence, m.Verdict.MALFORMED)
                continue
            self._received += 1
            self._obey(message, payload)

    def _reply(
        self, type_code: int, sequence: int, verdict: m.Verdict, value: int = 0
    ) -> None:
        now_us = self.time_us % WRAP_US
        self._send(m.Reply(type_code, sequence, verdict, value, now_us))

    def _obey(self, message: m.ToStand | m.Unknown, payload: bytes) -> None:
        type_code, sequence = m.head(payload)
        match message:
            case m.Who():
                self._introduce()
            case m.Throttle():
                self._throttle(message, sequence)
            case _:
                verdict, value = self._answer(message, sequence, payload[3:])
                self._reply(type_code, sequence, verdict, value)

    def _answer(
        self, message: m.ToStand | m.Unknown, sequence: int, body: bytes
    ) -> tuple[m.Verdict, int]:
        """Carry out a command that gets a reply."""
        match message:
            case m.Limits():
                return self._take_limits(message, body)
            case m.Prove() | m.Arm():
                return self._arm(message, sequence), 0
            case m.Stop():
                self._go(Move.STOP)
                return m.Verdict.DONE, 0
            case m.Acknowledge():
                return self._acknowledge(message), 0
            case m.Lock():
                return self._take_lock(message), 0
            case m.Capture():
                return self._take_capture(message), 0
            case _:
                return m.Verdict.UNKNOWN_COMMAND, 0

    def _introduce(self) -> None:
        self._send(
            m.Identity(
                link_version=self.link_version,
                firmware_major=0,
                firmware_minor=1,
                boot=self.boot,
                stand_id=self.stand_id,
                abilities=ABILITIES,
                channel_count=len(self.channels),
                stream_count=len(self.streams),
                board=self.board,
            )
        )
        for channel in self.channels:
            self._send(channel)
        for stream in self.streams:
            self._send(stream)

    def _take_limits(self, message: m.Limits, body: bytes) -> tuple[m.Verdict, int]:
        if self.state not in (m.State.LOCKED, m.State.PROVING, m.State.ARMED):
            return m.Verdict.WRONG_STATE, 0
        if not message.entries:
            return m.Verdict.NO_LIMITS, 0
        if any(e.channel >= len(self.channels) for e in message.entries):
            return m.Verdict.BAD_LIMITS, 0
        self._watches = [_Watch(e, self._readings[e.channel]) for e in message.entries]
        self._by_channel = {}
        for watch in self._watches:
            self._by_channel.setdefault(watch.entry.channel, []).append(watch)
            if watch.reading.at_us is not None:
                watch.take()
        self._limits_crc = crc16(body)  # as received: an entry has two forms
        return m.Verdict.DONE, self._limits_crc

    def _lease_left_us(self, lease_ms: int, seen_us: int) -> int:
        """What is left of a lease that runs from what the host had seen.

        A stamp from the future counts as no lease at all.
        """
        age_us = (self.time_us - seen_us) % WRAP_US
        return lease_ms * 1_000 - age_us if age_us < WRAP_US // 2 else 0

    @property
    def _supply_off(self) -> bool:
        """Whether the motor's supply is seen to be off; not known is not off."""
        page = next((c for c in self.channels if c.name == "voltage"), None)
        if page is None:
            return False
        reading = self._readings[page.index]
        if reading.at_us is None or self.time_us - reading.at_us > SUPPLY_MAX_AGE_US:
            return False
        return page.to_si(reading.count) < SUPPLY_OFF_V

    def _arm(self, message: m.Prove | m.Arm, sequence: int) -> m.Verdict:
        """Grant throttle: with the motor's supply on, or only without it."""
        proving = isinstance(message, m.Prove)
        left_us = self._lease_left_us(message.lease_ms, message.seen_us)
        refusals = (
            (self.state != m.State.LOCKED, m.Verdict.WRONG_STATE),
            (message.boot != self.boot, m.Verdict.WRONG_BOOT),
            (self._limits_crc is None, m.Verdict.NO_LIMITS),
            (message.limits_crc != self._limits_crc, m.Verdict.WRONG_LIMITS),
            (message.nonce in (0, self._spent_nonce), m.Verdict.BAD_NONCE),
            (
                not m.LEASE_MIN_MS <= message.lease_ms <= m.LEASE_MAX_MS,
                m.Verdict.BAD_LEASE,
            ),
            (left_us <= 0, m.Verdict.STALE),
            (self.stop_loop_open, m.Verdict.STOP_LOOP_OPEN),
            (
                any(w.silent(self.time_us) for w in self._watches),
                m.Verdict.CHANNEL_SILENT,
            ),
            (any(w.outside for w in self._watches), m.Verdict.LIMIT_EXCEEDED),
            (proving and not self._supply_off, m.Verdict.SUPPLY_ON),
        )
        for refused, verdict in refusals:
            if refused:
                return verdict
        self._nonce = self._spent_nonce = message.nonce
        self._throttle_sequence = sequence
        self._lease_end_us = self.time_us + left_us
        self._go(Move.PROVE if proving else Move.ARM)
        return m.Verdict.DONE

    def _throttle(self, message: m.Throttle, sequence: int) -> None:
        newer = 0 < (sequence - self._throttle_sequence) & 0xFFFF < 0x8000
        left_us = self._lease_left_us(message.lease_ms, message.seen_us)
        armed = self.state in MAY_DRIVE
        if not armed or message.nonce != self._nonce or not newer or left_us <= 0:
            self._ignored += 1
            return
        self._throttle_sequence = sequence
        self._lease_end_us = self.time_us + left_us
        if message.setpoint:
            self._setpoint = message.setpoint
            self._go(Move.THROTTLE_UP)
        else:
            self._go(Move.THROTTLE_ZERO)
            self._setpoint = 0

    def _acknowledge(self, message: m.Acknowledge) -> m.Verdict:
        if self.state != m.State.TRIPPED:
            return m.Verdict.WRONG_STATE
        if message.boot != self.boot:
            return m.Verdict.WRONG_BOOT
        if message.latch != self._latch:
            return m.Verdict.WRONG_LATCH
        self._latch = 0
        self._go(Move.ACKNOWLEDGE)
        return m.Verdict.DONE

    def _take_lock(self, message: m.Lock) -> m.Verdict:
        if self.state == m.State.TRIPPED:
            return m.Verdict.WRONG_STATE
        if message.boot != self.boot:
            return m.Verdict.WRONG_BOOT
        self._go(Move.LOCK)
        return m.Verdict.DONE

    def _take_capture(self, message: m.Capture) -> m.Verdict:
        if message.boot != self.boot:
            return m.Verdict.WRONG_BOOT
        names = [page.name for page in self.channels]
        if message.channel >= len(names) or names[message.channel] not in CAPTURED:
            return m.Verdict.CANNOT_CAPTURE
        name = names[message.channel]
        converter = self.plant.converter(name)
        self._capture = BurstMaker(message, name, converter, self.time_us)
        return m.Verdict.DONE


def _next_number(number: int) -> int:
    """The event number after this one; 0 stays free, it means no latch."""
    return number % 0xFFFF + 1


def _packer(channels: tuple[m.ChannelPage, ...]) -> Callable[..., bytes]:
    codes = "".join("h" if channel.width == 2 else "i" for channel in channels)
    return struct.Struct("<" + codes).pack

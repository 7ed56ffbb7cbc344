"""The whole wire language: every message, its layout and its range checks.

A payload is one type byte, a 16-bit sequence number and a body, all little
endian. ``README.md`` beside this file is the specification with its reasons;
this file is its single executable form (a stand's C headers can be generated
from ``Fixed.LAYOUT`` and the dataclass fields). No I/O, no state.
"""

import math
import struct
from collections.abc import Callable
from dataclasses import dataclass, fields
from enum import IntEnum, IntFlag
from typing import Any, ClassVar, Self

from typing_extensions import override

from daq.errors import StandFault
from daq.link.framing import MAX_PAYLOAD, crc16

LINK_VERSION = 1
THROTTLE_FULL = 10_000  # hundredths of a percent
LEASE_MIN_MS = 50
LEASE_MAX_MS = 500
NOT_KNOWN_PPM = 0xFFFF_FFFF
NONE = 0xFF  # no limit, no channel
MAX_AGE_UNIT_MS = 10
MAX_CHANNELS = 64
PATIENCE_MAX_MS = 5_000  # a capture waits no longer for its trigger
NO_SAMPLE = 0xFF  # in a burst: there is no reading of that moment

_HEAD = struct.Struct("<BH")
_MAX_BODY = MAX_PAYLOAD - _HEAD.size


class MalformedMessage(StandFault):
    """A frame passed its CRC but is no message of this language."""


class State(IntEnum):
    """The interlock's state, the same names on both sides of the wire."""

    UNKNOWN = 0
    LOCKED = 1
    PROVING = 2
    ARMED = 3
    SPINNING = 4
    TRIPPED = 5


class Cause(IntEnum):
    """Why a stand changed state; codes below 16 are starts."""

    POWER_ON = 1
    RESET_PIN = 2
    WATCHDOG = 3
    BROWN_OUT = 4
    RESET_OTHER = 5
    ARMED = 16
    THROTTLE_UP = 17
    THROTTLE_ZERO = 18
    LOCKED = 19
    ACKNOWLEDGED = 20
    IDLE_TOO_LONG = 21
    PROVING = 22
    LEASE_ENDED = 32
    LIMIT = 33
    CHANNEL_SILENT = 34
    STOP = 35
    STOP_LOOP_OPEN = 36
    SUPPLY_ON = 37

    @property
    def is_start(self) -> bool:
        """Whether the stand has just started, and why."""
        return self < 16

    @property
    def latches(self) -> bool:
        """Whether this is a trip, held until acknowledged."""
        return self >= 32


class Verdict(IntEnum):
    """How a command was answered."""

    DONE = 0
    UNKNOWN_COMMAND = 1
    MALFORMED = 2
    WRONG_STATE = 3
    WRONG_BOOT = 4
    WRONG_LIMITS = 5
    NO_LIMITS = 6
    BAD_LIMITS = 7
    LIMIT_EXCEEDED = 8
    CHANNEL_SILENT = 9
    STOP_LOOP_OPEN = 10
    BAD_LEASE = 11
    BAD_NONCE = 12
    WRONG_LATCH = 13
    STALE = 14
    SUPPLY_ON = 15
    CANNOT_CAPTURE = 16


class Ability(IntFlag):
    """What a stand can do to protect whoever is near it, and whether it is real."""

    LEASE = 1
    LIMITS = 2
    STOP_LOOP = 4
    PULSE_READBACK = 8
    WATCHDOG = 16
    PROVE = 32
    CAPTURE = 64
    SIMULATED = 128


class Quantity(IntEnum):
    """What a channel measures; the SI unit follows from it."""

    FORCE = 1
    CURRENT = 2
    VOLTAGE = 3
    ROTATIONAL_SPEED = 4
    DURATION = 5
    TEMPERATURE = 6
    POWER = 7
    TORQUE = 8

    @property
    def unit(self) -> str:
        """The SI unit's symbol."""
        return ("N", "A", "V", "rad/s", "s", "K", "W", "N m")[self - 1]


class Kind(IntEnum):
    """How a count came out of its frame's interval."""

    POINT = 1
    MEAN = 2
    LOW = 3
    HIGH = 4


def _text(raw: bytes) -> str:
    """A zero-padded ASCII field as text.

    Raises:
        MalformedMessage: bytes that are not printable ASCII.
    """
    text = raw.rstrip(b"\0")
    if not all(0x20 <= byte < 0x7F for byte in text):
        raise MalformedMessage("a name with bytes that are not printable ASCII")
    return text.decode("ascii")


def _check_throttle(setpoint: int) -> None:
    if setpoint > THROTTLE_FULL:
        raise ValueError(f"a throttle of {setpoint / 100:g} %")


def _check_told(state: State) -> None:
    if state is State.UNKNOWN:
        raise ValueError("a stand that does not know its own state")


def _check_lease(lease_ms: int) -> None:
    if not LEASE_MIN_MS <= lease_ms <= LEASE_MAX_MS:
        raise ValueError(f"a lease of {lease_ms} ms")


class Fixed:
    """A message whose body is one ``struct`` layout, field by field.

    Ranges are checked in ``__post_init__`` and raise ``ValueError``, so that
    neither side can build a message that the other must refuse to read.

    Attributes:
        TYPE: the message's type byte.
        LAYOUT: its fields on the wire, in the order of the dataclass.
        RICH: fields whose wire form becomes a richer type when read.
    """

    TYPE: ClassVar[int]
    LAYOUT: ClassVar[struct.Struct]
    RICH: ClassVar[dict[str, Callable[[Any], Any]]] = {}

    def body(self) -> bytes:
        """The message's body in wire order.

        Raises:
            ValueError: a field does not fit its place on the wire.
        """
        values = [getattr(self, name) for name in self.field_names()]
        wire = [v.encode("ascii") if isinstance(v, str) else v for v in values]
        try:
            return self.LAYOUT.pack(*wire)
        except struct.error as fault:
            raise ValueError(f"{type(self).__name__}: {fault}") from None

    @classmethod
    def field_names(cls) -> list[str]:
        """Names of the fields in wire order."""
        return [field.name for field in fields(cls)]  # type: ignore[arg-type]

    @classmethod
    def from_body(cls, body: bytes) -> Self:
        """Read a body.

        Raises:
            MalformedMessage: wrong length, or a value outside its range.
        """
        if len(body) != cls.LAYOUT.size:
            raise MalformedMessage(
                f"{cls.__name__}: {len(body)} bytes where {cls.LAYOUT.size} are due"
            )
        try:
            return cls(
                *(
                    cls.RICH[name](value) if name in cls.RICH else value
                    for name, value in zip(
                        cls.field_names(), cls.LAYOUT.unpack(body), strict=True
                    )
                )
            )
        except ValueError as fault:  # out of range, or no such code
            raise MalformedMessage(f"{cls.__name__}: {fault}") from None


# ---------------------------------------------------------------- from the stand


@dataclass(frozen=True, slots=True)
class Identity(Fixed):
    """Who the stand is; followed by its channels and streams.

    Attributes:
        link_version: version of this language it speaks.
        firmware_major: its firmware's version, first part.
        firmware_minor: and second part.
        boot: counts its starts; kept over power loss.
        stand_id: told apart from other stands by this.
        abilities: what it can do to protect.
        channel_count: how many ``ChannelPage`` follow.
        stream_count: how many ``StreamPage`` follow.
        board: what it runs on, for people.
    """

    TYPE: ClassVar[int] = 0x01
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<BBBHIHBB16s")
    RICH: ClassVar[dict[str, Callable[[Any], Any]]] = {
        "abilities": Ability,
        "board": _text,
    }

    link_version: int
    firmware_major: int
    firmware_minor: int
    boot: int
    stand_id: int
    abilities: Ability
    channel_count: int
    stream_count: int
    board: str


@dataclass(frozen=True, slots=True)
class ChannelPage(Fixed):
    """One channel: what it measures and what its counts mean.

    ``si = (count - zero_counts) / counts_per_unit`` by the stand's own word;
    a calibration on the host replaces it.

    Attributes:
        index: its number in streams and limits.
        quantity: what it measures, in SI.
        kind: how the count came out of its interval.
        width: bytes a count takes in a sample, 2 or 4.
        counts_per_unit: nominal, counts per SI unit; not zero.
        zero_counts: nominal count at zero.
        low_counts: lowest count that is a reading.
        high_counts: highest count that is a reading.
        gain_u_ppm: standard uncertainty of ``counts_per_unit`` in parts per
            million of it; ``NOT_KNOWN_PPM`` where nobody knows.
        delay_us: how long a reading lags what it measures.
        name: for people and tables.
    """

    TYPE: ClassVar[int] = 0x02
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<BBBBfiiiIH16s")
    RICH: ClassVar[dict[str, Callable[[Any], Any]]] = {
        "quantity": Quantity,
        "kind": Kind,
        "name": _text,
    }

    index: int
    quantity: Quantity
    kind: Kind
    width: int
    counts_per_unit: float
    zero_counts: int
    low_counts: int
    high_counts: int
    gain_u_ppm: int
    delay_us: int
    name: str

    def __post_init__(self) -> None:
        if self.index >= MAX_CHANNELS:
            raise ValueError(f"a channel number {self.index}")
        if self.width not in (2, 4):
            raise ValueError(f"a count of {self.width} bytes")
        if not math.isfinite(self.counts_per_unit) or self.counts_per_unit == 0:
            raise ValueError(f"{self.counts_per_unit} counts per unit")
        if not self.no_reading < self.low_counts < self.high_counts:
            raise ValueError("an empty range of counts, or one with no_reading in it")

    @property
    def no_reading(self) -> int:
        """The count that says there is no reading: the lowest of its width."""
        return -(1 << (8 * self.width - 1))

    def to_si(self, count: int) -> float:
        """A count as an SI value by the nominal constants; NaN for none."""
        if count == self.no_reading:
            return math.nan
        return (count - self.zero_counts) / self.counts_per_unit

    def to_counts(self, value: float) -> int:
        """The nearest count to an SI value, kept inside the channel's range."""
        if math.isinf(value):
            rising = (value > 0) == (self.counts_per_unit > 0)
            return self.high_counts if rising else self.low_counts
        count = round(value * self.counts_per_unit) + self.zero_counts
        return min(max(count, self.low_counts), self.high_counts)


@dataclass(frozen=True, slots=True)
class StreamPage:
    """One stream: which channels come together, and how often.

    Attributes:
        index: its number in ``Samples``.
        period_us: nominal time from one sample to the next.
        channels: indices of its channels, in wire order.
    """

    TYPE: ClassVar[int] = 0x03
    _HEAD: ClassVar[struct.Struct] = struct.Struct("<BIB")

    index: int
    period_us: int
    channels: tuple[int, ...]

    def body(self) -> bytes:
        """The message's body."""
        head = self._HEAD.pack(self.index, self.period_us, len(self.channels))
        return head + bytes(self.channels)

    @classmethod
    def from_body(cls, body: bytes) -> Self:
        """Read a body.

        Raises:
            MalformedMessage: wrong length, no channels or no period.
        """
        if len(body) < cls._HEAD.size:
            raise MalformedMessage("StreamPage: too short")
        index, period_us, count = cls._HEAD.unpack_from(body)
        channels = tuple(body[cls._HEAD.size :])
        if len(channels) != count or not count or not period_us:
            raise MalformedMessage("StreamPage: wrong length or empty")
        return cls(index, period_us, channels)


@dataclass(frozen=True, slots=True)
class Samples:
    """One sample of one stream; ``raw`` needs the stream's layout to read.

    Attributes:
        stream: index of the stream.
        time_us: device time at the end of the interval, modulo 2**32.
        raw: the counts, each of its channel's width.
    """

    TYPE: ClassVar[int] = 0x04
    HEAD: ClassVar[struct.Struct] = struct.Struct("<BI")

    stream: int
    time_us: int
    raw: bytes

    def body(self) -> bytes:
        """The message's body."""
        return self.HEAD.pack(self.stream, self.time_us) + self.raw

    @classmethod
    def from_body(cls, body: bytes) -> Self:
        """Read a body.

        Raises:
            MalformedMessage: too short to hold a stream and a time.
        """
        if len(body) < cls.HEAD.size:
            raise MalformedMessage("Samples: too short")
        stream, time_us = cls.HEAD.unpack_from(body)
        return cls(stream, time_us, body[cls.HEAD.size :])


@dataclass(frozen=True, slots=True)
class Event(Fixed):
    """The stand changed state, or started.

    Attributes:
        time_us: device time, modulo 2**32.
        boot: the boot it happened in.
        number: counts events since that boot, from 1.
        state: the state it is in now.
        cause: why.
        latch: number of the event that latched it, 0 when nothing is latched.
        limit: index of the violated limit in its set, or ``NONE``.
        channel: index of the channel it was about, or ``NONE``.
        count: the reading that violated it, else 0.
        throttle: setpoint at that moment, in hundredths of a percent.
    """

    TYPE: ClassVar[int] = 0x05
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<IHHBBHBBiH")
    RICH: ClassVar[dict[str, Callable[[Any], Any]]] = {"state": State, "cause": Cause}

    time_us: int
    boot: int
    number: int
    state: State
    cause: Cause
    latch: int
    limit: int
    channel: int
    count: int
    throttle: int

    def __post_init__(self) -> None:
        _check_throttle(self.throttle)
        _check_told(self.state)


@dataclass(frozen=True, slots=True)
class Reply(Fixed):
    """The answer to one command.

    Attributes:
        to_type: type of the command.
        to_sequence: its sequence number.
        verdict: done, or why not.
        value: for limits, the CRC-16 of the set as received; else 0.
        time_us: device time when it was answered.
    """

    TYPE: ClassVar[int] = 0x06
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<BHBII")
    RICH: ClassVar[dict[str, Callable[[Any], Any]]] = {"verdict": Verdict}

    to_type: int
    to_sequence: int
    verdict: Verdict
    value: int
    time_us: int


@dataclass(frozen=True, slots=True)
class Counters(Fixed):
    """Where the stand stands, and what it dropped; sent every 200 ms.

    Attributes:
        time_us: device time, modulo 2**32.
        boot: its boot number.
        state: the state it is in.
        latch: number of the event that latched it, or 0.
        events: events since boot: shows the host that it missed one.
        throttle: setpoint now, in hundredths of a percent.
        received: good frames received since boot, modulo 2**16.
        damaged: frames dropped by COBS, CRC or range checks, modulo 2**16.
        ignored: throttles ignored as stale, repeated or not armed.
        unsent: frames of its own that it had to drop.
        missed: converter readings that came too late or never.
    """

    TYPE: ClassVar[int] = 0x07
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<IHBHHHHHHHH")
    RICH: ClassVar[dict[str, Callable[[Any], Any]]] = {"state": State}

    time_us: int
    boot: int
    state: State
    latch: int
    events: int
    throttle: int
    received: int
    damaged: int
    ignored: int
    unsent: int
    missed: int

    def __post_init__(self) -> None:
        _check_throttle(self.throttle)
        _check_told(self.state)


@dataclass(frozen=True, slots=True)
class Burst:
    """A block of a fast capture; the head is the same in all of its blocks.

    ``count = base + step * sample``, in counts of the channel. A ``total`` of 0
    says that no trigger came in time.

    Attributes:
        number: of the capture, as the host chose it.
        channel: index of the channel.
        first: index of this block's first sample.
        total: how many samples the whole capture has.
        trigger: index of the sample that triggered.
        time_us: device time of that sample, modulo 2**32; of giving up where
            there is none.
        period_ns: from one sample to the next, as it really was.
        base: count of a sample of 0.
        step: counts a step of the samples stands for.
        samples: a byte each; ``NO_SAMPLE`` where there is no reading.
    """

    TYPE: ClassVar[int] = 0x08
    HEAD: ClassVar[struct.Struct] = struct.Struct("<BBHHHIIiH")
    MOST: ClassVar[int] = _MAX_BODY - struct.calcsize("<BBHHHIIiH")

    number: int
    channel: int
    first: int
    total: int
    trigger: int
    time_us: int
    period_ns: int
    base: int
    step: int
    samples: bytes

    def __post_init__(self) -> None:
        if self.total:
            whole = 0 < len(self.samples) <= self.total - self.first
            if not whole or self.trigger >= self.total:
                raise ValueError("a block that lies outside its capture")
        elif self.samples or self.first or self.trigger:
            raise ValueError("a block of a capture without samples")
        if not self.period_ns or not self.step or self.channel >= MAX_CHANNELS:
            raise ValueError("no period, no step, or no such channel")

    def body(self) -> bytes:
        """The message's body.

        Raises:
            ValueError: a field does not fit its place on the wire.
        """
        if len(self.samples) > self.MOST:
            raise ValueError(f"Burst: {len(self.samples)} samples in one block")
        head = (getattr(self, field.name) for field in fields(self)[:-1])
        try:
            return self.HEAD.pack(*head) + self.samples
        except struct.error as fault:
            raise ValueError(f"Burst: {fault}") from None

    @classmethod
    def from_body(cls, body: bytes) -> Self:
        """Read a body.

        Raises:
            MalformedMessage: too short, or a block that its own head contradicts.
        """
        if len(body) < cls.HEAD.size:
            raise MalformedMessage("Burst: too short")
        fields_read = (*cls.HEAD.unpack_from(body), body[cls.HEAD.size :])
        try:
            return cls(*fields_read)
        except ValueError as fault:
            raise MalformedMessage(f"Burst: {fault}") from None


# ------------------------------------------------------------------ to the stand


@dataclass(frozen=True, slots=True)
class Who(Fixed):
    """Asks for the identity; answered by it, whatever the version."""

    TYPE: ClassVar[int] = 0x41
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<B")

    link_version: int = LINK_VERSION


@dataclass(frozen=True, slots=True)
class LimitEntry:
    """One limit of a set, in raw counts.

    Attributes:
        channel: index of the channel, below 64.
        low: lowest count allowed.
        high: highest count allowed.
        persistence: readings in a row outside before it trips, 1 to 255.
        max_age_10ms: longest silence allowed, in units of 10 ms, 1 to 255.
    """

    channel: int
    low: int
    high: int
    persistence: int
    max_age_10ms: int

    def __post_init__(self) -> None:
        if not 0 <= self.channel < MAX_CHANNELS:
            raise ValueError(f"a limit on channel {self.channel}")


_WIDE = 0x80
_NARROW_ENTRY = struct.Struct("<BhhBB")
_WIDE_ENTRY = struct.Struct("<BiiBB")


@dataclass(frozen=True, slots=True)
class Limits:
    """The whole set of limits in one message; replaces the set before."""

    TYPE: ClassVar[int] = 0x42

    entries: tuple[LimitEntry, ...]

    def body(self) -> bytes:
        """The message's body.

        Raises:
            ValueError: more limits than one frame holds, or a bad field.
        """
        body = bytes([len(self.entries)])
        for entry in self.entries:
            fits = entry.low >= -0x8000 and entry.high <= 0x7FFF
            layout, flag = (_NARROW_ENTRY, 0) if fits else (_WIDE_ENTRY, _WIDE)
            try:
                body += layout.pack(
                    entry.channel | flag,
                    entry.low,
                    entry.high,
                    entry.persistence,
                    entry.max_age_10ms,
                )
            except struct.error as fault:
                raise ValueError(f"Limits: {fault}") from None
        if len(body) > _MAX_BODY:
            raise ValueError(f"{len(self.entries)} limits do not fit in one frame")
        return body

    @property
    def crc(self) -> int:
        """The set's CRC-16, as the stand's reply must return it."""
        return crc16(self.body())

    @classmethod
    def from_body(cls, body: bytes) -> Self:
        """Read a body.

        Raises:
            MalformedMessage: wrong length, an empty range, no persistence.
        """
        entries: list[LimitEntry] = []
        position = 1
        while position < len(body):
            layout = _WIDE_ENTRY if body[position] & _WIDE else _NARROW_ENTRY
            if position + layout.size > len(body):
                raise MalformedMessage("Limits: cut short")
            channel, low, high, persistence, age = layout.unpack_from(body, position)
            channel &= ~_WIDE
            if low > high or not persistence or not age or channel >= MAX_CHANNELS:
                raise MalformedMessage("Limits: an entry that can never act")
            entries.append(LimitEntry(channel, low, high, persistence, age))
            position += layout.size
        if not body or body[0] != len(entries):
            raise MalformedMessage("Limits: the count does not match")
        return cls(tuple(entries))


@dataclass(frozen=True, slots=True)
class Prove(Fixed):
    """Asks for pulses while the motor's supply is seen off; starts a lease.

    Lets every guard be seen to cut a real pulse before anything can turn.

    Attributes:
        nonce: chosen by the host, not 0; every throttle repeats it.
        boot: the boot the host believes in.
        limits_crc: CRC-16 of the limit set the host believes in.
        lease_ms: 50 to 500.
        seen_us: the newest device time the host has seen.
    """

    TYPE: ClassVar[int] = 0x43
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<HHHHI")

    nonce: int
    boot: int
    limits_crc: int
    lease_ms: int
    seen_us: int


@dataclass(frozen=True, slots=True)
class Arm(Fixed):
    """Asks for the armed state at zero throttle; starts a lease.

    Attributes:
        nonce: chosen by the host, not 0; every throttle repeats it.
        boot: the boot the host believes in.
        limits_crc: CRC-16 of the limit set the host believes in.
        lease_ms: 50 to 500.
        seen_us: the newest device time the host has seen.
    """

    TYPE: ClassVar[int] = 0x44
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<HHHHI")

    nonce: int
    boot: int
    limits_crc: int
    lease_ms: int
    seen_us: int


@dataclass(frozen=True, slots=True)
class Throttle(Fixed):
    """A setpoint on a lease; the only command without a reply.

    Attributes:
        nonce: that of the arming.
        setpoint: hundredths of a percent, 0 to 10000.
        lease_ms: 50 to 500, counted from ``seen_us``.
        seen_us: the newest device time the host has seen.
    """

    TYPE: ClassVar[int] = 0x45
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<HHHI")

    nonce: int
    setpoint: int
    lease_ms: int
    seen_us: int

    def __post_init__(self) -> None:
        _check_throttle(self.setpoint)
        _check_lease(self.lease_ms)


class StopReason(IntEnum):
    """Who stops, for a stand that can show or log it."""

    PERSON = 1
    GUARD = 2
    END = 3
    FAULT = 4


@dataclass(frozen=True, slots=True)
class Stop(Fixed):
    """Throttle zero now, and latch; accepted in every state."""

    TYPE: ClassVar[int] = 0x46
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<B")

    reason: StopReason

    @classmethod
    @override
    def from_body(cls, body: bytes) -> Self:
        """Read a body; a stop is a stop, whatever came with it."""
        try:
            return cls(StopReason(body[0]))
        except (IndexError, ValueError):
            return cls(StopReason.FAULT)


@dataclass(frozen=True, slots=True)
class Acknowledge(Fixed):
    """Clears one latch, named by the event that set it."""

    TYPE: ClassVar[int] = 0x47
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<HH")

    boot: int
    latch: int


@dataclass(frozen=True, slots=True)
class Lock(Fixed):
    """Ends the armed state: throttle zero, locked."""

    TYPE: ClassVar[int] = 0x48
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<H")

    boot: int


class Trigger(IntEnum):
    """What a capture waits for."""

    AT_ONCE = 1
    RISING = 2
    FALLING = 3


@dataclass(frozen=True, slots=True)
class Capture(Fixed):
    """Asks for many samples of one channel, close together, around a trigger.

    Attributes:
        number: chosen by the host; every block repeats it.
        boot: the boot the host believes in.
        channel: index of the channel.
        period_ns: from one sample to the next, asked for.
        count: samples asked for, not 0.
        before: how many of them from before the trigger, below ``count``.
        trigger: what it waits for.
        level: count that rising or falling refers to.
        patience_ms: how long it waits, 1 to 5000.
    """

    TYPE: ClassVar[int] = 0x49
    LAYOUT: ClassVar[struct.Struct] = struct.Struct("<BHBIHHBiH")
    RICH: ClassVar[dict[str, Callable[[Any], Any]]] = {"trigger": Trigger}

    number: int
    boot: int
    channel: int
    period_ns: int
    count: int
    before: int
    trigger: Trigger
    level: int
    patience_ms: int

    def __post_init__(self) -> None:
        if self.before >= self.count:
            raise ValueError(f"{self.before} of {self.count} samples before a trigger")
        if not 1 <= self.patience_ms <= PATIENCE_MAX_MS:
            raise ValueError(f"a patience of {self.patience_ms} ms")


@dataclass(frozen=True, slots=True)
class Unknown:
    """A whole frame of a type this version does not know: skipped, counted."""

    type_code: int


FromStand = (
    Identity | ChannelPage | StreamPage | Samples | Event | Reply | Counters | Burst
)
ToStand = Who | Limits | Prove | Arm | Throttle | Stop | Acknowledge | Lock | Capture
Message = FromStand | ToStand

FROM_STAND: dict[int, Callable[[bytes], FromStand]] = {
    kind.TYPE: kind.from_body
    for kind in (
        Identity,
        ChannelPage,
        StreamPage,
        Samples,
        Event,
        Reply,
        Counters,
        Burst,
    )
}
TO_STAND: dict[int, Callable[[bytes], ToStand]] = {
    kind.TYPE: kind.from_body
    for kind in (Who, Limits, Prove, Arm, Throttle, Stop, Acknowledge, Lock, Capture)
}


def encode(message: Message, sequence: int) -> bytes:
    """One payload, ready for framing.

    Raises:
        ValueError: a field does not fit its place on the wire.
    """
    return _HEAD.pack(message.TYPE, sequence & 0xFFFF) + message.body()


def head(payload: bytes) -> tuple[int, int]:
    """Type code and sequence of a payload that framing let through."""
    type_code, sequence = _HEAD.unpack_from(payload)
    return type_code, sequence


def decode_from_stand(payload: bytes) -> FromStand | Unknown:
    """What the stand said.

    Raises:
        MalformedMessage: it is of a known type but not of its form.
    """
    reader = FROM_STAND.get(payload[0])
    return reader(payload[_HEAD.size :]) if reader else Unknown(payload[0])


def decode_to_stand(payload: bytes) -> ToStand | Unknown:
    """What the host said, for a stand's side of the wire.

    Raises:
        MalformedMessage: it is of a known type but not of its form.
    """
    reader = TO_STAND.get(payload[0])
    return reader(payload[_HEAD.size :]) if reader else Unknown(payload[0])

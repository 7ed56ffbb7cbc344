"""The wire language as a stranger would write it, from daq/link/README.md alone.

It imports nothing of the project, so that a mistake shared by the project's own
encoder and decoder cannot hide. It must never be "fixed" by looking at the project's
code: where the two differ, the page decides.
"""

import struct
from collections.abc import Iterable
from typing import Any

Message = dict[str, Any]

STATES = {1: "locked", 2: "proving", 3: "armed", 4: "spinning", 5: "tripped"}
MAX_WIRE_BYTES = 67


def _eight_bits(crc: int) -> int:
    for _ in range(8):
        crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


_STEP = [_eight_bits(byte << 8) for byte in range(256)]


def crc16(data: bytes) -> int:
    """The CRC: polynomial 0x1021, start 0xFFFF, not reflected."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc << 8 & 0xFFFF) ^ _STEP[crc >> 8 ^ byte]
    return crc


def cobs_encode(data: bytes) -> bytes:
    """Consistent overhead byte stuffing: no zero byte comes out."""
    out = bytearray()
    for block in data.split(b"\0"):
        rest = block
        while len(rest) >= 254:
            out += b"\xff" + rest[:254]
            rest = rest[254:]
        out += bytes([len(rest) + 1]) + rest
    return bytes(out)


def cobs_decode(data: bytes) -> bytes | None:
    """What was encoded, or None where a code runs past the end."""
    out = bytearray()
    at = 0
    while at < len(data):
        code = data[at]
        if code == 0 or at + code > len(data):
            return None
        out += data[at + 1 : at + code]
        at += code
        if code < 0xFF and at < len(data):
            out.append(0)
    return bytes(out)


def frame(kind: int, sequence: int, body: bytes = b"") -> bytes:
    """One frame with its delimiter."""
    payload = struct.pack("<BH", kind, sequence) + body
    return cobs_encode(payload + struct.pack(">H", crc16(payload))) + b"\0"


def unframe(wire: bytes) -> bytes | None:
    """The payload of what stood between two delimiters, or None if damaged."""
    data = cobs_decode(wire) if len(wire) <= MAX_WIRE_BYTES else None
    if data is None or not 5 <= len(data) <= 66 or crc16(data) != 0:
        return None
    return data[:-2]


# --- Commands ---------------------------------------------------------------------

WHO, LIMITS, PROVE, ARM, THROTTLE, STOP, ACKNOWLEDGE, LOCK, CAPTURE = range(0x41, 0x4A)
PROVES, CAPTURES = 32, 64  # abilities
AT_ONCE, RISING, FALLING = 1, 2, 3
BURST_HEAD = "<BBHHHIIiH"
BURST_FIELDS = "number channel first total trigger time_us period_ns base step"
NO_SAMPLE = 255


def who_body(version: int = 1) -> bytes:
    """Body of `who`."""
    return struct.pack("<B", version)


def limits_body(entries: Iterable[tuple[int, int, int, int, int]]) -> bytes:
    """Body of `limits`: channel, low, high, persistence, max_age_10ms each."""
    rows = list(entries)
    out = bytes([len(rows)])
    for channel, low, high, persistence, age in rows:
        if -32768 <= low <= 32767 and -32768 <= high <= 32767:
            out += struct.pack("<BhhBB", channel, low, high, persistence, age)
        else:
            out += struct.pack("<BiiBB", channel | 0x80, low, high, persistence, age)
    return out


def arm_body(nonce: int, boot: int, crc: int, lease_ms: int, seen_us: int) -> bytes:
    """Body of `arm`, and of `prove`."""
    return struct.pack("<HHHHI", nonce, boot, crc, lease_ms, seen_us)


def throttle_body(nonce: int, setpoint: int, lease_ms: int, seen_us: int) -> bytes:
    """Body of `throttle`."""
    return struct.pack("<HHHI", nonce, setpoint, lease_ms, seen_us)


def acknowledge_body(boot: int, latch: int) -> bytes:
    """Body of `acknowledge`."""
    return struct.pack("<HH", boot, latch)


def lock_body(boot: int) -> bytes:
    """Body of `lock`."""
    return struct.pack("<H", boot)


def capture_body(
    number: int,
    boot: int,
    channel: int,
    period_ns: int,
    count: int,
    before: int,
    trigger: int,
    level: int,
    patience_ms: int,
) -> bytes:
    """Body of `capture`."""
    return struct.pack(
        "<BHBIHHBiH",
        number,
        boot,
        channel,
        period_ns,
        count,
        before,
        trigger,
        level,
        patience_ms,
    )


# --- Decoder ----------------------------------------------------------------------

TABLES: dict[int, tuple[str, str, str]] = {
    0x01: (
        "identity",
        "<BBBHIHBB16s",
        "link_version firmware_major firmware_minor boot stand_id abilities "
        "channel_count stream_count board",
    ),
    0x02: (
        "channel",
        "<BBBBfiiiIH16s",
        "index quantity kind width counts_per_unit zero_counts low_counts high_counts "
        "gain_u_ppm delay_us name",
    ),
    0x05: (
        "event",
        "<IHHBBHBBiH",
        "time_us boot number state cause latch limit channel count throttle",
    ),
    0x06: ("reply", "<BHBII", "to_type to_sequence verdict value time_us"),
    0x07: (
        "counters",
        "<IHBHHHHHHHH",
        "time_us boot state latch events throttle received damaged ignored unsent "
        "missed",
    ),
}


class Decoder:
    """Everything a stand sends, as plain dicts; counts what it drops.

    Attributes:
        damaged: frames dropped.
        lost: frames that the sequence says are missing.
        unknown: good frames of a type it does not know, or of a wrong length.
        channels: channel messages by index, as heard so far.
        streams: stream messages by index, as heard so far.
    """

    def __init__(self) -> None:
        self.damaged = self.lost = self.unknown = 0
        self.channels: dict[int, Message] = {}
        self.streams: dict[int, Message] = {}
        self._line = bytearray()
        self._next: int | None = None

    def feed(self, data: bytes) -> list[Message]:
        """The messages that these bytes complete."""
        out = []
        self._line += data
        while (end := self._line.find(0)) >= 0:
            wire = bytes(self._line[:end])
            del self._line[: end + 1]
            if not wire:
                continue
            payload = unframe(wire)
            if payload is None:
                self.damaged += 1
                continue
            message = self._decode(payload)
            if message is None:
                self.unknown += 1
            else:
                out.append(message)
        return out

    def _decode(self, payload: bytes) -> Message | None:
        kind, sequence = struct.unpack_from("<BH", payload)
        if self._next is not None:
            self.lost += (sequence - self._next) & 0xFFFF
        self._next = (sequence + 1) & 0xFFFF
        body = payload[3:]
        message: Message | None
        if kind == 0x03:
            message = self._stream(body)
        elif kind == 0x04:
            message = self._samples(body)
        elif kind == 0x08:
            message = self._burst(body)
        else:
            message = self._table(kind, body)
        if message is not None:
            message["sequence"] = sequence
        return message

    def _table(self, kind: int, body: bytes) -> Message | None:
        if kind not in TABLES or struct.calcsize(TABLES[kind][1]) != len(body):
            return None
        name, layout, fields = TABLES[kind]
        message: Message = {"type": name}
        message |= zip(fields.split(), struct.unpack(layout, body), strict=True)
        for key in ("board", "name"):
            if key in message:
                message[key] = message[key].rstrip(b"\0").decode("ascii")
        if name == "channel":
            self.channels[message["index"]] = message
        return message

    def _stream(self, body: bytes) -> Message | None:
        if len(body) < 7 or len(body) != 6 + body[5] or body[1:5] == bytes(4):
            return None
        index, period_us, count = struct.unpack_from("<BIB", body)
        message = {"type": "stream", "index": index, "period_us": period_us}
        message["channels"] = list(body[6 : 6 + count])
        self.streams[index] = message
        return message

    def _burst(self, body: bytes) -> Message | None:
        head = struct.calcsize(BURST_HEAD)
        if len(body) < head:
            return None
        values = struct.unpack_from(BURST_HEAD, body)
        message: Message = {"type": "burst"}
        message |= zip(BURST_FIELDS.split(), values, strict=True)
        message["samples"] = list(body[head:])
        after = message["first"] + len(message["samples"])
        if message["total"] == 0:
            good = after == 0 and message["trigger"] == 0
        else:
            good = message["first"] < after <= message["total"] > message["trigger"]
        return message if good and message["period_ns"] and message["step"] else None

    def _samples(self, body: bytes) -> Message | None:
        stream = self.streams.get(body[0]) if len(body) >= 5 else None
        if stream is None:
            return None
        try:
            widths = [self.channels[index]["width"] for index in stream["channels"]]
        except KeyError:
            return None
        layout = "<BI" + "".join("h" if width == 2 else "i" for width in widths)
        if struct.calcsize(layout) != len(body):
            return None
        index, time_us, *counts = struct.unpack(layout, body)
        return {
            "type": "samples",
            "stream": index,
            "time_us": time_us,
            "counts": dict(zip(stream["channels"], counts, strict=True)),
        }

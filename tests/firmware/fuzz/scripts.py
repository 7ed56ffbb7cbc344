"""The scripts that the fuzzer begins with, and the words they are made of.

``laws.c`` reads the same words; their numbers are handed to its compiler. A script says
what comes on the line, how time passes and what the pins do.
"""

import struct
from enum import IntEnum, auto

from daq.link import messages as m
from daq.link.framing import crc16, frame

BOOT = 1
FULL_16 = (-(1 << 15), (1 << 15) - 1)
PLUGGED = 583  # steps of the converter; 11.4 V
CALM = 20


class Op(IntEnum):
    """Words of a script, each a byte; what follows it stands in ``laws.c``."""

    RAW = 0
    FRAMED = auto()
    DAMAGED = auto()
    SEQUENCE = auto()
    THROTTLE = auto()
    GRANT = auto()
    LIMITS = auto()
    STOP = auto()
    ACKNOWLEDGE = auto()
    LOCK = auto()
    WHO = auto()
    RUN = auto()
    RUN_LONG = auto()
    HOLD = auto()
    PIN = auto()
    HANG = auto()
    RESET = auto()
    CLOCK = auto()
    KEPT = auto()
    CONSTANTS = auto()
    CAPTURE = auto()


def definitions() -> list[str]:
    """The words' numbers, for the compiler."""
    return [f"-DOP_{op.name}={int(op)}" for op in Op] + [f"-DOPS={len(Op)}"]


def word(op: Op, layout: str = "", *values: int) -> bytes:
    """One word with what follows it."""
    return bytes([op]) + struct.pack("<" + layout, *values)


def run(ms: int) -> bytes:
    """Up to 32 ms, or a multiple of 4 up to a second."""
    if ms <= 32:
        return word(Op.RUN, "B", ms - 1)
    return word(Op.RUN_LONG, "B", ms // 4)


def pins(
    current: int = CALM, voltage: int = PLUGGED, *, loop_open: bool = False
) -> bytes:
    """What the pins show."""
    return (
        word(Op.PIN, "BH", 0, current + 1)
        + word(Op.PIN, "BH", 1, voltage + 1)
        + word(Op.PIN, "BH", 5, loop_open)
    )


def wide_limits(age_10ms: int = 50) -> bytes:
    """Current, voltage and thrust, with limits that nothing violates."""
    entries = b"".join(
        struct.pack("<BBBB", 0, channel, 3, age_10ms) for channel in (0, 2, 7)
    )
    return word(Op.LIMITS, "B", 2) + entries


def one_limit(channel: int, low: int, high: int, persistence: int = 3) -> bytes:
    """A limit on one channel."""
    how = 2 | 4 | 8
    entry = struct.pack("<BBiiBB", how, channel, low, high, persistence, 50)
    return word(Op.LIMITS, "B", 0) + entry


def grant(*, proving: bool = False, wrong: int = 0) -> bytes:
    """Armed or proving, with a lease of 200 ms."""
    return word(Op.GRANT, "BH", wrong | int(proving), 150)


def hold(setpoint: int, times: int = 8) -> bytes:
    """A throttle every 25 ms."""
    return word(Op.HOLD, "BH", times, setpoint)


def spinning() -> bytes:
    """All that leads to a motor that turns."""
    return pins() + run(30) + wide_limits() + run(2) + grant() + hold(3000)


def one_limited() -> bytes:
    """Spinning, with limits on current and voltage."""
    limits = word(Op.LIMITS, "B", 1) + b"".join(
        struct.pack("<BBiiBB", 2 | 4 | 8, channel, low, 9000 + low, 3, 50)
        for channel, low in ((0, 0), (2, 900))
    )
    return pins() + run(30) + limits + run(2) + grant() + hold(3000)


def spoken() -> bytes:
    """A conversation in bytes, by the messages as Python encodes them."""
    limits = m.Limits(
        (m.LimitEntry(0, 0, 8000, 3, 50), m.LimitEntry(2, 0, 16000, 3, 50))
    )
    body = m.encode(limits, 0)[3:]
    said: list[m.ToStand] = [
        m.Who(),
        limits,
        m.Arm(7, BOOT, crc16(body), 500, 30_000),
        *(m.Throttle(7, setpoint, 500, 30_000) for setpoint in (0, 1000, 5000, 0)),
        m.Lock(BOOT),
        m.Prove(8, BOOT, crc16(body), 500, 30_000),
        m.Stop(m.StopReason.PERSON),
        m.Acknowledge(BOOT, 6),
    ]
    script = run(30)
    for sequence, message in enumerate(said):
        wire = b"\0" + frame(m.encode(message, sequence))
        script += word(Op.RAW, "B", len(wire)) + wire + run(3)
    return script


def own_constants(pulses: int = 7, scale: float = 500.0, zero: int = 100) -> bytes:
    """Constants that are whole, and a start with them."""
    scales = struct.pack("<fiI", scale, zero, 1000) * 9
    return word(Op.CONSTANTS, "B", pulses) + scales + word(Op.RESET, "B", 0)


def framed(message: m.ToStand) -> bytes:
    """A command with a right CRC, whatever is in it."""
    payload = m.encode(message, 0)
    body = payload[3:]
    return word(Op.FRAMED, "BB", payload[0], len(body)) + body


def capture(trigger: int) -> bytes:
    """A capture of the current: at once, rising, falling for 0, 1, 2."""
    return word(Op.CAPTURE, "BHBIHHBiH", 1, 0, 0, 26_000, 200, 50, trigger, 900, 50)


def seeds() -> dict[str, bytes]:
    """Scripts by name: each way through the states, each guard that acts."""
    proving = (
        pins(voltage=0) + run(30) + wide_limits() + grant(proving=True) + hold(500)
    )
    trips = {
        "lease": run(400),
        "stop": word(Op.STOP, "B", 1),
        "loop": pins(loop_open=True) + run(5),
        "silent-current": pins(current=-1) + hold(3000, 40),
        "silent-thrust": word(Op.PIN, "BH", 3, 0) + hold(3000, 40),
        "again": word(Op.SEQUENCE, "H", 0xFFFF) + word(Op.THROTTLE, "HHBB", 9, 0, 0, 0),
        "hang": word(Op.HANG, "B", 1) + run(600),
        "reset": word(Op.RESET, "B", 3) + run(20),
        "stale": word(Op.THROTTLE, "HHBB", 3000, 0, 120, 0) + run(100),
        "future": word(Op.THROTTLE, "HHBB", 3000, 400, 50, 8) + run(300),
        "wrong-nonce": word(Op.THROTTLE, "HHBB", 3000, 400, 0, 1) + run(300),
        "other-sequence": word(Op.SEQUENCE, "H", 40_000) + hold(3000),
        "damaged": word(Op.DAMAGED, "BBH", 0x45, 10, 77) + bytes(10) + run(300),
    }
    again = run(300) + word(Op.ACKNOWLEDGE, "B", 0) + run(2) + grant() + hold(2000)
    made = {f"trip-{name}": spinning() + how + again for name, how in trips.items()}
    made |= {
        "spoken": spoken(),
        "spin-and-lock": spinning() + hold(0) + word(Op.LOCK, "B", 0) + run(30),
        "prove": proving + word(Op.LOCK, "B", 0) + run(10),
        "prove-supply-on": proving + pins() + hold(500),
        "prove-supply-unknown": proving + pins(voltage=-1) + hold(500),
        "who": word(Op.WHO) + b"\0" + run(60),
        "current": one_limited() + pins(current=700) + hold(3000),
        "voltage": one_limited() + pins(voltage=1) + hold(3000),
        "current-at-first": pins(current=700)
        + run(10)
        + one_limit(0, 0, 8000)
        + grant(),
        "clock": word(Op.CLOCK, "H", 15_000)  # 0.96 s before it passes zero
        + word(Op.RESET, "B", 0)
        + spinning()
        + hold(3000, 30)
        + run(300),
        "constants": own_constants() + spinning() + run(300),
        "far-constants": own_constants(1, 1e30, -(1 << 31)) + spinning() + run(10),
        "damaged-constants": own_constants()
        + word(Op.KEPT, "BB", 40, 3)
        + word(Op.RESET, "B", 0)
        + run(30),
        "turning": spinning() + word(Op.PIN, "BH", 4, 2001) + hold(3000),
        "capture": spinning()
        + b"".join(capture(trigger) + hold(3000) for trigger in range(3)),
        "capture-that-rises": pins()
        + run(30)
        + capture(1)
        + run(30)
        + pins(current=200)
        + run(400),
        "wrong-grants": pins()
        + run(30)
        + wide_limits()
        + b"".join(grant(wrong=1 << bit) for bit in range(1, 6)),
        "who-of-other-version": framed(m.Who(9)) + run(60),
    }
    return made

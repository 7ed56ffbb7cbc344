"""A host for the contract suite: speaks the wire in the stranger's words.

It asks, waits in device time and remembers everything it heard. It must never
decide whether a stand is right: that is for the tests.
"""

import math
from collections.abc import Callable, Iterable
from typing import Any

from tests.contract import stranger
from tests.contract.stranger import Message
from tests.contract.subjects import SideDoors, Subject

LOCKED, PROVING, ARMED, SPINNING, TRIPPED = range(1, 6)
DONE, UNKNOWN, MALFORMED, WRONG_STATE, WRONG_BOOT, WRONG_LIMITS, NO_LIMITS = range(7)
BAD_LIMITS, EXCEEDED, SILENT, LOOP_OPEN, BAD_LEASE, BAD_NONCE, BAD_LATCH, STALE = range(
    7, 15
)
SUPPLY_ON, CANNOT_CAPTURE = 15, 16
SLOW_SPIN = 800  # 8 %: harmless on a real stand without a propeller
DEAF_READS = 400  # reads without a byte before the stand counts as dead
PATIENCE_MS = 2000
EMPTY_MS = 1000  # a bus empties itself in less, once the plug is out
OFF_V = 1.0
UNKNOWN_KIND = 0x7F
LIMITED = ("current", "voltage", "thrust")

Entry = tuple[int, int, int, int, int]


class Silence(AssertionError):
    """What was waited for did not come."""


class Host:
    """One side of the conversation.

    Attributes:
        heard: every message so far, in order.
        newest_us: newest device stamp, as it was on the wire.
        elapsed_us: device time that passed while listening, over all starts.
        identity: the stand's own words, once asked.
    """

    def __init__(self, subject: Subject) -> None:
        self.subject = subject
        self.decoder = stranger.Decoder()
        self.heard: list[Message] = []
        self.newest_us = 0
        self.elapsed_us = 0
        self.identity: Message = {}
        self.limits_crc = 0
        self.nonce = 0
        self.sequence = 0
        self._stamped = False
        self._read_to = 0  # how much of what was heard `until` has looked at

    # --- The line ---------------------------------------------------------------

    @property
    def doors(self) -> SideDoors | None:
        """Side doors of the stand."""
        return self.subject.doors

    def send(self, kind: int, body: bytes = b"", *, sequence: int | None = None) -> int:
        """One command; the sequence it went under."""
        if sequence is None:
            sequence = self.sequence
            self.sequence = (self.sequence + 1) & 0xFFFF
        self.subject.write(b"\0" + stranger.frame(kind, sequence, body))
        return sequence

    def listen(self) -> list[Message]:
        """What came during the next bit of time."""
        messages = self.decoder.feed(self.subject.read())
        for message in messages:
            self._stamp(message)
        self.heard += messages
        return messages

    def _stamp(self, message: Message) -> None:
        if "time_us" not in message:
            return
        time_us = message["time_us"]
        starts = message["type"] == "event" and message["cause"] < 16
        ahead = (time_us - self.newest_us) & 0xFFFFFFFF
        if starts or not self._stamped:
            self.newest_us, self._stamped = time_us, True
        elif ahead < 1 << 31:
            self.newest_us = time_us
            self.elapsed_us += ahead

    # --- Waiting, in device time ------------------------------------------------

    def until(
        self, wanted: Callable[[Message], bool], within_ms: int = PATIENCE_MS
    ) -> Message:
        """The next message that is wanted, after those already looked at.

        Raises:
            Silence: it did not come.
        """
        begin_us, deaf = self.elapsed_us, 0
        while True:
            while self._read_to < len(self.heard):
                message = self.heard[self._read_to]
                self._read_to += 1
                if wanted(message):
                    return message
            late = self.elapsed_us - begin_us > within_ms * 1000
            if late or deaf >= DEAF_READS:
                last = self.heard[-3:]
                raise Silence(f"not within {within_ms} ms; last heard {last}")
            deaf = 0 if self.listen() else deaf + 1

    def pass_ms(self, ms: int) -> list[Message]:
        """Let device time pass; what came meanwhile."""
        begin, begin_us, deaf = len(self.heard), self.elapsed_us, 0
        while self.elapsed_us - begin_us < ms * 1000:
            deaf = 0 if self.listen() else deaf + 1
            if deaf >= DEAF_READS:
                raise Silence("the stand says nothing any more")
        self._read_to = len(self.heard)
        return self.heard[begin:]

    def event(self, cause: int, within_ms: int = PATIENCE_MS) -> Message:
        """The next event with that cause."""
        return self.until(
            lambda message: message["type"] == "event" and message["cause"] == cause,
            within_ms,
        )

    def reply_to(self, kind: int, sequence: int) -> Message:
        """The reply to one command."""
        return self.until(
            lambda message: (
                message["type"] == "reply"
                and (message["to_type"], message["to_sequence"]) == (kind, sequence)
            )
        )

    def ask(self, kind: int, body: bytes = b"") -> Message:
        """Send a command and wait for its reply."""
        return self.reply_to(kind, self.send(kind, body))

    def verdict(self, kind: int, body: bytes = b"") -> int:
        """Send a command; the verdict on it."""
        return int(self.ask(kind, body)["verdict"])

    def counters(self) -> Message:
        """Counters that already know of everything sent so far."""
        self.ask(UNKNOWN_KIND)
        return self.until(lambda message: message["type"] == "counters")

    def last(self, kind: str) -> Message:
        """The newest message of a type."""
        return next(m for m in reversed(self.heard) if m["type"] == kind)

    def events(self) -> list[Message]:
        """All events so far."""
        return [message for message in self.heard if message["type"] == "event"]

    # --- Commands ---------------------------------------------------------------

    def identify(self, version: int = 1) -> Message:
        """Ask who is there until everything is known."""
        self.send(stranger.WHO, stranger.who_body(version))
        self.identity = self.until(lambda message: message["type"] == "identity")
        last = self.identity["stream_count"] - 1
        self.until(
            lambda message: message["type"] == "stream" and message["index"] == last
        )
        return self.identity

    @property
    def boot(self) -> int:
        """Boot number, as identified."""
        return int(self.identity["boot"])

    def channel(self, name: str) -> Message:
        """The channel of that name."""
        return next(
            channel
            for channel in self.decoder.channels.values()
            if channel["name"] == name
        )

    def limit(
        self,
        name: str,
        low: float | None = None,
        high: float | None = None,
        *,
        persistence: int = 3,
        age_10ms: int = 50,
    ) -> Entry:
        """A limit in SI values; an end that is not given is that of the range."""
        channel = self.channel(name)
        scale, zero = channel["counts_per_unit"], channel["zero_counts"]
        ends = [
            None if value is None else round(value * scale) + zero
            for value in (low, high)
        ]
        if scale < 0:
            ends.reverse()
        floor, ceiling = channel["low_counts"], channel["high_counts"]
        return (
            channel["index"],
            floor if ends[0] is None else max(floor, ends[0]),
            ceiling if ends[1] is None else min(ceiling, ends[1]),
            persistence,
            age_10ms,
        )

    def wide_limits(self) -> list[Entry]:
        """A set that no reading violates, over the usual channels."""
        names = {channel["name"] for channel in self.decoder.channels.values()}
        return [self.limit(name) for name in LIMITED if name in names]

    def take_limits(self, entries: Iterable[Entry] | None = None) -> Message:
        """Send a set; the reply, whose CRC is kept for arming."""
        rows = self.wide_limits() if entries is None else entries
        reply = self.ask(stranger.LIMITS, stranger.limits_body(rows))
        self.limits_crc = reply["value"]
        return reply

    def arm_body(self, **changes: int) -> bytes:
        """An arming that should be granted, but for what is changed."""
        fields = {
            "nonce": self.nonce + 1,
            "boot": self.boot,
            "crc": self.limits_crc,
            "lease_ms": 500,
            "seen_us": self.newest_us,
        }
        return stranger.arm_body(**(fields | changes))

    def arm(self, **changes: int) -> int:
        """Ask to be armed; the verdict."""
        verdict = self.verdict(stranger.ARM, self.arm_body(**changes))
        if verdict == 0:
            self.nonce = changes.get("nonce", self.nonce + 1)
        return verdict

    @property
    def proves(self) -> bool:
        """Whether it says that it can give a pulse while its supply is off."""
        return bool(self.identity["abilities"] & stranger.PROVES)

    def prove(self, **changes: int) -> int:
        """Ask for proving, as for arming; the verdict."""
        verdict = self.verdict(stranger.PROVE, self.arm_body(**changes))
        if verdict == 0:
            self.nonce = changes.get("nonce", self.nonce + 1)
        return verdict

    @property
    def captures(self) -> bool:
        """Whether it says that it can take many samples close together."""
        return bool(self.identity["abilities"] & stranger.CAPTURES)

    def capture_body(self, name: str, **changes: int) -> bytes:
        """A capture that should be granted and ends soon, but for what is changed."""
        fields = {
            "number": 1,
            "boot": self.boot,
            "channel": self.channel(name)["index"],
            "period_ns": 26_000,
            "count": 100,
            "before": 0,
            "trigger": stranger.AT_ONCE,
            "level": 0,
            "patience_ms": 1000,
        }
        return stranger.capture_body(**(fields | changes))

    def capture(self, name: str, **changes: int) -> int:
        """Ask for a capture; the verdict."""
        return self.verdict(stranger.CAPTURE, self.capture_body(name, **changes))

    def blocks(self, number: int = 1, within_ms: int = 3000) -> list[Message]:
        """All blocks of a capture, in order of their coming.

        Raises:
            Silence: they did not all come.
        """
        got: list[Message] = []
        came = 0
        while not got or came < got[0]["total"]:
            got.append(
                self.until(
                    lambda message: (
                        message["type"] == "burst" and message["number"] == number
                    ),
                    within_ms,
                )
            )
            came += len(got[-1]["samples"])
        return got

    def throttle_body(self, setpoint: int, **changes: int) -> bytes:
        """A throttle that should be accepted, but for what is changed."""
        fields = {"nonce": self.nonce, "lease_ms": 500, "seen_us": self.newest_us}
        return stranger.throttle_body(setpoint=setpoint, **(fields | changes))

    def throttle(self, setpoint: int, **changes: int) -> int:
        """Send one throttle; the sequence it went under."""
        return self.send(stranger.THROTTLE, self.throttle_body(setpoint, **changes))

    def hold(self, setpoint: int, ms: int, **changes: int) -> None:
        """Keep a throttle on for so long, renewing its lease every 10 ms."""
        begin_us = due_us = self.elapsed_us
        while self.elapsed_us - begin_us < ms * 1000:
            if self.elapsed_us >= due_us:
                self.throttle(setpoint, **changes)
                due_us = self.elapsed_us + 10_000
            self.listen()

    def ready(self) -> "Host":
        """Identified, unlatched, with limits that hold."""
        self.identify()
        self.unlatch()
        self.take_limits()
        self.until(lambda message: message["type"] == "samples")
        self.pass_ms(30)
        return self

    def armed(self) -> "Host":
        """Ready and armed."""
        self.ready()
        if self.arm() != 0:
            raise Silence(f"not armed: {self.heard[-1]}")
        return self

    def unplugged(self) -> "Host":
        """Ready, its supply off and seen to be off."""
        self.ready()
        if self.doors is None:
            raise Silence("nobody can pull the plug of this stand")
        self.doors.plug(inserted=False)
        self.until(lambda _: self.reading("voltage") < OFF_V, EMPTY_MS)
        return self

    def proving(self, setpoint: int = 0) -> "Host":
        """Unplugged and proving, the pulse at a setpoint."""
        self.unplugged()
        if self.prove() != 0:
            raise Silence(f"not proving: {self.heard[-1]}")
        if setpoint:
            self.hold(setpoint, 40)
        return self

    def reading(self, name: str) -> float:
        """The newest reading of a channel, SI; NaN where there is none."""
        channel = self.channel(name)
        lowest = -(1 << (8 * channel["width"] - 1))
        for message in reversed(self.heard):
            count = message.get("counts", {}).get(channel["index"], lowest)
            if count != lowest:
                value = count - channel["zero_counts"]
                return float(value / channel["counts_per_unit"])
        return math.nan

    def spinning(self, setpoint: int) -> "Host":
        """Armed, and spinning at a setpoint."""
        self.armed()
        self.throttle(setpoint)
        self.event(17)
        return self

    def bring(self, state: int) -> "Host":
        """Into a state, whatever it was in."""
        if state == ARMED:
            return self.armed()
        if state == SPINNING:
            return self.spinning(SLOW_SPIN)
        if state == PROVING:
            return self.proving(SLOW_SPIN)
        self.ready()
        if state == TRIPPED:
            self.ask(stranger.STOP, b"\x01")
        return self

    def unlatch(self) -> None:
        """Acknowledge whatever is latched; choose a nonce not used before."""
        counters = self.counters()
        self.nonce = max(self.nonce, counters["time_us"] // 1000 & 0x7FFF)
        if counters["latch"]:
            self.ask(stranger.ACKNOWLEDGE, self.named(counters["latch"]))

    def named(self, latch: int, boot: int | None = None) -> bytes:
        """Body of `acknowledge`."""
        return stranger.acknowledge_body(self.boot if boot is None else boot, latch)

    def told(self) -> dict[str, Any]:
        """State, latch, throttle and number of events, by the next counters."""
        counters = self.counters()
        return {key: counters[key] for key in ("state", "latch", "throttle", "events")}

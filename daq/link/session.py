"""One conversation with one stand: bytes and times in, happenings out.

Holds no port and reads no clock. The caller feeds what arrived with the time
it arrived, calls ``poll`` when ``deadline_s`` has come, and writes the bytes
that ``poll`` and ``send`` return. Whatever the other side says, no exception
escapes ``receive``: damage and nonsense are counted in ``Health``.
"""

import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from daq.link import messages as m
from daq.link.framing import DELIMITER, Deframer, frame
from daq.link.timing import ArrivalMap, DeviceClock

WHO_PERIOD_S = 0.1
WHO_PATIENCE_S = 3.0  # opening a port may reset the board behind it
REPLY_PATIENCE_S = 0.25
MAX_AWAITED = 32
HALF_SEQUENCE = 0x8000
MIN_SAMPLE = 8  # type, sequence, stream and time


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read the samples of one stream.

    Attributes:
        page: the stream's own page.
        channels: its channels in wire order.
        unpack: a whole payload to its time stamp and counts.
        size: bytes of such a payload.
    """

    page: m.StreamPage
    channels: tuple[m.ChannelPage, ...]
    unpack: Callable[[bytes], tuple[int, ...]]
    size: int


@dataclass(frozen=True, slots=True)
class Stand:
    """Everything a stand said about itself.

    Attributes:
        identity: its identity.
        channels: all channels, by index.
        layouts: all streams, by index.
    """

    identity: m.Identity
    channels: tuple[m.ChannelPage, ...]
    layouts: tuple[Layout, ...]

    def channel(self, name: str) -> m.ChannelPage | None:
        """The channel of that name, if the stand has it."""
        return next((c for c in self.channels if c.name == name), None)

    def introduction(self) -> bytes:
        """The frames that say all this, as the stand would send them again."""
        streams = [layout.page for layout in self.layouts]
        pages: list[m.FromStand] = [self.identity, *self.channels, *streams]
        return b"".join(frame(m.encode(page, n)) for n, page in enumerate(pages))


@dataclass(frozen=True, slots=True)
class Identified:
    """The stand is known; again after each restart."""

    stand: Stand


@dataclass(frozen=True, slots=True)
class WrongVersion:
    """Something answered, in another version of the language."""

    theirs: int


@dataclass(frozen=True, slots=True)
class NotIdentified:
    """Nothing answered as a stand in time.

    Attributes:
        heard_bytes: how much arrived that made no sense.
        pages_missing: an identity came, but not all of its pages.
        why: what was wrong with what arrived, where that is known.
    """

    heard_bytes: int
    pages_missing: bool
    why: str = ""


class Sampled(NamedTuple):
    """One sample; a tuple, since there are hundreds a second.

    Attributes:
        layout: its stream, as it was laid out when the sample came.
        device_s: device time, unwrapped.
        counts: one raw count a channel, in the stream's order.
    """

    layout: Layout
    device_s: float
    counts: tuple[int, ...]

    @property
    def stream(self) -> int:
        """Index of its stream."""
        return self.layout.page.index


@dataclass(frozen=True, slots=True)
class StateTold:
    """The stand told its state, in an event or with its counters.

    Attributes:
        device_s: device time, unwrapped.
        message: the event or the counters.
    """

    device_s: float
    message: m.Event | m.Counters


@dataclass(frozen=True, slots=True)
class BurstTold:
    """A block of a fast capture came (``bursts`` puts them together).

    Attributes:
        device_s: device time of the capture's trigger, unwrapped.
        block: the block.
    """

    device_s: float
    block: m.Burst


@dataclass(frozen=True, slots=True)
class Replied:
    """A command was answered.

    Attributes:
        command: what had been asked.
        verdict: done, or why not.
        value: what the reply carried.
        took_s: from sending to the answer's arrival.
    """

    command: m.ToStand
    verdict: m.Verdict
    value: int
    took_s: float


@dataclass(frozen=True, slots=True)
class Unanswered:
    """A command got no reply in time."""

    command: m.ToStand


@dataclass(frozen=True, slots=True)
class Restarted:
    """The stand is in another boot than the one identified."""

    was: int
    now: int


Happening = (
    Identified
    | WrongVersion
    | NotIdentified
    | Sampled
    | StateTold
    | BurstTold
    | Replied
    | Unanswered
    | Restarted
)


@dataclass(slots=True)
class Health:
    """What the link lost and what it could not read.

    Attributes:
        frames: whole frames that were understood.
        lost: frames missing by their sequence numbers.
        malformed: frames with a good CRC that are no message.
        unknown: frames of a type this version does not know.
        unsorted: samples of streams that are not known (yet).
    """

    frames: int = 0
    lost: int = 0
    malformed: int = 0
    unknown: int = 0
    unsorted: int = 0


@dataclass(slots=True)
class _Pages:
    """Identity pages as they come in, any order, some of them lost."""

    identity: m.Identity | None = None
    channels: dict[int, m.ChannelPage] = field(default_factory=dict)
    streams: dict[int, m.StreamPage] = field(default_factory=dict)

    def assemble(self) -> Stand | None:
        """The stand, once every page is there and they agree."""
        identity = self.identity
        if identity is None:
            return None
        channels = [self.channels.get(i) for i in range(identity.channel_count)]
        streams = [self.streams.get(i) for i in range(identity.stream_count)]
        whole = tuple(c for c in channels if c is not None)
        pages = tuple(s for s in streams if s is not None)
        if len(whole) != len(channels) or len(pages) != len(streams):
            return None
        if any(i >= len(whole) for page in pages for i in page.channels):
            return None
        return Stand(identity, whole, tuple(layout_of(p, whole) for p in pages))


def layout_of(page: m.StreamPage, channels: tuple[m.ChannelPage, ...]) -> Layout:
    """How to read a stream of a stand that has these channels."""
    mine = tuple(channels[i] for i in page.channels)
    codes = "".join("h" if channel.width == 2 else "i" for channel in mine)
    reader = struct.Struct("<4xI" + codes)  # type, sequence and stream are known
    return Layout(page, mine, reader.unpack, reader.size)


class Session:
    """The host's side of the conversation.

    Attributes:
        stands_in: never; the stand speaks for itself.
        stand: who is there, once identified; None again after a restart.
        state: the stand's interlock state as last told.
        health: what was lost or not understood.
        arrivals: map from device time to host time.
        newest_us: newest device stamp seen, raw, for throttle and arm.
    """

    stands_in: Final = False

    def __init__(self) -> None:
        self.stand: Stand | None = None
        self.state = m.State.UNKNOWN
        self.health = Health()
        self.arrivals = ArrivalMap()
        self.newest_us = 0
        self._newest_s = float("-inf")
        self._deframer = Deframer()
        self._clock = DeviceClock()
        self._pages = _Pages()
        self._sequence = 0
        self._next_sequence = -1  # of theirs; not known yet
        self._gap = 0  # before the newest frame
        self._awaited: dict[int, tuple[m.ToStand, float, float]] = {}
        self._who_due_s: float | None = None
        self._who_end_s = 0.0
        self._heard = 0

    # ------------------------------------------------------------- asking

    @property
    def drops(self) -> int:
        """Frames that framing had to drop."""
        return self._deframer.drops.frames

    @property
    def deadline_s(self) -> float:
        """When ``poll`` has something to do next; infinite when nothing."""
        due = self._who_due_s if self._who_due_s is not None else float("inf")
        return min([due, *(expires for _, _, expires in self._awaited.values())])

    def not_taken(self) -> str:
        """Nothing: damaged frames say nothing that could be told."""
        return ""

    def identify(self, now_s: float) -> None:
        """Start asking who is there, for 3 s at most."""
        self._pages = _Pages()
        self.stand = None
        self._heard = 0
        self._who_due_s = now_s
        self._who_end_s = now_s + WHO_PATIENCE_S

    def know(self, stand: Stand) -> None:
        """Take it for known who is there, though it was not heard."""
        self.stand = stand

    def send(self, command: m.ToStand, now_s: float) -> bytes:
        """Bytes for one command; its reply, or its absence, comes as a happening.

        Raises:
            ValueError: a field does not fit its place on the wire.
        """
        sequence = self._sequence
        self._sequence = (sequence + 1) & 0xFFFF
        if not isinstance(command, m.Who | m.Throttle):
            if len(self._awaited) >= MAX_AWAITED:
                self._awaited.pop(next(iter(self._awaited)))
            expires = now_s + REPLY_PATIENCE_S
            self._awaited[sequence] = (command, now_s, expires)
        # A leading delimiter ends whatever half frame the line still holds.
        return DELIMITER + frame(m.encode(command, sequence))

    def poll(self, now_s: float) -> tuple[bytes, list[Happening]]:
        """What is due: bytes to write, and what did not happen in time."""
        happenings: list[Happening] = []
        late = [s for s, (_, _, end) in self._awaited.items() if end <= now_s]
        happenings += [Unanswered(self._awaited.pop(s)[0]) for s in late]
        if self._who_due_s is None or now_s < self._who_due_s:
            return b"", happenings
        if now_s >= self._who_end_s:
            self._who_due_s = None
            missing = self._pages.identity is not None
            happenings.append(NotIdentified(self._heard, missing))
            return b"", happenings
        self._who_due_s = now_s + WHO_PERIOD_S
        return self.send(m.Who(), now_s), happenings

    # ------------------------------------------------------------- hearing

    def receive(self, data: bytes, now_s: float) -> list[Happening]:
        """What ``data``, arrived at ``now_s``, says."""
        self._heard += len(data)
        happenings: list[Happening] = []
        before_s = self._newest_s
        for payload in self._deframer.feed(data):
            self._count_gap(payload[1] | payload[2] << 8)
            if payload[0] == m.Samples.TYPE:
                self._sample(payload, now_s, happenings)
                continue
            try:
                message = m.decode_from_stand(payload)
            except m.MalformedMessage:
                self.health.malformed += 1
                continue
            if isinstance(message, m.Unknown):
                self.health.unknown += 1
            else:
                self.health.frames += 1
                self._take(message, now_s, happenings)
        if self._newest_s > before_s:
            # Of what came together, the newest waited least.
            self.arrivals.observe(self._newest_s, now_s)
        return happenings

    def _count_gap(self, sequence: int) -> None:
        self._gap = 0
        if sequence != self._next_sequence and self._next_sequence >= 0:
            gap = (sequence - self._next_sequence) & 0xFFFF
            # A step back is a stand that began again, or a frame said twice.
            self._gap = gap if gap < HALF_SEQUENCE else 0
            self.health.lost += self._gap
        self._next_sequence = (sequence + 1) & 0xFFFF

    def _sample(self, payload: bytes, now_s: float, out: list[Happening]) -> None:
        """The hot path: one sample frame."""
        if self.stand is None or len(payload) < MIN_SAMPLE:
            self.health.unsorted += 1
            return
        layouts, stream = self.stand.layouts, payload[3]
        if stream >= len(layouts) or len(payload) != layouts[stream].size:
            self.health.malformed += 1
            return
        self.health.frames += 1
        layout = layouts[stream]
        read = layout.unpack(payload)
        out.append(Sampled(layout, self._stamp(read[0], now_s), read[1:]))

    def _stamp(self, time_us: int, now_s: float) -> float:
        device_s = self._clock.unwrap(time_us, now_s)
        if device_s >= self._newest_s:
            self._newest_s = device_s
            self.newest_us = time_us
        return device_s

    def _take(self, message: m.FromStand, now_s: float, out: list[Happening]) -> None:
        match message:
            case m.Event() | m.Counters():
                self._take_state(message, now_s, out)
            case m.Reply():
                self._stamp(message.time_us, now_s)
                asked = self._awaited.get(message.to_sequence)
                if asked and message.to_type == asked[0].TYPE:
                    del self._awaited[message.to_sequence]
                    command, sent_s, _ = asked
                    took_s = now_s - sent_s
                    out.append(Replied(command, message.verdict, message.value, took_s))
            case m.Identity() | m.ChannelPage() | m.StreamPage():
                self._take_page(message, out)
            case m.Burst():
                out.append(BurstTold(self._stamp(message.time_us, now_s), message))
            case m.Samples():
                self.health.malformed += 1

    def _take_state(
        self, message: m.Event | m.Counters, now_s: float, out: list[Happening]
    ) -> None:
        starts = isinstance(message, m.Event) and message.cause.is_start
        known = self.stand.identity.boot if self.stand else None
        if starts or (known is not None and message.boot != known):
            self._forget_time()
            self.health.lost -= self._gap  # nobody numbers across a start
            self._gap = 0
            if known is not None and message.boot != known:
                out.append(Restarted(known, message.boot))
                self.identify(now_s)
        self.state = message.state
        out.append(StateTold(self._stamp(message.time_us, now_s), message))

    def _forget_time(self) -> None:
        """A restarted stand counts its time from zero again."""
        self._clock = DeviceClock()
        self.arrivals = ArrivalMap()
        self._newest_s = float("-inf")

    def _take_page(
        self, page: m.Identity | m.ChannelPage | m.StreamPage, out: list[Happening]
    ) -> None:
        if self._who_due_s is None:
            return  # an answer to a question that is settled
        match page:
            case m.Identity():
                if page.link_version != m.LINK_VERSION:
                    self._who_due_s = None
                    out.append(WrongVersion(page.link_version))
                    return
                if self._pages.identity != page:
                    self._pages = _Pages(page)
            case m.ChannelPage():
                self._pages.channels[page.index] = page
            case m.StreamPage():
                self._pages.streams[page.index] = page
        stand = self._pages.assemble()
        if stand is not None:
            self._who_due_s = None
            self.stand = stand
            out.append(Identified(stand))

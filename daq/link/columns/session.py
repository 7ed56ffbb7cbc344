"""One conversation with a stand that prints lines: the same happenings as any other.

Bytes and times in, happenings out. A stand is known by the first line that is taken
whole. What it has not, a state, a lease and replies, is held in its place by
``StandIn`` and comes as happenings too; ``stands_in`` says so, and whoever tells a
person or the record of them has to. Holds no port, reads no clock; whatever arrives
there is no exception, and what was not used is counted and explained.
"""

from dataclasses import replace
from typing import Final

from daq.link import messages as m
from daq.link import session as s
from daq.link.columns.commands import HeardCommands
from daq.link.columns.description import Description
from daq.link.columns.lines import Lines
from daq.link.columns.reading import Reader, Reason, Refusal, Sample
from daq.link.columns.stand_in import StandIn
from daq.link.columns.translation import BOOT, Translation, introduction
from daq.link.timing import ArrivalMap

PATIENCE_S: Final = 5.0  # a board that opening resets begins to print after seconds
PATIENCE_LINES: Final = 5
EXAMPLES: Final = 5
# A simulation says so, in a line that no sketch prints by chance, every second.
SIMULATED_LINE: Final = "# SIMULATED by gramwatt: nothing turns"
LISTEN_S: Final = 1.2
BOOTS: Final = 0xFFFF  # then they are counted from one again
# Echoes and banners are no damage; everything else that is refused is.
_NO_DAMAGE: Final = (Reason.OTHER_TEXT,)


class LineSession:
    """The host's side of the conversation.

    Attributes:
        stands_in: what the stand tells of its state is this program's own word.
        description: what its lines hold.
        stand: who is there, once a line was taken; None again after a restart.
        state: as this side holds it.
        health: what was taken, and what was not.
        arrivals: map from the stand's time to host time.
        newest_us: time of the newest sample, raw.
        reader: takes the lines, and knows what it refused.
    """

    stands_in: Final = True

    def __init__(self, description: Description, *, begins_whole: bool = False) -> None:
        """Begin.

        Args:
            description: what the lines hold.
            begins_whole: the first byte begins a line, as in a log.
        """
        self.description = description
        self.stand: s.Stand | None = None
        self.health = s.Health()
        self.arrivals = ArrivalMap()
        self.newest_us = 0
        self.reader = Reader(description)
        self._echoes = HeardCommands(description.commands)
        self._lines = Lines(begins_whole=begins_whole)
        self._translation = Translation(description)
        self._boot = BOOT
        self._restarts = 0
        self._stand_in = StandIn(description, BOOT)
        self._who = _stand_of(description, BOOT, is_simulated=False)
        self._asking_end_s: float | None = None
        self._listens_s = 0.0 if begins_whole else LISTEN_S
        self._listen_end_s = float("-inf")
        self._is_simulated = False
        self._heard = 0
        self._newest_s = float("-inf")
        self._pending: list[s.Happening] = []

    # ------------------------------------------------------------------ asking

    @property
    def state(self) -> m.State:
        """Where this side holds the stand to be; unknown before it was heard."""
        return self._stand_in.state if self.stand else m.State.UNKNOWN

    @property
    def drops(self) -> int:
        """Lines that are no text, or none that ends."""
        return self._lines.drops.lines

    @property
    def deadline_s(self) -> float:
        """When ``poll`` has something to do next; infinite when nothing."""
        if self._pending:
            return float("-inf")
        asking = self._asking_end_s
        until_s = float("inf") if asking is None else asking
        return min(until_s, self._stand_in.deadline_s)

    def identify(self, now_s: float) -> None:
        """Wait for a line that can be taken; nothing is asked.

        Not before a while has passed: a board that opening resets has printed its
        banner by then, and a simulation has said that it is one.
        """
        self.stand = None
        self._listen_end_s = now_s + self._listens_s
        self._heard = 0
        patience_s = max(PATIENCE_S, PATIENCE_LINES / self.description.rate_hz)
        self._asking_end_s = now_s + patience_s

    def know(self, stand: s.Stand) -> None:
        """Take it for known who is there, though it was not heard."""
        self.stand = self._who = stand

    def send(self, command: m.ToStand, now_s: float) -> bytes:
        """Text for one command; its reply comes with the next ``poll``."""
        if isinstance(command, m.Who):
            return b""
        if isinstance(command, m.Throttle):
            text = self._stand_in.throttle(command, now_s)
        else:
            verdict, value = self._stand_in.take(command, now_s)
            self._tell_events()  # before the reply of what brought them about
            self._pending.append(s.Replied(command, verdict, value, 0.0))
            text = self._stand_in.poll(now_s)
        self._tell_events()
        return text

    def poll(self, now_s: float) -> tuple[bytes, list[s.Happening]]:
        """What is due: text to write, and what came of what was sent."""
        text = self._stand_in.poll(now_s)
        self._tell_events()
        happenings, self._pending = self._pending, []
        if self._asking_end_s is not None and now_s >= self._asking_end_s:
            self._asking_end_s = None
            why = self.not_taken()
            happenings.append(
                s.NotIdentified(self._heard, pages_missing=False, why=why)
            )
        return text, happenings

    def _tell_events(self) -> None:
        for event in self._stand_in.events(self.newest_us):
            self._pending.append(s.StateTold(max(self._newest_s, 0.0), event))

    # ------------------------------------------------------------------ hearing

    def receive(self, data: bytes, now_s: float) -> list[s.Happening]:
        """What ``data``, arrived at ``now_s``, says."""
        self._heard += len(data)
        happenings: list[s.Happening] = []
        drops = self._lines.drops
        before, before_s = drops.too_long + drops.not_text, self._newest_s
        for line, line_s in self._timed(self._lines.feed(data), now_s):
            if line == SIMULATED_LINE:
                self._is_simulated = True
                continue
            taken = self.reader.take(line, line_s)
            if isinstance(taken, Sample):
                self._sampled(taken, now_s, happenings)
            elif taken is not None:
                self._refused(taken, is_echo=self._echoes.hears(line))
        self.health.malformed += drops.too_long + drops.not_text - before
        if self._newest_s > before_s:
            self.arrivals.observe(self._newest_s, now_s)
        return happenings

    def _timed(self, lines: list[str], now_s: float) -> list[tuple[str, float]]:
        """When each line came; of several at once, the earlier ones waited."""
        if self.description.time is not None:
            return [(line, now_s) for line in lines]
        period_s, last = 1 / self.description.rate_hz, len(lines) - 1
        return [(x, now_s - (last - n) * period_s) for n, x in enumerate(lines)]

    def _sampled(self, sample: Sample, now_s: float, out: list[s.Happening]) -> None:
        message = self._translation.samples(sample)
        if isinstance(message, Refusal):
            self._refused(message)
            return
        if sample.restarts != self._restarts:
            self._began_again(sample.restarts, now_s, out)
        self.health.frames += 1
        if self.stand is None:
            if now_s < self._listen_end_s:
                return
            self._identified(sample.time_s, message.time_us, out)
        self._newest_s, self.newest_us = sample.time_s, message.time_us
        layout = self._who.layouts[0]
        head = bytes(4) + message.time_us.to_bytes(4, "little")
        counts = layout.unpack(head + message.raw)[1:]
        out.append(s.Sampled(layout, sample.time_s, counts))

    def _identified(self, time_s: float, time_us: int, out: list[s.Happening]) -> None:
        self._asking_end_s = None
        self._who = _stand_of(
            self.description, self._boot, is_simulated=self._is_simulated
        )
        self.stand = self._who
        out.append(s.Identified(self._who))
        out.append(s.StateTold(time_s, self._stand_in.counters(time_us)))

    def _refused(self, refusal: Refusal, *, is_echo: bool = False) -> None:
        if is_echo or refusal.reason in _NO_DAMAGE:
            self.health.unknown += 1
        else:
            self.health.malformed += 1

    def _began_again(self, restarts: int, now_s: float, out: list[s.Happening]) -> None:
        """Its clock began again: nothing that it was told still holds."""
        was, self._restarts = self._boot, restarts
        self._boot = BOOT + restarts % BOOTS
        self.arrivals = ArrivalMap()
        self._stand_in = self._stand_in.begun_again(self._boot, now_s)
        self._pending.clear()  # answers of one that is no more
        if self.stand is not None:
            out.append(s.Restarted(was, self._boot))
        self.stand = None

    def not_taken(self) -> str:
        """What was refused, a sentence with examples; "" for nothing."""
        first = self._translation.refusals.first | self.reader.refusals.first
        counts = self.reader.refusals.counts + self._translation.refusals.counts
        refusals = sorted(first.values(), key=lambda r: -counts[r.reason])
        told = [f"{counts[r.reason]} x {r}" for r in refusals[:EXAMPLES]]
        rest = sum(counts[r.reason] for r in refusals[EXAMPLES:])
        told += [f"{rest} for other reasons"] if rest else []
        drops = self._lines.drops
        told += (
            [f"{drops.not_text} x no text, as at a wrong baud rate"]
            if drops.not_text
            else []
        )
        told += [f"{drops.too_long} x too long"] if drops.too_long else []
        if not told:
            return ""
        lines = counts.total() + drops.not_text + drops.too_long
        were = "1 line was" if lines == 1 else f"{lines} lines were"
        return f"{were} not used: {'; '.join(told)}."


def _stand_of(description: Description, boot: int, *, is_simulated: bool) -> s.Stand:
    """Who is there, as far as anybody knows."""
    identity, *pages = introduction(description)
    channels = tuple(p for p in pages if isinstance(p, m.ChannelPage))
    streams = tuple(p for p in pages if isinstance(p, m.StreamPage))
    if not isinstance(identity, m.Identity):
        raise TypeError("an introduction begins with an identity")
    return s.Stand(
        replace(
            identity,
            boot=boot,
            abilities=m.Ability.SIMULATED if is_simulated else m.Ability(0),
        ),
        channels,
        tuple(s.layout_of(page, channels) for page in streams),
    )

"""One fast capture asked of a stand whose motor does not turn, and taken.

Pure: happenings and times go in, commands and a result come out. It arms nothing, and
asks for nothing where the stand may drive the motor.
"""

from dataclasses import dataclass

from daq.errors import InputFault, StandFault
from daq.link import messages as m
from daq.link import session as s
from daq.link.bursts import Blocks, Captured, NoTrigger

BLOCKS_PATIENCE_S = 2.0
"""After trigger and samples: blocks wait until the line has room."""

STATE_PATIENCE_S = 1.0
AT_REST = (m.State.LOCKED, m.State.TRIPPED)
NANOSECONDS = 1e9
PERIOD_MAX_NS = 2**32 - 1


@dataclass(frozen=True, slots=True)
class Wish:
    """What a person wants captured.

    Attributes:
        channel: name of the channel.
        trigger: what to wait for.
        level_si: where rising or falling is looked for, in the channel's SI unit.
        samples: how many samples.
        before: how many of them from before the trigger.
        span_s: how long they should reach; 0 for as short as can be.
        patience_s: how long to wait for the trigger.
    """

    channel: str
    trigger: m.Trigger
    level_si: float
    samples: int
    before: int
    span_s: float
    patience_s: float

    @property
    def period_ns(self) -> int:
        """The period to ask for; the stand takes the nearest it can."""
        return min(round(self.span_s / self.samples * NANOSECONDS), PERIOD_MAX_NS)


class Capturing:
    """From an identified stand to its samples.

    Attributes:
        result: what came, once it is over; None before.
    """

    def __init__(self, wish: Wish, number: int) -> None:
        self._wish = wish
        self._number = number
        self._blocks: Blocks | None = None
        self._end_s = float("inf")
        self._identified_s: float | None = None
        self.result: Captured | NoTrigger | None = None

    def hear(
        self, happening: s.Happening, session: s.Session, now_s: float
    ) -> m.Capture | None:
        """Take one happening; what is to be sent because of it.

        Raises:
            StandFault: the stand cannot, will not, or began anew.
            InputFault: the stand has no such channel, or the level is out of range.
        """
        match happening:
            case s.Identified():
                self._identified_s = now_s
            case s.StateTold() if self._blocks is None and session.stand:
                return self._ask(session.stand, session.state, now_s)
            case s.Replied() if isinstance(happening.command, m.Capture):
                self._answered(happening.verdict, now_s)
            case s.Unanswered() if isinstance(happening.command, m.Capture):
                raise StandFault(
                    "The stand did not answer to the capture. Look at the cable, and "
                    "try again."
                )
            case s.Restarted():
                raise StandFault(
                    "The stand started again in the middle of it. Look at its supply."
                )
            case s.BurstTold() if self._blocks is not None:
                self._take(self._blocks, happening, now_s)
        return None

    def _take(self, blocks: Blocks, told: s.BurstTold, now_s: float) -> None:
        if blocks.take(told.block, told.device_s):
            self._end_s = now_s + BLOCKS_PATIENCE_S
        if blocks.whole:
            self.result = blocks.result()

    def look(self, now_s: float) -> None:
        """Whether it is over because of the time; then the result is what came.

        Raises:
            StandFault: nothing came that there could be a result of.
        """
        if self._blocks is None:
            since_s = self._identified_s
            if since_s is not None and now_s >= since_s + STATE_PATIENCE_S:
                raise StandFault(
                    "The stand does not say what state it is in, so it is asked for "
                    "nothing. Look at the cable."
                )
        elif self.result is None and now_s >= self._end_s:
            self.result = self._blocks.result()
            if self.result is None:
                raise StandFault(
                    "The stand took the capture, and not one block of it came. Look "
                    "at the cable, and at the link's health with 'gramwatt watch'."
                )

    def _ask(self, stand: s.Stand, state: m.State, now_s: float) -> m.Capture:
        wish = self._wish
        if not stand.identity.abilities & m.Ability.CAPTURE:
            raise StandFault(
                f"This stand ({stand.identity.board}) has no fast capture; its streams "
                "are all it tells. 'gramwatt watch' shows them."
            )
        if state not in AT_REST:
            raise StandFault(
                f"The stand is {state.name.lower()}: its motor may turn for somebody "
                "else. End that first."
            )
        page = stand.channel(wish.channel)
        if page is None:
            names = ", ".join(channel.name for channel in stand.channels)
            raise InputFault(
                f"--channel is {wish.channel}; this stand has {names}. Give one of "
                "them."
            )
        self._blocks = Blocks(self._number, page)
        self._end_s = now_s + s.REPLY_PATIENCE_S + BLOCKS_PATIENCE_S
        return m.Capture(
            number=self._number,
            boot=stand.identity.boot,
            channel=page.index,
            period_ns=wish.period_ns,
            count=wish.samples,
            before=wish.before,
            trigger=wish.trigger,
            level=_level(wish, page),
            patience_ms=round(wish.patience_s * 1e3),
        )

    def _answered(self, verdict: m.Verdict, now_s: float) -> None:
        wish = self._wish
        if verdict is m.Verdict.CANNOT_CAPTURE:
            raise StandFault(
                f"The stand has no fast capture of its channel {wish.channel}. Try "
                "voltage or current."
            )
        if verdict is not m.Verdict.DONE:
            words = verdict.name.lower().replace("_", " ")
            raise StandFault(f"The stand refused the capture: {words}.")
        # A stand may be much slower than asked: its own time is not known before.
        most_s = max(wish.span_s, wish.samples * 1e-3)
        self._end_s = now_s + wish.patience_s + most_s + BLOCKS_PATIENCE_S


def _level(wish: Wish, page: m.ChannelPage) -> int:
    """The trigger's level in counts.

    Raises:
        InputFault: the channel never tells such a value.
    """
    if wish.trigger is m.Trigger.AT_ONCE:
        return 0
    count = round(wish.level_si * page.counts_per_unit) + page.zero_counts
    if not page.low_counts < count < page.high_counts:
        unit = page.quantity.unit
        ends = sorted((page.to_si(page.low_counts), page.to_si(page.high_counts)))
        raise InputFault(
            f"A level of {wish.level_si:g} {unit} is never reached: this stand's "
            f"{page.name} tells {ends[0]:.4g} to {ends[1]:.4g} {unit}."
        )
    return count

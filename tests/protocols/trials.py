"""A made-up stand for the parts of the proof: its pages, a trial of it, and itself.

``Willing`` is a whole stand in a few lines, as an exercise sees one. It does all that
it is asked; a test takes one thing away from it.
"""

from collections.abc import Generator
from dataclasses import dataclass, field
from typing import TypeVar

from daq.link import messages as m
from daq.link import session as s
from protocols.proof import exercises as x
from protocols.proof import trial as t

STEP_S = 0.01


def page(index: int, name: str, quantity: m.Quantity) -> m.ChannelPage:
    return m.ChannelPage(
        index, quantity, m.Kind.POINT, 4, 1000.0, 0, -100_000, 100_000, 0, 0, name
    )


PAGES = (
    page(0, "thrust", m.Quantity.FORCE),
    page(1, "current", m.Quantity.CURRENT),
    page(2, "voltage", m.Quantity.VOLTAGE),
    page(3, "pulse", m.Quantity.DURATION),
)
ALL = m.Ability.PROVE | m.Ability.PULSE_READBACK | m.Ability.STOP_LOOP


def layout(index: int, period_us: int, members: tuple[int, ...]) -> s.Layout:
    pages = tuple(PAGES[i] for i in members)
    stream = m.StreamPage(index, period_us, members)
    return s.Layout(stream, pages, lambda _: (), 0)


SLOW, FAST = layout(0, 12_500, (0,)), layout(1, 2_000, (1, 2, 3))


def stand(abilities: m.Ability = ALL, slow: s.Layout = SLOW) -> s.Stand:
    identity = m.Identity(1, 0, 1, 7, 1, abilities, 4, 2, "test")
    return s.Stand(identity, PAGES, (slow, FAST))


ENTRIES = (
    m.LimitEntry(1, -3000, 12_000, 3, 10),
    m.LimitEntry(0, -1000, 9800, 2, 50),
)


def trial(**changes: object) -> t.Trial:
    made = t.Trial(stand(), ENTRIES, 200, 77, m.Prove, x.RAISED, state=m.State.LOCKED)
    for name, value in changes.items():
        setattr(made, name, value)
    return made


def event(
    cause: m.Cause,
    state: m.State = m.State.TRIPPED,
    latch: int = 5,
    channel: int = m.NONE,
) -> m.Event:
    return m.Event(0, 7, latch, state, cause, latch, m.NONE, channel, 0, 0)


def until_it_waits(steps: Generator[float, None, object]) -> float:
    return next(steps)


@dataclass
class Willing:
    """Drives an exercise, and does all that it asks for.

    Attributes:
        tried: the exercise's view of it.
        said: every command, and when.
        held: the throttle held, every ``STEP_S``, and when.
        setpoint: what its pulse goes by.
        renewed_s: when it last took a throttle or a grant.
        latch: number of its newest latch.
        done_s: when the exercise was over.
    """

    tried: t.Trial
    said: list[tuple[float, m.ToStand]] = field(default_factory=list)
    held: list[tuple[float, int | None]] = field(default_factory=list)
    setpoint: int = 0
    renewed_s: float = 0.0
    latch: int = 0
    done_s: float = 0.0

    def goes_through(self, steps: t.Steps, patience_s: float = 200.0) -> None:
        """To the end of the exercise, a hundredth of a second at a time."""
        tried = self.tried
        end_s = tried.now_s + patience_s
        while tried.now_s < end_s:
            self.shows()
            self.done_s = tried.now_s
            try:
                until_s = next(steps)
            except StopIteration:
                return
            assert until_s > tried.now_s, "it would be stepped for ever"
            self.held.append((tried.now_s, tried.hold))
            asks, tried.asks = tried.asks, []
            for ask in asks:
                self.said.append((tried.now_s, ask.command))
                self.takes(ask.command)
            tried.now_s = round(tried.now_s + STEP_S, 6)
            self.acts()
        raise AssertionError("the exercise never came to an end")

    def when(self, kind: type[m.ToStand]) -> list[float]:
        """When it was sent a command of that kind."""
        return [at_s for at_s, command in self.said if isinstance(command, kind)]

    # ----------------------------------------------- what a test takes away from it

    def shows(self) -> None:
        """What it measures."""
        self.tried.seen["pulse"] = 1e-3 + 1e-7 * self.setpoint

    def acts(self) -> None:
        """The throttle that is renewed, and the lease."""
        tried = self.tried
        if tried.state not in (m.State.PROVING, m.State.ARMED):
            return
        if tried.hold is not None and not tried.spoil:
            self.setpoint, self.renewed_s = tried.hold, tried.now_s
        if round(tried.now_s - self.renewed_s, 6) >= 1e-3 * tried.lease_ms:
            self.trips(m.Cause.LEASE_ENDED)

    def takes(self, command: m.ToStand) -> None:
        """One command, answered at once."""
        match command:
            case m.Prove() | m.Arm():
                self.grants(command)
            case m.Limits():
                self.limits(command)
            case m.Stop():
                self.stops(command)
            case m.Acknowledge():
                self.clears(command)
            case m.Lock():
                self.replies(command)
                self.setpoint = 0
                self.tells(m.Cause.LOCKED, m.State.LOCKED)
            case _:
                raise AssertionError(f"nobody asks for {command}")

    def grants(self, command: m.Prove | m.Arm) -> None:
        if self.tried.state is not m.State.LOCKED:
            self.replies(command, m.Verdict.WRONG_STATE)
            return
        self.replies(command)
        self.renewed_s = self.tried.now_s
        if isinstance(command, m.Prove):
            self.tells(m.Cause.PROVING, m.State.PROVING)
        else:
            self.tells(m.Cause.ARMED, m.State.ARMED)

    def limits(self, command: m.Limits) -> None:
        self.replies(command, value=command.crc)
        if self.tried.state is m.State.LOCKED:
            return
        for entry in command.entries:
            if not entry.low <= self.tried.counts.get(entry.channel, 0) <= entry.high:
                self.trips(m.Cause.LIMIT, entry.channel)
            elif entry.max_age_10ms == 1:
                self.trips(m.Cause.CHANNEL_SILENT, entry.channel)

    def stops(self, command: m.Stop) -> None:
        self.replies(command)
        self.trips(m.Cause.STOP)

    def clears(self, command: m.Acknowledge) -> None:
        self.replies(command)
        if command.latch == self.latch:
            self.tells(m.Cause.ACKNOWLEDGED, m.State.LOCKED)

    # ------------------------------------------------------------------ its words

    def replies(
        self, command: m.ToStand, verdict: m.Verdict = m.Verdict.DONE, value: int = 0
    ) -> None:
        self.tried.reply = s.Replied(command, verdict, value, 0.001)

    def tells(self, cause: m.Cause, state: m.State, channel: int = m.NONE) -> None:
        self.tried.told(event(cause, state, self.latch, channel))

    def trips(self, cause: m.Cause, channel: int = m.NONE) -> None:
        self.setpoint = 0
        self.latch += 1
        self.tells(cause, m.State.TRIPPED, channel)


H = TypeVar("H", bound=Willing)
LEASE, DAMAGE, STOP = x.Exercise("lease"), x.Exercise("damage"), x.Exercise("stop")
LATCH, LOOP = x.Exercise("latch"), x.Exercise("stop loop")
LIMIT, SILENCE = x.Exercise("limit", 1, "current"), x.Exercise("silence", 0, "thrust")


def willing_trial(**changes: object) -> t.Trial:
    made = trial(counts={0: 0, 1: 0}, **changes)
    made.entries = x.open_entries(made)
    return made


def shown(hands: H, exercise: x.Exercise) -> H:
    hands.goes_through(x.steps_of(exercise, hands.tried))
    return hands

"""What an exercise of the proof sees of the stand, and what it may ask for.

An exercise is a generator: it looks at the trial, asks for things, and yields
the moment until which it is content to wait. Whoever drives it resumes it when
anything came in or that moment has come. Every wait is bounded; what does not
come in time raises ``NotProven``, which ends the run before it began. Pure: no
clock, no I/O.
"""

import math
from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from itertools import count
from typing import Final

from daq.errors import StandFault
from daq.link import messages as m
from daq.link import session as s

Steps = Generator[float, None, None]

ANSWER_S: Final = 0.6  # for a command, said again where its answer was lost
TRIES: Final = 3
EVENT_S: Final = 0.3  # from a cause to the event that tells of it
GONE_S: Final = 0.1  # from the event to a pulse that is read as zero
# A tenth of the servo pulse's span is 100 us; a timer reads it within a few.
PULSE_UP_S: Final = 40e-6
PULSE_SAME_S: Final = 15e-6
_SEEN: Final = ("pulse", "current", "speed", "voltage")


class NotProven(StandFault):
    """A guard was not seen to act.

    Attributes:
        guard: which.
        advice: what to look at first.
        runs_on: the motor was seen to run on.
    """

    def __init__(
        self, guard: str, sentence: str, advice: str = "", *, runs_on: bool = False
    ) -> None:
        super().__init__(sentence)
        self.guard = guard
        self.advice = advice
        self.runs_on = runs_on


@dataclass(frozen=True, slots=True)
class Ask:
    """One command to send.

    Attributes:
        command: the command.
        damaged: spoil its frame on the way out.
    """

    command: m.ToStand
    damaged: bool = False


@dataclass(slots=True)
class Trial:
    """One proof's view of its stand.

    Attributes:
        stand: who is there.
        entries: the real limits in counts, whose bounds the exercises play with.
        lease_ms: the plan's lease.
        first_nonce: the plan's; the proof uses others.
        grant: what allows throttle: prove (supply off) or arm.
        raised: setpoint to hold while proving, hundredths of a percent.
        now_s: this moment.
        newest_us: the newest device time seen.
        state: the stand's, as last told.
        events: what the stand told since the exercise began.
        reply: answer to the command last asked, once there is one.
        asked: that command.
        expected: the one trip that the exercise is about to bring about.
        seen: newest reading of pulse, current, speed, voltage; SI, as the stand
            scales them, zero not taken off.
        counts: newest count of every channel, by index.
        hold: the setpoint renewed every 25 ms; None renews nothing.
        spoil: renewals go out damaged.
        asks: what is to be sent.
        wants: what a person is to do, newest last.
        nonce: of the grant last asked for.
        pulse_rest_s: what the pulse pin read before this exercise.
        marked_s: when the guard was given its cause; NaN where a person gives it.
        took_s: from there until the pulse was read as gone, or the event came.
    """

    stand: s.Stand
    entries: tuple[m.LimitEntry, ...]
    lease_ms: int
    first_nonce: int
    grant: type[m.Prove] | type[m.Arm]
    raised: int
    now_s: float = 0.0
    newest_us: int = 0
    state: m.State = m.State.UNKNOWN
    events: list[m.Event] = field(default_factory=list)
    reply: s.Replied | s.Unanswered | None = None
    asked: m.ToStand | None = None
    expected: m.Cause | None = None
    seen: dict[str, float] = field(default_factory=dict)
    counts: dict[int, int] = field(default_factory=dict)
    hold: int | None = None
    spoil: bool = False
    asks: list[Ask] = field(default_factory=list)
    wants: list[str] = field(default_factory=list)
    nonce: int = 0
    pulse_rest_s: float = math.nan
    marked_s: float = math.nan
    took_s: float = math.nan
    _granted: "count[int]" = field(default_factory=lambda: count(1))

    # ------------------------------------------------------------ what came in

    def sampled(self, sampled: s.Sampled) -> None:
        """A sample came."""
        for page, reading in zip(sampled.layout.channels, sampled.counts, strict=True):
            self.counts[page.index] = reading
            if page.name in _SEEN:
                self.seen[page.name] = page.to_si(reading)

    def told(self, message: m.Event | m.Counters) -> None:
        """The stand told its state."""
        self.state = message.state
        if isinstance(message, m.Event):
            self.events.append(message)

    def event(self, cause: m.Cause) -> m.Event | None:
        """The first event of that cause since the exercise began."""
        return next((e for e in self.events if e.cause is cause), None)

    # ---------------------------------------------------------- what is asked

    def send(self, command: m.ToStand) -> None:
        """Have a command sent; its answer becomes ``reply``."""
        self.reply, self.asked = None, command
        self.asks.append(Ask(command))

    def throttle(self, setpoint: int) -> None:
        """Have one throttle sent, damaged where renewals are to be."""
        command = m.Throttle(self.nonce, setpoint, self.lease_ms, self.newest_us)
        self.asks.append(Ask(command, damaged=self.spoil))

    def mark(self) -> None:
        """The guard has its cause from now on."""
        self.marked_s = self.now_s

    def want(self, what: str) -> None:
        """Have a person do something, once."""
        if self.wants[-1:] != [what]:
            self.wants.append(what)

    def next_grant(self) -> m.Prove | m.Arm:
        """The command that allows throttle, with a nonce of its own."""
        self.nonce = (self.first_nonce + next(self._granted)) % 0xFFFF + 1
        return self.grant(
            nonce=self.nonce,
            boot=self.stand.identity.boot,
            limits_crc=m.Limits(self.entries).crc,
            lease_ms=self.lease_ms,
            seen_us=self.newest_us,
        )

    # ------------------------------------------------------------ read-back

    @property
    def reads_back(self) -> bool:
        """Whether the pulse is looked at: it is raised, and the stand reads it."""
        return self.raised > 0 and self.grant is m.Prove

    @property
    def pulse_is_up(self) -> bool:
        """Whether the pin that watches the pulse reads more than at rest."""
        return self.seen.get("pulse", math.nan) - self.pulse_rest_s > PULSE_UP_S

    @property
    def pulse_is_gone(self) -> bool:
        """Whether it reads as at rest."""
        away_s = abs(self.seen.get("pulse", math.nan) - self.pulse_rest_s)
        return away_s < PULSE_SAME_S


def until(
    trial: Trial,
    guard: str,
    seen: Callable[[], object],
    within_s: float,
    otherwise: str,
    advice: str = "",
) -> Steps:
    """Wait for something to be seen.

    Raises:
        NotProven: it was not, within that time.
    """
    end_s = trial.now_s + within_s
    while not seen():
        if trial.now_s >= end_s:
            raise NotProven(guard, otherwise, advice)
        yield end_s


def pause(trial: Trial, duration_s: float) -> Steps:
    """Let time pass."""
    end_s = trial.now_s + duration_s
    while trial.now_s < end_s:
        yield end_s


def answered(trial: Trial, guard: str, command: m.ToStand) -> Steps:
    """Send a command that may be said twice, until it is answered.

    Raises:
        NotProven: it never was.
    """
    name = type(command).__name__.lower()
    for _ in range(TRIES):
        trial.send(command)
        yield from until(
            trial,
            guard,
            lambda: trial.reply is not None,
            ANSWER_S,
            f"The proof stopped: the stand did not answer the {name} command.",
            _CABLE,
        )
        if isinstance(trial.reply, s.Replied):
            return
    raise NotProven(
        guard,
        f"The proof stopped: the stand did not answer the {name} command.",
        _CABLE,
    )


def expect_event(trial: Trial, guard: str, cause: m.Cause, within_s: float) -> Steps:
    """Wait for the stand to tell that it tripped on that cause, and on no other.

    Raises:
        NotProven: it tripped on another, or did not.
    """
    words = cause.name.lower().replace("_", " ")

    def tripped() -> bool:
        told = any(e.cause.latches for e in trial.events)
        return told or trial.state is m.State.TRIPPED

    yield from until(
        trial,
        guard,
        tripped,
        within_s,
        f"The proof failed: the stand did not act on {words}.",
        _FIRMWARE,
    )
    first = next((e for e in trial.events if e.cause.latches), None)
    if first is None:
        raise NotProven(guard, "The proof stopped: the line loses words.", _CABLE)
    if first.cause is not cause:
        other = first.cause.name.lower().replace("_", " ")
        raise NotProven(
            guard,
            f"The proof failed: made to act on {words}, the stand tripped on {other}.",
            _FIRMWARE,
        )


def expect_no_pulse(trial: Trial, guard: str) -> Steps:
    """See the pulse at rest again, where the stand reads it back.

    Raises:
        NotProven: it is not.
    """
    if trial.reads_back:
        yield from until(
            trial,
            guard,
            lambda: trial.pulse_is_gone,
            GONE_S,
            f"The proof failed: the stand told of {guard}, but the pulse went on.",
            "Leave the plug out. The pulse pin or the firmware is not to be trusted.",
        )
    trial.took_s = trial.now_s - trial.marked_s


def clear(trial: Trial, guard: str) -> Steps:
    """Acknowledge the latch that the exercise has just caused, and no other.

    Raises:
        NotProven: the stand does not clear it.
    """
    latched = next(e for e in trial.events if e.cause.latches)
    trial.hold = trial.expected = None
    yield from answered(
        trial, guard, m.Acknowledge(trial.stand.identity.boot, latched.latch)
    )
    yield from until(
        trial,
        guard,
        lambda: trial.state is m.State.LOCKED,
        ANSWER_S,
        "The proof stopped: the stand did not clear a trip that the proof caused.",
        _FIRMWARE,
    )


_CABLE = "Look at the cable and the stand's power."
_FIRMWARE = "Do not spin on this stand before its firmware and wiring are looked at."

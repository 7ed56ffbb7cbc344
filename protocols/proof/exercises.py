"""The exercises: each makes one guard act and waits to see it.

With the supply off a real pulse is raised and read back; where a stand cannot
do that, the same at zero throttle, judged by its events. Each leaves the stand
locked with the open set of limits, nothing latched. They must never raise a
throttle that could turn anything: that is ``running``'s, after the checklist.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

from daq.link import messages as m
from daq.link import session as s
from protocols.proof.trial import (
    EVENT_S,
    NotProven,
    Steps,
    Trial,
    answered,
    clear,
    expect_event,
    expect_no_pulse,
    pause,
    until,
)

RAISED: Final = 1_000  # a tenth of full: well seen on the pulse pin
LOOP_PATIENCE_S: Final = 120.0
LOOP_ASK_S: Final = 0.25
LATCH_S: Final = 0.12
LEASE_SLACK_S: Final = 0.15  # for the words' way there and back
# A reading this share of its range away from what it is now is no noise.
AWAY_SHARE: Final = 0.01


@dataclass(frozen=True, slots=True)
class Exercise:
    """One guard to prove.

    Attributes:
        guard: stable name.
        channel: index of the channel it is about, or None.
        name: of that channel.
    """

    guard: str
    channel: int | None = None
    name: str = ""


def exercises_for(trial: Trial) -> tuple[Exercise, ...]:
    """What this stand can be made to show, in order."""
    pages = trial.stand.channels
    slow = {
        page.index
        for layout in trial.stand.layouts
        if layout.page.period_us > m.MAX_AGE_UNIT_MS * 1_050
        for page in layout.channels
    }
    entries = trial.entries
    listed = [Exercise("lease"), Exercise("damage"), Exercise("stop")]
    listed += [Exercise("limit", e.channel, pages[e.channel].name) for e in entries]
    listed += [
        Exercise("silence", e.channel, pages[e.channel].name)
        for e in entries
        if e.channel in slow
    ]
    listed.append(Exercise("latch"))
    if m.Ability.STOP_LOOP in trial.stand.identity.abilities:
        listed.append(Exercise("stop loop"))
    return tuple(listed)


def steps_of(exercise: Exercise, trial: Trial) -> Steps:
    """The exercise as steps to take."""
    match exercise.guard:
        case "lease":
            return lease(trial)
        case "damage":
            return damage(trial)
        case "stop":
            return stop(trial)
        case "latch":
            return latch(trial)
        case "stop loop":
            return stop_loop(trial)
        case "limit" if exercise.channel is not None:
            return limit(trial, exercise.channel)
        case "silence" if exercise.channel is not None:
            return silence(trial, exercise.channel)
        case _:
            raise ValueError(f"no such exercise: {exercise}")


def open_entries(trial: Trial) -> tuple[m.LimitEntry, ...]:
    """The real set with its bounds as wide as the channels: nothing is outside."""
    pages = trial.stand.channels
    return tuple(
        replace(
            entry,
            low=pages[entry.channel].low_counts,
            high=pages[entry.channel].high_counts,
        )
        for entry in trial.entries
    )


def outside_entries(trial: Trial, channel: int) -> tuple[m.LimitEntry, ...]:
    """The open set, but what that channel reads now is outside its bounds."""
    page = trial.stand.channels[channel]
    away = max(2, round(AWAY_SHARE * (page.high_counts - page.low_counts)))
    reads = trial.counts.get(channel, page.low_counts)
    if reads + away < page.high_counts:
        low, high = reads + away, page.high_counts
    else:
        low, high = page.low_counts, reads - away
    return tuple(
        replace(entry, low=low, high=high) if entry.channel == channel else entry
        for entry in open_entries(trial)
    )


def take_limits(trial: Trial, guard: str, entries: tuple[m.LimitEntry, ...]) -> Steps:
    """Have the stand take a set and return its CRC.

    Raises:
        NotProven: it does not.
    """
    message = m.Limits(entries)
    trial.entries = entries
    yield from answered(trial, guard, message)
    reply = trial.reply
    if not isinstance(reply, s.Replied) or (reply.verdict, reply.value) != (
        m.Verdict.DONE,
        message.crc,
    ):
        raise NotProven(
            guard, "The proof failed: the stand did not take a set of limits."
        )


def start(trial: Trial, guard: str, expected: m.Cause | None) -> Steps:
    """From locked to a pulse that is up, or to armed at zero throttle.

    Args:
        trial: the trial.
        guard: name of what is exercised.
        expected: the one trip that it is going to bring about.

    Raises:
        NotProven: the stand refuses, or no pulse is read back.
    """
    trial.events.clear()
    trial.hold, trial.spoil, trial.expected = None, False, expected
    trial.marked_s = trial.took_s = math.nan
    if trial.reads_back:
        yield from until(
            trial,
            guard,
            lambda: math.isfinite(trial.seen.get("pulse", math.nan)),
            EVENT_S,
            "The proof stopped: the pin that watches the pulse gives no readings.",
        )
        trial.pulse_rest_s = trial.seen["pulse"]
    yield from _granted(trial, guard)
    trial.hold = trial.raised
    if trial.reads_back:
        yield from until(
            trial,
            guard,
            lambda: trial.pulse_is_up,
            EVENT_S,
            "The proof failed: a pulse was commanded and none was read back.",
            "Look at the wire from the pulse pin to the pin that reads it.",
        )


def _granted(trial: Trial, guard: str) -> Steps:
    """Ask for proving or arming; a stop loop still open is waited for.

    Raises:
        NotProven: the stand refuses, or says that it is what nobody asked it to be.
    """
    allowed = (m.State.PROVING, m.State.ARMED)
    if trial.state in allowed:
        state = trial.state.name.lower()
        raise NotProven(
            guard, f"The proof stopped: the stand is {state}, unasked.", _UNASKED
        )
    end_s = trial.now_s + LOOP_PATIENCE_S
    while trial.state not in allowed:
        yield from answered(trial, guard, trial.next_grant())
        reply = trial.reply
        verdict = reply.verdict if isinstance(reply, s.Replied) else m.Verdict.MALFORMED
        if verdict is m.Verdict.STOP_LOOP_OPEN and trial.now_s < end_s:
            trial.want("loop closed")
            yield from pause(trial, LOOP_ASK_S)
        elif verdict is m.Verdict.DONE or trial.state in allowed:
            yield from until(
                trial,
                guard,
                lambda: trial.state in allowed,
                EVENT_S,
                "The proof stopped: the stand did not tell that it was ready.",
            )
        else:
            words = verdict.name.lower().replace("_", " ")
            raise NotProven(
                guard, f"The proof stopped: the stand refused it: {words}.", _REFUSED
            )


def lease(trial: Trial) -> Steps:
    """Nobody renews the throttle any more: the stand stops by itself."""
    yield from start(trial, "lease", m.Cause.LEASE_ENDED)
    trial.hold = None
    trial.mark()
    within_s = trial.lease_ms * 1e-3 + LEASE_SLACK_S
    yield from expect_event(trial, "lease", m.Cause.LEASE_ENDED, within_s)
    yield from expect_no_pulse(trial, "lease")
    yield from clear(trial, "lease")


def damage(trial: Trial) -> Steps:
    """Throttle goes on, but every frame is damaged: that renews nothing."""
    yield from start(trial, "damage", m.Cause.LEASE_ENDED)
    trial.spoil = True
    trial.mark()
    within_s = trial.lease_ms * 1e-3 + LEASE_SLACK_S
    yield from expect_event(trial, "damage", m.Cause.LEASE_ENDED, within_s)
    yield from expect_no_pulse(trial, "damage")
    trial.spoil = False
    yield from clear(trial, "damage")


def stop(trial: Trial) -> Steps:
    """A stop while the pulse is up."""
    yield from start(trial, "stop", m.Cause.STOP)
    trial.mark()
    yield from answered(trial, "stop", m.Stop(m.StopReason.PERSON))
    yield from expect_event(trial, "stop", m.Cause.STOP, EVENT_S)
    yield from expect_no_pulse(trial, "stop")
    yield from clear(trial, "stop")


def limit(trial: Trial, channel: int) -> Steps:
    """A set arrives that the present reading of that channel violates."""
    name = trial.stand.channels[channel].name
    guard = f"limit on {name}"
    yield from start(trial, guard, m.Cause.LIMIT)
    opened = trial.entries
    trial.entries = outside_entries(trial, channel)
    trial.mark()
    yield from answered(trial, guard, m.Limits(trial.entries))
    yield from expect_event(trial, guard, m.Cause.LIMIT, EVENT_S)
    event = trial.event(m.Cause.LIMIT)
    if event is not None and event.channel != channel:
        raise NotProven(guard, f"The proof failed: the {guard} named another channel.")
    yield from expect_no_pulse(trial, guard)
    yield from clear(trial, guard)
    yield from take_limits(trial, guard, opened)


def silence(trial: Trial, channel: int) -> Steps:
    """A set arrives whose longest silence is shorter than that channel's period."""
    guard = f"silence of {trial.stand.channels[channel].name}"
    yield from start(trial, guard, m.Cause.CHANNEL_SILENT)
    opened = trial.entries
    trial.entries = tuple(
        replace(entry, max_age_10ms=1) if entry.channel == channel else entry
        for entry in opened
    )
    trial.mark()
    yield from answered(trial, guard, m.Limits(trial.entries))
    yield from expect_event(trial, guard, m.Cause.CHANNEL_SILENT, EVENT_S)
    yield from expect_no_pulse(trial, guard)
    yield from clear(trial, guard)
    yield from take_limits(trial, guard, opened)


def latch(trial: Trial) -> Steps:
    """After a stop neither throttle nor another grant brings the pulse back."""
    yield from start(trial, "latch", m.Cause.STOP)
    trial.mark()
    yield from answered(trial, "latch", m.Stop(m.StopReason.PERSON))
    yield from expect_event(trial, "latch", m.Cause.STOP, EVENT_S)
    yield from expect_no_pulse(trial, "latch")
    # The throttle of before goes on being renewed all the while.
    yield from pause(trial, LATCH_S)
    nonce = trial.nonce
    yield from answered(trial, "latch", trial.next_grant())
    trial.nonce = nonce
    reply = trial.reply
    granted = isinstance(reply, s.Replied) and reply.verdict is m.Verdict.DONE
    drives = trial.reads_back and not trial.pulse_is_gone
    if granted or drives or trial.state is not m.State.TRIPPED:
        raise NotProven(
            "latch",
            "The proof failed: a stopped stand could be driven again without "
            "having been acknowledged.",
            "Do not spin on this stand.",
        )
    yield from clear(trial, "latch")


def stop_loop(trial: Trial) -> Steps:
    """A person opens the hard-wired loop, and closes it again."""
    yield from start(trial, "stop loop", m.Cause.STOP_LOOP_OPEN)
    trial.want("loop open")
    end_s = trial.now_s + LOOP_PATIENCE_S
    while trial.state is not m.State.TRIPPED:
        if trial.event(m.Cause.IDLE_TOO_LONG):
            yield from start(
                trial, "stop loop", m.Cause.STOP_LOOP_OPEN
            )  # armed for long, and locked itself
        if trial.now_s >= end_s:
            break
        yield min(end_s, trial.now_s + LOOP_ASK_S)
    yield from expect_event(trial, "stop loop", m.Cause.STOP_LOOP_OPEN, 0.0)
    yield from expect_no_pulse(trial, "stop loop")
    yield from clear(trial, "stop loop")
    # Closed again before anything else: the stand itself says so by agreeing.
    trial.want("loop closed")
    yield from start(trial, "stop loop", None)
    yield from answered(trial, "stop loop", m.Lock(trial.stand.identity.boot))
    trial.hold = None


_REFUSED = "Look at the sensors' wiring: a channel is silent or out of range."
_UNASKED = "Does another program speak to this stand? Does its line repeat words?"

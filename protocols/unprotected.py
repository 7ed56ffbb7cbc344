"""What may be run on a stand that cannot stop its motor by itself.

A stand that prints lines has no lease, no limits and no latch. Everything that
protects then runs in this program, at the far end of the cable, so throttle and
duration are capped, and a stand that prints too slowly to be watched is not spun.
The figures are ours: low enough to walk away from, high enough to find a hover.
Standard library only, so that a task can be checked with it.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from daq.link.columns.description import Description
from daq.link.columns.stand_in import stop_words
from protocols.limits import Limit
from protocols.plan import Plan

MAX_THROTTLE_FRAC: Final = 0.6
MAX_DURATION_S: Final = 90.0
MIN_RATE_HZ: Final = 10.0
STOP_WORDS_S: Final = 0.1  # the longest that saying stop may take on the line
BITS_A_BYTE: Final = 10
# A channel that comes slowly is not silent yet after the time that others have.
SILENT_LINES: Final = 4
LIMITED: Final = "current"  # what a motor is never spun without
FITTING: Final = "low-staircase"  # in the catalogue


def objection(plan: Plan, stand: Description) -> str | None:
    """Why that plan is not walked on that stand, in a sentence; None when it can be.

    Args:
        plan: what is to be walked.
        stand: the stand's description.
    """
    if plan.by_hand:
        return _unwatched(stand)
    if stand.commands.throttle is None:
        return (
            f'the stand "{stand.name}" cannot be told a throttle: its description has '
            "no commands.throttle. It can be watched, and its logs can be analysed."
        )
    if (blind := _unwatched(stand)) is not None:
        return blind
    said_s = len(stop_words(stand)) * BITS_A_BYTE / stand.baud
    if said_s > STOP_WORDS_S:
        return (
            f'the stand "{stand.name}" takes {1e3 * said_s:.0f} ms to hear its stop at '
            f"{stand.baud} baud; {1e3 * STOP_WORDS_S:.0f} ms is the most. Let it talk "
            "faster."
        )
    if plan.goals:
        return (
            f"the plan {plan.protocol} holds a thrust, for which this program moves "
            "the throttle by itself for minutes; on a stand that cannot protect itself "
            "no thrust is held."
        )
    if not plan.max_throttle_frac <= MAX_THROTTLE_FRAC:
        return (
            f"the plan {plan.protocol} goes to {100 * plan.max_throttle_frac:.0f} % "
            f"throttle; on a stand that cannot protect itself {_percent()} is the "
            f"most. Try {FITTING}, or lower its levels in a copy of your own."
        )
    if not plan.duration_s <= MAX_DURATION_S:
        return (
            f"the plan {plan.protocol} takes {plan.duration_s:.0f} s; on a stand that "
            f"cannot protect itself {MAX_DURATION_S:.0f} s is the most. Try {FITTING}, "
            "or shorten it in a copy of your own."
        )
    return None


def _unwatched(stand: Description) -> str | None:
    """Why nothing could be watched on it."""
    if not any(channel.name == LIMITED for channel in stand.channels):
        return (
            f'the stand "{stand.name}" describes no channel named {LIMITED}; without '
            "one nothing limits the motor. Give that name to the channel of what the "
            "speed controller draws."
        )
    if stand.rate_hz < MIN_RATE_HZ:
        return (
            f'the stand "{stand.name}" prints {stand.rate_hz:g} lines a second; a '
            f"motor is watched with {MIN_RATE_HZ:g} or more. Let it print faster."
        )
    return None


def lacks(stand: Description) -> tuple[str, ...]:
    """What such a stand lacks and what that means, a sentence each."""
    alive = stand.commands.keep_alive
    gone = (
        "If the cable or the whole machine fails, nothing on the stand is known to "
        "stop the motor: it may run on until the plug is pulled."
    )
    if alive is not None:
        gone = (
            "If the cable or the whole machine fails, the motor stops only if the "
            "stand heeds its missing keep-alive."
        )
    clock = (
        ("It tells no time: readings are as old as their lines are late.",)
        if stand.time is None
        else ()
    )
    has_speed = any(channel.name == "speed" for channel in stand.channels)
    seen = "current and speed that fall" if has_speed else "a current that falls"
    return (
        gone,
        "It has no limits of its own: a limit acts only after its line has come here, "
        f"{1e3 / stand.rate_hz:.3g} ms apart, and the stop has gone back.",
        f"It confirms nothing: a stop is known only by {seen}.",
        "A lost line is not missed, and a damaged one may pass for whole.",
        *clock,
    )


def silence_s(stand: Description) -> float:
    """How long its lines may stay away before it is silent."""
    return SILENT_LINES / stand.rate_hz


def patient(limits: Sequence[Limit], stand: Description) -> tuple[Limit, ...]:
    """Limits that do not call a channel silent which only comes slowly."""
    least_s = silence_s(stand)
    return tuple(replace(x, max_age_s=max(x.max_age_s, least_s)) for x in limits)


def _percent() -> str:
    return f"{100 * MAX_THROTTLE_FRAC:.0f} %"

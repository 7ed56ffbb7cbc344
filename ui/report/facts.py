"""How the run ended, why, whether its data are good, and its record: four facts.

Each is a word with a mark beside it; the mark's shape says the same as its
colour (IEC 60073: red danger or stop, yellow abnormal, green safe).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ui.report.words import counted, sentence, text_of
from ui.results import how_far

if TYPE_CHECKING:
    from collections.abc import Mapping

    from daq.records.read import Run

GOOD: Final = "good"
ABNORMAL: Final = "abnormal"
DANGER: Final = "danger"
NEUTRAL: Final = "neutral"

ENDS: Final = {
    "completed": (GOOD, "Completed"),
    "stopped": (ABNORMAL, "Stopped"),
    "tripped": (DANGER, "Tripped"),
    "failed": (ABNORMAL, "Failed"),
    "interrupted": (ABNORMAL, "Interrupted"),
    "elsewhere": (NEUTRAL, "Not known"),
}
DATA: Final = {
    "whole": (GOOD, "Whole", "Every part of the plan was walked."),
    "elsewhere": (
        NEUTRAL,
        "As the log has them",
        "Judge by the plateaus below.",
    ),
    "partial": (
        ABNORMAL,
        "Partial",
        "What was read before the end is kept and analysed.",
    ),
    "none": (
        ABNORMAL,
        "Nothing",
        "The run ended before anything that was to be measured was over.",
    ),
}
NO_END: Final = (
    "The record stops before its end. The stand stops by itself when its lease ends."
)
NO_END_UNPROTECTED: Final = (
    "The record stops before its end. Nothing on this stand is known to have stopped "
    "its motor."
)
UNPROTECTED: Final = "The stand prints lines and cannot stop its motor by itself."
ELSEWHERE: Final = "Recorded elsewhere: gramwatt neither drove nor guarded this motor."
NOT_CONFIRMED: Final = "The stand did not confirm the stop."
RAN_ON: Final = "The motor ran on."


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact.

    Attributes:
        label: what it is about.
        mark: good, abnormal, danger or neutral.
        value: the fact in a word or a sentence.
        notes: what belongs to it.
    """

    label: str
    mark: str
    value: str
    notes: tuple[str, ...] = ()


def facts_of(run: Run) -> list[Fact]:
    """The four facts of a run."""
    return [_end(run), _why(run), _data(run), _record(run)]


@dataclass(frozen=True, slots=True)
class Notice:
    """What has to be known before anything on the page is believed.

    Attributes:
        title: a sentence.
        words: what it means, a sentence each.
    """

    title: str
    words: tuple[str, ...]


def notices_of(run: Run) -> list[Notice]:
    """What is unusual about where a run comes from, most weighty first."""
    notices = []
    if run.adopted is not None:
        notices.append(Notice(ELSEWHERE, _adopted(run.adopted)))
    if run.described is not None:
        noted = next(run.notes("unprotected"), None)
        told = noted.note.get("lacks") if noted else None
        lacks = tuple(str(words) for words in told) if isinstance(told, list) else ()
        if lacks:
            notices.append(Notice(UNPROTECTED, lacks))
        if run.not_taken:
            notices.append(
                Notice("Some of the stand's lines were not used.", (run.not_taken,))
            )
    return notices


def _adopted(log: Mapping[str, object]) -> tuple[str, ...]:
    return (
        f"It was made of the log {log.get('file')} of {log.get('bytes')} bytes, whose "
        f"SHA-256 begins with {str(log.get('sha256'))[:16]}.",
        "Levels were found where the throttle in it was held; nobody can tell from a "
        "log whether limits were watched, or how it ended.",
        "The date is that of the file.",
    )


def _end(run: Run) -> Fact:
    ended = text_of(run.outcome, "ended")
    mark, value = ENDS.get(ended, (ABNORMAL, "No end on record"))
    unconfirmed = run.outcome is not None and run.outcome.get("stop_confirmed") is False
    if unconfirmed:
        ran_on = "THE MOTOR RUNS ON" in text_of(run.outcome, "cause")
        note = RAN_ON if ran_on else NOT_CONFIRMED
        return Fact("How it ended", DANGER, value, (note,))
    return Fact("How it ended", mark, value)


def _why(run: Run) -> Fact:
    no_end = NO_END if run.described is None else NO_END_UNPROTECTED
    cause = text_of(run.outcome, "cause", "" if run.outcome else no_end)
    advice = text_of(run.outcome, "advice")
    notes = (f"Advice: {advice}",) if advice else ()
    value = sentence(cause) or "No cause is on record."
    return Fact("Why", NEUTRAL, value, notes)


def _data(run: Run) -> Fact:
    data = text_of(run.outcome, "data")
    if data not in DATA:
        value = "Not on record"
        note = "Judge by the plateaus below how far the run came."
        return Fact("Are the data good", ABNORMAL, value, (note,))
    mark, value, note = DATA[data]
    return Fact("Are the data good", mark, value, (note, *how_far(run)))


def _record(run: Run) -> Fact:
    damage = run.damage
    notes: tuple[str, ...] = ()
    if damage.places:
        notes = (
            f"{counted(damage.bytes, 'byte')} in {counted(damage.places, 'place')} "
            f"cannot be read; what they held is missing here.",
        )
    if run.intact is False:
        changed = "The wire log is not the one that was sealed."
        return Fact("The record", DANGER, "Changed", (changed, *notes))
    if not run.sealed:
        early = "It was not sealed when this page was made: its writer was cut off."
        return Fact("The record", ABNORMAL, "Not sealed", (early, *notes))
    if damage.places:
        return Fact("The record", ABNORMAL, "Sealed, with damage", notes)
    return Fact(
        "The record",
        GOOD,
        "Sealed and intact",
        ("The wire log has the hash it was sealed with.",),
    )

"""The proof of a run: which guards were seen to act before anything turned.

Read off the notes that the proof left. A part that was not done says why; a guard
that was not seen to act is named, and the run ended there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ui.proved import RUNNING as RUNNING_GUARD
from ui.proved import stands_in
from ui.report.facts import ABNORMAL, DANGER, GOOD, NEUTRAL
from ui.report.words import counted, has_channel, number_of, sentence, text_of

if TYPE_CHECKING:
    from daq.link.session import Stand
    from daq.records.read import Decision, Run

PULSE, EVENTS, RUNNING = "a", "b", "c"
TITLES: Final = {
    PULSE: "Supply off, a real pulse read back",
    EVENTS: "At zero throttle, by the stand's events",
    RUNNING: "Supply on, at the lowest running throttle",
}
STOP_GUARD: Final = "stop while running"  # of a stand that has no lease
# What was done to each guard, and what it is called in a table.
GUARDS: Final = {
    "lease": ("Lease", "nobody renewed the throttle"),
    "damage": ("Damaged frames", "every throttle arrived damaged"),
    "stop": ("Stop", "a stop was sent"),
    "limit": ("Limit on", "a limit was sent that its reading violates"),
    "silence": ("Silence of", "a longest silence was sent that it exceeds"),
    "latch": ("Latch", "throttle and another start were sent after a stop"),
    "stop loop": ("Stop loop", "a hand opened it"),
    RUNNING_GUARD: ("Lease, motor running", "nobody renewed the throttle"),
    STOP_GUARD: ("Stop, motor running", "a stop was said to the stand"),
}
SEEN: Final = {
    "event": "by its event, at zero throttle",
    "pulse read back as gone": "by the pulse read back as gone",
    "current and speed fell": "by current and speed, which fell",
}
BY_HAND: Final = "by hand"


@dataclass(frozen=True, slots=True)
class Shown:
    """One guard that was seen to act.

    Attributes:
        guard: its name, with its channel.
        by: what it was made to act by.
        took: how long that took.
    """

    guard: str
    by: str
    took: str


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the proof.

    Attributes:
        title: what it was.
        mark: good, abnormal, danger or neutral.
        verdict: what came of it, a sentence.
        rows: the guards that were seen to act.
    """

    title: str
    mark: str
    verdict: str
    rows: tuple[Shown, ...] = ()


_NO_GUARDS: Final = Part(
    "The stand's own guards",
    ABNORMAL,
    "It prints lines and has none: no lease, no limits, no latch. What guarded is this "
    "program, and what follows shows that its stop reaches the motor.",
)


def proof_of(run: Run) -> list[Part]:
    """The parts of the proof in their order; empty where none is on record."""
    begun = _parts_begun(run)
    if not begun:
        return []
    parts = [_part(letter, notes, run) for letter, notes in begun]
    letters = {letter for letter, _ in begun}
    if PULSE not in letters:
        unprotected = run.described is not None
        parts.insert(0, _NO_GUARDS if unprotected else _cannot(run.stand))
    if RUNNING not in letters:
        title = TITLES[RUNNING]
        parts.append(Part(title, NEUTRAL, "Not done: the run ended before."))
    return parts


def _parts_begun(run: Run) -> list[tuple[str, list[Decision]]]:
    """Every part that was begun, with the notes that it left."""
    found: list[tuple[str, list[Decision]]] = []
    for decision in run.decisions:
        kind = decision.note.get("note")
        letter = text_of(decision.note, "part")
        if kind == "proof" and letter in TITLES:
            found.append((letter, []))
        elif kind in ("proved", "proven") and found and letter == found[-1][0]:
            found[-1][1].append(decision)
    return found


def _part(letter: str, notes: list[Decision], run: Run) -> Part:
    rows = tuple(_shown(d.note) for d in notes if d.note.get("note") == "proved")
    proven = next((d.note for d in notes if d.note.get("note") == "proven"), None)
    if proven is not None:
        acted = f"{counted(len(rows), 'guard')} seen to act{_within(proven)}"
        verdict = f"Proven: {acted}{_seen(notes, run)}."
        return Part(TITLES[letter], GOOD, verdict, rows)
    check = text_of(run.outcome, "check")
    if check.startswith("proof: "):
        guard = check.removeprefix("proof: ")
        cause = sentence(text_of(run.outcome, "cause"))
        return Part(TITLES[letter], DANGER, f"NOT PROVEN: {guard}. {cause}", rows)
    return Part(TITLES[letter], ABNORMAL, "Not finished: the run ended in it.", rows)


def _within(proven: Mapping[str, object]) -> str:
    took_s = number_of(proven, "took_s")
    return "" if took_s is None else f" in {took_s:.1f} s"


def _seen(notes: list[Decision], run: Run) -> str:
    """How they were seen: one way for all of a part."""
    ways = dict.fromkeys(text_of(d.note, "seen") for d in notes)
    told = [SEEN.get(way, way) for way in ways if way]
    if not has_channel(run, "speed"):
        told = [words.replace("current and speed", "current") for words in told]
    each = "each " if sum(1 for d in notes if d.note.get("seen")) > 1 else ""
    return f", {each}{' or '.join(told)}" if told else ""


def _shown(note: Mapping[str, object]) -> Shown:
    name, channel = text_of(note, "guard"), text_of(note, "channel")
    if name == RUNNING_GUARD and stands_in(note):
        name = STOP_GUARD
    called, by = GUARDS.get(name, (name, ""))
    took_ms = number_of(note, "took_ms")
    return Shown(
        guard=f"{called} {channel}".strip(),
        by=by,
        took=BY_HAND if took_ms is None else f"{took_ms:.0f} ms",
    )


def _cannot(stand: Stand | None) -> Part:
    """Why no real pulse was looked at."""
    from daq.link.messages import Ability

    lacks = []
    if stand is not None:
        abilities = stand.identity.abilities
        wanted = (
            (Ability.PROVE in abilities, "give no pulse with its supply off"),
            (Ability.PULSE_READBACK in abilities, "read no pulse back"),
            (stand.channel("pulse") is not None, "has no pulse channel"),
            (stand.channel("voltage") is not None, "has no voltage channel"),
        )
        lacks = [words for has, words in wanted if not has]
    why = "This stand cannot do it"
    if lacks:
        why = f"This stand cannot do it: it {_joined(lacks)}"
    return Part(
        TITLES[PULSE],
        NEUTRAL,
        f"{why}. The guards were proven at zero throttle instead.",
    )


def _joined(lacks: list[str]) -> str:
    can = [words for words in lacks if not words.startswith("has ")]
    has = [words for words in lacks if words.startswith("has ")]
    clauses = ([f"can {' and '.join(can)}"] if can else []) + has
    return " and ".join(clauses)

"""What a run's notes, end and findings look like in the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ui.cli.text import labelled, wrapped

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

NOT_CONFIRMED = (
    "STOP WAS NOT CONFIRMED BY THE STAND. Cut the power before you go near it."
)


FAILED = 1
TRIPPED = 3


def exit_status(outcome: Mapping[str, object]) -> int:
    """0 completed, 3 tripped, 1 anything else."""
    statuses = {"completed": 0, "tripped": TRIPPED}
    return statuses.get(str(outcome.get("ended")), FAILED)


def note_in_words(note: Mapping[str, object]) -> str | None:
    """A note of the record as a line for the person; None where it has none."""
    words = _WORDS.get(str(note.get("note")))
    return None if words is None else words(note)


def _identified(note: Mapping[str, object]) -> str:
    kind = "SIMULATED stand" if note.get("simulated") else "stand"
    words = (
        f"{kind} {note.get('stand_id'):08x} on {note.get('board')}, boot "
        f"{note.get('boot')}, firmware {note.get('firmware')}"
    )
    return labelled("identified", words)


def _unguarded(note: Mapping[str, object]) -> str:
    names = ", ".join(_texts(note.get("channels")))
    return labelled("unguarded", f"this stand has no {names}")


def _proved(note: Mapping[str, object]) -> str:
    """One guard that was seen to act, and how long it took."""
    guard = " of ".join(_texts([note["guard"], *_texts([note.get("channel")])]))
    took = note.get("took_ms")
    figure = f"{took:.0f} ms" if isinstance(took, int | float) else "by hand"
    return f"{'':<11}{guard:<22}{figure:>8}  {note.get('seen')}"


def _texts(value: object) -> list[str]:
    items = value if isinstance(value, list) else []
    return [str(item) for item in items if item is not None]


def _means(means: object) -> str:
    from protocols.limits import brief, to_trade

    if not isinstance(means, dict):
        return ""
    parts = []
    for channel, value in means.items():
        if isinstance(value, int | float):
            shown, unit = to_trade(channel, value)
            parts.append(f"{channel} {brief(shown)} {unit}")
    return ", ".join(parts) + "; thrust and current are zeroed there"


def tell_end(outcome: Mapping[str, object], folder: Path) -> None:
    """How it ended, why, whether the data are good, and where they are."""
    if not outcome:
        print(
            labelled(
                "ended",
                "The keeper is gone without a word. The stand stops by itself when its "
                "lease ends. What was recorded is kept.",
            )
        )
        print(wrapped(NOT_CONFIRMED))
    else:
        print(labelled(str(outcome.get("ended")), str(outcome.get("cause"))))
        if outcome.get("advice"):
            print(labelled("look at", str(outcome["advice"])))
        print(labelled("data", DATA.get(str(outcome.get("data")), "")))
        if outcome.get("stop_confirmed") is not True:
            print(wrapped(NOT_CONFIRMED))
    print(labelled("record", str(folder)))


DATA = {
    "whole": "whole: every part of the plan was measured",
    "partial": "partial: what was measured before the end is kept and analysed",
    "none": "none: it ended before anything was measured",
}


def tell_findings(folder: Path) -> None:
    """Analyse the run, write what is derived, and print the findings."""
    from ui.results import derive

    results = derive(folder)
    print("\nFindings")
    for warning in results.warnings():
        print(labelled("note", warning))
    for sentence in results.sentences():
        print(wrapped(sentence, indent=2, hang=4))
    print()
    print(labelled("report", str(results.report)))


_WORDS: Final[dict[str, Callable[[Mapping[str, object]], str]]] = {
    "identified": _identified,
    "unguarded": _unguarded,
    "proof": lambda n: labelled("proof", f"part {n.get('part')}: {n.get('how')}"),
    "proved": _proved,
    "proof lapsed": lambda _: labelled("proof", "too old by now: all of it again"),
    "zeroed": lambda n: labelled("at rest", _means(n.get("means"))),
    "acknowledged": lambda _: labelled("cleared", "the latch from before"),
    "armed": lambda _: labelled("armed", "ctrl-C stops"),
    "trip": lambda n: labelled("TRIP", f"{n.get('cause')} ({n.get('action')})"),
    "still driven": lambda _: labelled(
        "WARNING", "THE MOTOR RUNS ON. PULL THE ARMING PLUG."
    ),
}

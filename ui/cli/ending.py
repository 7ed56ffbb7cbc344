"""What a run's notes, end and findings look like in the terminal.

A person stands half a metre from a propeller: the first line says what happened,
whatever is dangerous stands in a frame that nobody overlooks, and is said again last.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Final

from daq.link.columns.translation import BOARD
from ui.cli.text import framed, labelled, sentence, wrapped
from ui.dangers import danger_in
from ui.proved import guard_called, stands_in

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

FAILED: Final = 1
TRIPPED: Final = 3


def exit_status(outcome: Mapping[str, object]) -> int:
    """0 completed, 3 tripped, 1 anything else."""
    statuses = {"completed": 0, "tripped": TRIPPED}
    return statuses.get(str(outcome.get("ended")), FAILED)


def alarm(text: str) -> None:
    """Something dangerous, in a frame, where a person looks whatever is piped."""
    sys.stdout.flush()
    print(framed(text, color=sys.stderr.isatty()), file=sys.stderr, flush=True)


# ------------------------------------------------------------ while it goes


class Narrator:
    """Tells a run's notes as lines, in the order in which they come.

    Attributes:
        cut: something ended the run, and it was said.
    """

    def __init__(self) -> None:
        self.cut = False
        self._clears: dict[str, str] = {}
        self._has_speed = True

    def words(self, note: Mapping[str, object]) -> str | None:
        """A note as a line for the person; None where it has none."""
        kind = str(note.get("note"))
        if kind == "identified":
            self._has_speed = "speed" in _texts(note.get("channels"))
        if kind == "proof" and stands_in(note):
            return labelled("proof", f"its stop: {note.get('how')}")
        if kind == "proved":
            return self._proved(note)
        if kind == "trip":
            return self._trip(note)
        if kind == "stop":
            return self._stop(note)
        if kind == "looked on":
            return self._looked_on(note)
        words = _WORDS.get(kind)
        return None if words is None else words(note)

    def _trip(self, note: Mapping[str, object]) -> str | None:
        """The guard of this program acts."""
        again, self.cut = self.cut, True
        check = note.get("check")
        self._clears[str(check)] = str(note.get("clears", ""))
        if note.get("by_hand") is True:
            return labelled("TRIP", f"{check}: the load has to be switched off")
        if note.get("action") == "ramp down":
            return labelled("TRIP", f"{check}: throttle on its way down to zero")
        if again:
            return labelled("TRIP", f"{check} too: throttle to zero now")
        return labelled("TRIP", f"{check}: throttle to zero now")

    def _stop(self, note: Mapping[str, object]) -> str | None:
        """A stop was sent: for a trip of the stand's own, or for anything else."""
        again, self.cut = self.cut, True
        check, ended = str(note.get("check")), note.get("ended")
        if again or ended == "stopped":
            return None  # said already, or asked for
        if check.startswith("proof: "):
            return labelled("NOT PROVEN", check.removeprefix("proof: "))
        if ended == "tripped":
            return labelled("TRIP", f"{check}: the stand cut")
        return labelled("STOP", f"{check}: throttle to zero now")

    def _looked_on(self, note: Mapping[str, object]) -> str | None:
        """Whether the motor came to rest, where somebody could see it."""
        if note.get("stopped") is True:
            by = "current and speed" if self._has_speed else "current"
            return labelled("motor", f"stands still, by its {by}")
        if note.get("stopped") is False:
            return None  # an alarm said so
        return labelled("motor", "nobody saw whether it came to rest: look first")

    def _proved(self, note: Mapping[str, object]) -> str:
        """A guard that was seen to act; nothing is claimed that nobody could see."""
        seen = str(note.get("seen"))
        if not self._has_speed:
            seen = seen.replace("current and speed", "current")
        return _proved({**note, "seen": seen})

    def clears(self, check: str) -> str:
        """What has to be so before that trip is acknowledged, a clause."""
        from protocols.explain import clears

        return self._clears.get(check) or clears(check) or "its cause is removed"


def _identified(note: Mapping[str, object]) -> str:
    if note.get("board") == BOARD:
        simulated = "SIMULATED stand" if note.get("simulated") else "stand"
        channels = ", ".join(_texts(note.get("channels")))
        return labelled("heard", f"{simulated} that prints {channels}")
    kind = "SIMULATED stand" if note.get("simulated") else "stand"
    words = (
        f"{kind} {note.get('stand_id'):08x} on {note.get('board')}, boot "
        f"{note.get('boot')}, firmware {note.get('firmware')}"
    )
    return labelled("identified", words)


def _unguarded(note: Mapping[str, object]) -> str:
    names = ", ".join(_texts(note.get("channels")))
    return labelled("unguarded", f"this stand has no {names}")


def _mute(note: Mapping[str, object]) -> str:
    names = " and ".join(_texts(note.get("channels")))
    return labelled(
        "caution",
        f"{names} is at the end of its range with the motor off: one of its two sense "
        "wires is off. The plug is neither watched nor measured there; ctrl-C, and "
        "mend it, or go on without.",
    )


def _proved(note: Mapping[str, object]) -> str:
    """One guard that was seen to act, and how long it took."""
    took = note.get("took_ms")
    figure = f"{took:.0f} ms" if isinstance(took, int | float) else "by hand"
    return f"{'':<11}{guard_called(note):<22}{figure:>8}  {note.get('seen')}"


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


_HELD: Final = {
    "floor": "down to its floor",
    "spent": "the highest throttle no longer gives the thrust",
    "faded": "the highest throttle no longer gives the thrust, the voltage unchanged",
    "not reached": "the highest throttle never gave the thrust",
    "longest": "for as long as the plan allows",
}


def _held(note: Mapping[str, object]) -> str:
    """How a hold ended."""
    lasted_s, volt = note.get("lasted_s"), note.get("voltage_v")
    words = _HELD.get(str(note.get("end")), str(note.get("end")))
    if isinstance(lasted_s, float):
        words += f", after {lasted_s / 60:.2f} min"
    if isinstance(volt, float):
        words += f", at {volt:.2f} V"
    return words


_WORDS: Final[dict[str, Callable[[Mapping[str, object]], str]]] = {
    "identified": _identified,
    "unguarded": _unguarded,
    "mute": _mute,
    "proof": lambda n: labelled("proof", f"part {n.get('part')}: {n.get('how')}"),
    "proof lapsed": lambda _: labelled("proof", "too old by now: all of it again"),
    "zeroed": lambda n: labelled("at rest", _means(n.get("means"))),
    "acknowledged": lambda _: labelled("cleared", "the latch from before"),
    "held": lambda n: labelled("held", _held(n)),
    "armed": lambda _: labelled("armed", "ctrl-C stops"),
    "stop told": lambda _: labelled(
        "stop", "told to the stand, which confirms nothing: watched by its current"
    ),
    "stop confirmed": lambda _: labelled("stop", "the stand says: zero, and latched"),
}


# ------------------------------------------------------------------ the end

DATA: Final = {
    "whole": "whole: every part of the plan was measured",
    "partial": "partial: what was measured before the end is kept and analysed",
    "none": "none: it ended before a first part of the plan was measured to its end",
}


def tell_end(
    outcome: Mapping[str, object],
    folder: Path,
    how_far: Sequence[str] = (),
    clears: str = "",
    *,
    unprotected: bool = False,
) -> None:
    """How it ended, why, whether the data are good, and where they are.

    Args:
        outcome: as the keeper gave it; empty where it gave none.
        folder: the run's.
        how_far: how far it came, in sentences.
        clears: what has to be so before its trip is acknowledged, a clause.
        unprotected: the stand does not stop by itself.
    """
    danger = danger_in(outcome, unprotected=unprotected)
    if danger:
        print(labelled("DANGER", danger))
    if outcome:
        ended = str(outcome.get("ended"))
        label = ended.upper() if ended == "tripped" else ended
        print(labelled(label, sentence(str(outcome.get("cause")))))
        if outcome.get("advice"):
            print(labelled("advice", str(outcome["advice"])))
        if outcome.get("ended") == "tripped" and clears:
            again = "and you acknowledge it at the next spin"
            print(labelled("clears", f"when {clears}, {again}"))
        print(labelled("data", DATA.get(str(outcome.get("data")), "")))
        for words in how_far:
            print(labelled("how far", words))
    else:
        print(labelled("ended", "nobody knows how; what was recorded is kept"))
    print(labelled("record", str(folder)))


def tell_last(outcome: Mapping[str, object], *, unprotected: bool = False) -> None:
    """What must be the last thing on the screen, if there is such a thing."""
    danger = danger_in(outcome, unprotected=unprotected)
    if danger:
        alarm(danger)
    elif outcome.get("ended") == "tripped":
        print(labelled("TRIPPED", f"{outcome.get('check')}; why stands above"))


def tell_findings(folder: Path, told: Sequence[str] = ()) -> None:
    """Analyse the run, write what is derived, and print the findings.

    Args:
        folder: the run's.
        told: sentences that were said already.
    """
    from ui.results import derive

    results = derive(folder)
    if results.run.not_taken:
        print(labelled("not used", results.run.not_taken))
    # Of a run that never walked its plan the page tells the proof, and that is all.
    if any(results.run.notes("segment")):
        print("\nFindings")
        for warning in results.warnings():
            if warning not in told:
                print(labelled("note", warning))
        for words in results.sentences():
            print(wrapped(words, indent=2, hang=4))
        print()
    print(labelled("report", str(results.report)))

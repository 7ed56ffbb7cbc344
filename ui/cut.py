"""Where a run was cut short, by what, and from when its readings are in doubt.

Read off the record's notes alone; nothing here looks at a sample. What a guard acts
on began before it acted: readings of that while must never be taken as good.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from daq.records.read import Decision, Run

# Trips in which the readings had no part: what was read until then is as good as any.
# Whatever is not named here is in doubt.
SOUND: Final = frozenset(
    {
        "beat",
        "burst",
        "heat",
        "lease",
        "link",
        "pack",
        "restarted",
        "silence",
        "stop loop",
    }
)
# The slowest of the guard's other checks acts within 1.2 s of a fault.
DOUBT_S: Final = 1.5
# A thrust that drifts while it is held is noticed once the throttle has gone with it.
DRIFTED_S: Final = 60.0
DRIFTS: Final = "hold"
# The stand tells its state this often: a trip whose event was lost came before that.
TOLD_EVERY_S: Final = 0.2
UNKNOWN: Final = "unknown"


@dataclass(frozen=True, slots=True)
class Cut:
    """The end of a walk that did not reach the end of its plan.

    Attributes:
        at_s: device time when it was cut.
        ended: tripped, stopped or failed.
        check: what acted, by its stable name.
    """

    at_s: float
    ended: str
    check: str

    @property
    def sound_until_s(self) -> float:
        """Device time up to which the readings are not in doubt."""
        if self.ended != "tripped" or self.check in SOUND:
            return self.at_s
        return self.at_s - (DRIFTED_S if self.check == DRIFTS else DOUBT_S)


def cut_of(run: Run) -> Cut | None:
    """Where the walk was cut; None where it was not, or never began."""
    ending = _ending_of_the_walk(run)
    if ending is None:
        return None
    last = ending[-1].note
    known_s = [at_s for d in ending if (at_s := device_s(d)) is not None]
    # Without any, the port was gone: what was read until then came before.
    ends_s = [float(s.device_s.max()) for s in run.streams if s.device_s.size]
    if not known_s and not ends_s:
        return None
    check = str((run.outcome or last).get("check", ""))
    at_s = min(known_s) if known_s else max(ends_s)
    if check == UNKNOWN:
        at_s -= TOLD_EVERY_S
    return Cut(at_s, str(last.get("ended")), check)


def _ending_of_the_walk(run: Run) -> list[Decision] | None:
    """What ended the walk, in order; the last is the stop, or else the outcome."""
    found: list[Decision] = []
    walking = False
    for decision in run.decisions:
        kind = decision.note.get("note")
        if kind == "walked":
            return None
        walking = walking or kind in ("armed", "began")
        tripped = kind == "told" and decision.note.get("state") == "TRIPPED"
        if walking and (tripped or kind in ("trip", "stop", "outcome")):
            found.append(decision)
        if walking and kind in ("stop", "outcome"):
            return found
    return None


def device_s(decision: Decision) -> float | None:
    """The stand's time that a note tells; None where it tells none."""
    value = decision.note.get("device_s")
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if math.isfinite(value) else None

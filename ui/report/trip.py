"""How a run was cut: what acted, when, how soon the pulse was at zero, what clears it.

Told from the notes and from what the stand read back on its pulse pin. Why it was cut
stands with the outcome; here is how.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from ui.cut import Cut, cut_of, device_s
from ui.report.words import has_channel, number_of, sentence, text_of
from ui.series import in_order

if TYPE_CHECKING:
    from daq.analysis.series import Array
    from daq.records.read import Run
    from ui.report.setup import Lines
    from ui.stretches import Stretch

TITLES: Final = {"tripped": "The trip", "stopped": "The stop"}
OTHER_TITLE: Final = "The end"
LEGS: Final = {
    "up": "on the way up",
    "down": "on the way down",
    "first": "of the first pass",
    "second": "of the second pass",
}
# Readings of the pulse pin this near to what it reads at rest are at rest.
PULSE_SAME_S: Final = 15e-6
# Longer than any stand needs to obey: a pulse seen at zero later is no answer.
PULSE_PATIENCE_S: Final = 1.0


@dataclass(frozen=True, slots=True)
class Pulse:
    """The pulse as the stand read it back.

    Attributes:
        t_s: device time of each reading, shape (n,).
        width_s: what was read, shape (n,).
        rest_s: what it reads with the throttle at zero.
    """

    t_s: Array
    width_s: Array
    rest_s: float

    def zero_after(self, at_s: float) -> float | None:
        """Device time of the first reading at rest from a moment on.

        None where it was at rest already, or did not come to it in time.
        """
        first = int(np.searchsorted(self.t_s, at_s))
        last = int(np.searchsorted(self.t_s, at_s + PULSE_PATIENCE_S))
        at_rest = np.abs(self.width_s - self.rest_s) <= PULSE_SAME_S
        if first == 0 or at_rest[first - 1]:
            return None
        found = np.flatnonzero(at_rest[first:last])
        return float(self.t_s[first + found[0]]) if found.size else None


def pulse_of(run: Run) -> Pulse | None:
    """The pulse read back; None where the stand does not, or nothing was armed."""
    armed_s = next(
        (number_of(d.note, "device_s") for d in run.notes("armed", "began")), None
    )
    if armed_s is None:
        return None
    for stream in run.streams:
        for column, page in enumerate(stream.channels):
            if page.name == "pulse":
                good = in_order(stream)
                t_s, counts = stream.device_s[good], stream.counts[good, column]
                inside = (counts >= page.low_counts) & (counts <= page.high_counts)
                width_s = (counts[inside] - page.zero_counts) / page.counts_per_unit
                return _at_rest(t_s[inside], width_s, armed_s)
    return None


def _at_rest(t_s: Array, width_s: Array, armed_s: float) -> Pulse | None:
    """The same with what it reads at rest: that just after arming, at zero throttle."""
    first = int(np.searchsorted(t_s, armed_s))
    at_rest = width_s[first : first + 5]
    return Pulse(t_s, width_s, float(np.median(at_rest))) if at_rest.size else None


# ------------------------------------------------------------------ in words


def title_of(cut: Cut) -> str:
    """What the section is called."""
    return TITLES.get(cut.ended, OTHER_TITLE)


def cut_lines(run: Run, walk: Sequence[Stretch]) -> Lines:
    """How the walk was cut; empty where it was not."""
    cut = cut_of(run)
    return () if cut is None else tuple(_lines(run, cut, walk))


def _lines(run: Run, cut: Cut, walk: Sequence[Stretch]) -> Iterator[tuple[str, str]]:
    yield "What acted", _who(run, cut)
    if walk:
        yield "When", _when(cut, walk)
    yield "What it did", _action(run, cut)
    yield "Pulse at zero", _pulse(run, cut)
    yield "The motor", _motor(run)
    clears = _clears(run, cut)
    if clears:
        yield "Clears when", f"{sentence(clears)}, and a person acknowledges it"


def _trip_note(run: Run) -> Mapping[str, object]:
    return next((d.note for d in run.notes("trip")), {})


def _cut_itself(run: Run) -> bool:
    """Whether the stand cut by itself, before it was told to."""
    armed_s = next((d.time_s for d in run.notes("armed", "began")), math.inf)
    first = next(
        (
            d.note
            for d in run.notes("told")
            if d.time_s >= armed_s and d.note.get("state") == "TRIPPED"
        ),
        {"cause": "STOP"},
    )
    return first.get("cause") != "STOP"


def _who(run: Run, cut: Cut) -> str:
    guards = text_of(_trip_note(run), "check")
    if cut.ended == "tripped" and (_cut_itself(run) or cut.check == "restarted"):
        return f"The stand itself: {cut.check}"
    if cut.ended == "tripped" and guards:
        return f"The guard of this program: {cut.check}"
    if cut.check == "stop":
        return "A person, or the program in front of one"
    return f"This program: {cut.check}"


def _when(cut: Cut, walk: Sequence[Stretch]) -> str:
    begin_s = walk[0].hold.start_s
    stretch = walk[-1]
    hold = stretch.hold
    throttle = f"{100 * stretch.throttle_at(cut.at_s):.3g} % throttle"
    leg = LEGS.get(hold.leg, "")
    where = f"a {hold.kind} {leg}".strip()
    return (
        f"{cut.at_s - begin_s:.2f} s into the plan, at {throttle}, "
        f"{max(0.0, cut.at_s - hold.start_s):.2f} s into {where}"
    )


def _action(run: Run, cut: Cut) -> str:
    if ramps_down(run):
        took = "".join(f" in {max(0.0, s - cut.at_s):.2f} s" for s in stop_s(run)[:1])
        if any(d.note.get("action") == "cut" for d in run.notes("trip")):
            return f"Throttle on its way down, then cut to zero, all{took}; latched"
        return f"Throttle down to zero{took}, then a stop that latches"
    if any(run.notes("stop")):
        return "Throttle to zero at once, latched"
    if run.described is not None:
        return "Nothing more could be said to the stand, which does not stop by itself"
    return "Nothing more could be said to the stand, whose lease ends by itself"


def _pulse(run: Run, cut: Cut) -> str:
    pulse = pulse_of(run)
    from_s = max([cut.at_s, *stop_s(run)]) if ramps_down(run) else cut.at_s
    zero_s = None if pulse is None else pulse.zero_after(cut.at_s)
    if zero_s is not None:
        late_ms = 1e3 * max(0.0, zero_s - from_s)
        since = "the end of the ramp" if ramps_down(run) else "that"
        return f"{late_ms:.0f} ms after {since}, read back on the pulse pin"
    confirmed = next(run.notes("stop confirmed"), None)
    stop = next(run.notes("stop"), None)
    if confirmed is not None and stop is not None:
        late_ms = 1e3 * (confirmed.time_s - stop.time_s)
        return f"By the stand's word, heard {late_ms:.0f} ms after the stop"
    return "Nobody saw it: the stand was not heard any more"


def ramps_down(run: Run) -> bool:
    """Whether the guard had the throttle brought down instead of cut."""
    return text_of(_trip_note(run), "action") == "ramp down"


def stop_s(run: Run) -> list[float]:
    """Device time of the stop; empty where none was sent or it is not known."""
    return [at_s for d in run.notes("stop") if (at_s := device_s(d)) is not None]


def _motor(run: Run) -> str:
    looked = next(run.notes("looked on"), None)
    stopped = None if looked is None else looked.note.get("stopped")
    if stopped is True:
        by = "current and speed" if has_channel(run, "speed") else "current"
        return f"Seen at rest, by its {by}"
    if stopped is False:
        return "RAN ON, though the pulse was at zero"
    return "Nobody saw whether it came to rest"


def _clears(run: Run, cut: Cut) -> str:
    from protocols.explain import clears

    if cut.ended != "tripped":
        return ""
    note = _trip_note(run)
    told = text_of(note, "clears") if note.get("check") == cut.check else ""
    return told or clears(cut.check) or "its cause is found and removed"


def zero_words(cut: Cut, zero_s: float) -> str:
    """How long after the cut the pulse was at zero, in words."""
    return f"pulse at zero {1e3 * max(0.0, zero_s - cut.at_s):.0f} ms later"

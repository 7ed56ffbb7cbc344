"""The fast captures of a run, out of its record: in SI, with what each was of.

The notes of the walk say what was asked for, the blocks what came. What did not come
is told in a sentence, with what the stream showed meanwhile. Nothing here measures.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from daq.units import milli
from ui.cut import cut_of, device_s

if TYPE_CHECKING:
    from daq.analysis.captures import Capture
    from daq.analysis.series import Series
    from daq.calibration.use import Use
    from daq.link.bursts import Captured
    from daq.records.read import Decision, Run

NO_TRIGGER = "no trigger"
UNITS = {"voltage": "V", "current": "A"}
PAST = {"rise": "rose", "fall": "fell"}
# What a channel was before is read over this long.
BEFORE_S = 0.1


@dataclass(frozen=True, slots=True)
class Taken:
    """What the captures of a run came to.

    Attributes:
        captures: those that came, in their order.
        missed: what did not come and why, in sentences.
    """

    captures: tuple[Capture, ...]
    missed: tuple[str, ...]


def taken_of(run: Run, series: Mapping[str, Series]) -> Taken:
    """The captures of a run.

    Args:
        run: as read back.
        series: its channels in SI, for what happened while a trigger was waited for.
    """
    from ui.calibrations import calibrated

    uses = calibrated(run).uses
    cut = cut_of(run)
    sound_s = math.inf if cut is None else cut.sound_until_s
    came = _came(run)
    captures = []
    for decision in run.notes("capture"):
        number, note = decision.note.get("number"), decision.note
        found = came.get(number) if isinstance(number, int) else None
        if found is None or found.trigger_device_s + found.span_s > sound_s:
            continue
        captures.append(_capture(note, found, uses.get(found.channel.name)))
    return Taken(tuple(captures), tuple(_missed(run, came, series)))


def _came(run: Run) -> dict[int, Captured]:
    """What came of each capture, by its number."""
    from daq.link.bursts import Blocks, Captured

    stand = run.stand
    if stand is None:
        return {}
    pages = {page.name: page for page in stand.channels}
    blocks = {
        int(str(d.note.get("number"))): Blocks(int(str(d.note.get("number"))), page)
        for d in run.notes("capture")
        if (page := pages.get(str(d.note.get("channel")))) is not None
    }
    for told in run.blocks:
        if told.block.number in blocks:
            blocks[told.block.number].take(told.block, told.device_s)
    results = {number: found.result() for number, found in blocks.items()}
    return {n: found for n, found in results.items() if isinstance(found, Captured)}


def _capture(note: Mapping[str, object], found: Captured, use: Use | None) -> Capture:
    import numpy as np

    from daq.analysis.captures import Capture
    from daq.calibration.nominal import nominal

    page = found.channel
    counts = np.array(
        [page.no_reading if c is None else c for c in found.counts], np.int64
    )
    if use is None:
        value_si = nominal(page).to_si(counts)
        step_si = found.step_si
    else:
        value_si = use.calibration.to_si(counts, page.no_reading)
        step_si = found.step_counts * use.calibration.resolution_si
    value_si[counts == page.no_reading] = np.nan
    return Capture(
        channel=page.name,
        label=str(note.get("label")),
        segment=int(str(note.get("segment"))),
        t_s=np.array(found.times_s),
        value_si=value_si,
        period_s=found.period_s,
        step_si=step_si,
        at_top=found.at_top,
        lost=sum(last - first + 1 for first, last in found.lost),
        device_s=found.trigger_device_s,
    )


def _missed(
    run: Run, came: Mapping[int, Captured], series: Mapping[str, Series]
) -> list[str]:
    """What was asked for and did not come, a sentence each; alike ones once."""
    asked = {d.note.get("number"): d for d in run.notes("capture")}
    alike: dict[str, list[Decision | None]] = {}
    for decision in run.notes("captured"):
        number, result = decision.note.get("number"), str(decision.note.get("result"))
        if number in came or result == "whole":
            continue
        ask = asked.get(number)
        words = _never(ask) if ask and result == NO_TRIGGER else _other(ask, result)
        alike.setdefault(words, []).append(ask)
    return [_whole(words, asks, series) for words, asks in alike.items()]


def _other(ask: Decision | None, result: str) -> str:
    of = f"the {ask.note.get('label')}" if ask else "the plan"
    return f"A capture of {of} did not come: {result}"


def _never(ask: Decision) -> str:
    """A trigger that never came, without what the channel did instead."""
    note = ask.note
    channel, waited_s = str(note.get("channel")), float(str(note.get("patience_s")))
    by = f"{float(str(note.get('by_si'))):g} {UNITS.get(channel, '')}"
    return (
        f"The capture of the {note.get('label')} was never triggered: for "
        f"{milli(waited_s):.0f} ms it waited for the {channel} to "
        f"{note.get('trigger')} by {by}"
    )


def _whole(
    words: str, asks: Sequence[Decision | None], series: Mapping[str, Series]
) -> str:
    """The sentence, with what the channel did and how often it was so."""
    moved = [m for ask in asks if ask and (m := _moved(ask, series)) is not None]
    if moved:
        note = asks[0].note if asks[0] else {}
        channel, way = str(note.get("channel")), str(note.get("trigger"))
        words += (
            f", and its readings {PAST[way]} by {max(moved):.2g} "
            f"{UNITS.get(channel, '')} at most. Give the capture a smaller figure "
            "(key by)"
        )
    return f"{words} ({len(asks)} times)." if len(asks) > 1 else f"{words}."


def _moved(ask: Decision, series: Mapping[str, Series]) -> float | None:
    """How far a channel rose or fell while a trigger was waited for, by its stream.

    None where it did not wait, or nothing was read.
    """
    import numpy as np

    way, since_s = str(ask.note.get("trigger")), device_s(ask)
    channel = series.get(str(ask.note.get("channel")))
    if channel is None or since_s is None or way not in PAST:
        return None
    until_s = since_s + float(str(ask.note.get("patience_s")))
    _, before = channel.between(since_s - BEFORE_S, since_s)
    _, within = channel.between(since_s, until_s)
    if not (np.isfinite(before).any() and np.isfinite(within).any()):
        return None
    level = float(np.nanmean(before))
    moved = np.nanmax(within) - level if way == "rise" else level - np.nanmin(within)
    return max(0.0, float(moved))

"""The limits in force, and how near the run came to each.

What was read is compared as the guard saw it: less the zero that was taken
before arming. Nothing here decides anything; the guards did.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ui.report.facts import DANGER, GOOD, NEUTRAL
from ui.report.words import counted, in_brief, list_of, table_of

if TYPE_CHECKING:
    from daq.analysis.series import Array, Series
    from daq.records.read import Run
    from protocols.limits import Limit


@dataclass(frozen=True, slots=True)
class Guarded:
    """One limit and how near the run came to it.

    Attributes:
        channel: what it guards.
        allowed: its bounds in words.
        waits: how long it waits, in words.
        source: where the bounds come from.
        seen: what was read while armed, in words.
        mark: good, abnormal, danger or neutral.
        bar: start and width of what was read, in percent of what is allowed;
            None where there is nothing to draw.
    """

    channel: str
    allowed: str
    waits: str
    source: str
    seen: str
    mark: str
    bar: tuple[float, float] | None


def limits_of(run: Run) -> tuple[Limit, ...]:
    """The limits in force; empty where the record does not give them.

    They come out of a record, so a set that cannot be is no set.
    """
    from daq.errors import InputFault
    from protocols.limits import limits_from_dicts

    try:
        return limits_from_dicts(list_of(table_of(run.header, "task"), "limits"))
    except InputFault:
        return ()


def guarded(run: Run, series: Mapping[str, Series]) -> list[Guarded]:
    """Each limit in force, with the extremes that were read while armed."""
    armed_s = next((_device_s(d.note) for d in run.notes("armed")), None)
    zeros = [table_of(taken.note, "means") for taken in run.notes("zeroed")]
    means = zeros[-1] if zeros else {}
    found = []
    for limit in limits_of(run):
        read = _read_while_armed(series.get(limit.channel), armed_s, means)
        found.append(_guarded(limit, read, was_armed=armed_s is not None))
    return found


def unguarded(run: Run) -> list[str]:
    """Channels with a limit that the stand does not have."""
    names = [
        str(name)
        for d in run.notes("unguarded")
        for name in list_of(d.note, "channels")
    ]
    return list(dict.fromkeys(names))


def _device_s(note: Mapping[str, object]) -> float | None:
    at_s = note.get("device_s")
    is_number = isinstance(at_s, int | float) and math.isfinite(at_s)
    return float(at_s) if is_number and isinstance(at_s, int | float) else None


def _read_while_armed(
    channel: Series | None, armed_s: float | None, means: Mapping[str, object]
) -> Array:
    """Readings as the guard saw them: less the zero taken before arming."""
    if channel is None or armed_s is None:
        return np.zeros(0)
    value = channel.value_si[channel.t_s >= armed_s]
    zero = means.get(channel.name)
    is_zeroed = channel.quantity in ("force", "current")
    if is_zeroed and isinstance(zero, int | float) and math.isfinite(zero):
        value = value - zero
    return value[np.isfinite(value)]


def _guarded(limit: Limit, read: Array, *, was_armed: bool) -> Guarded:
    from protocols.limits import to_trade

    low, unit = to_trade(limit.channel, limit.low)
    high, _ = to_trade(limit.channel, limit.high)
    seen = "It was never armed, so nothing came near."
    mark, bar = NEUTRAL, None
    if was_armed:
        seen = "Not read while armed."
    if read.size:
        lowest, _ = to_trade(limit.channel, float(read.min()))
        highest, _ = to_trade(limit.channel, float(read.max()))
        mark, near = _nearest(low, high, lowest, highest, unit)
        seen = (
            f"Read {in_brief(lowest)} to {in_brief(highest)} {unit} while armed: {near}"
        )
        bar = _bar(low, high, lowest, highest)
    waits = (
        f"{counted(limit.persistence, 'sample')} in a row outside, or "
        f"{in_brief(limit.max_age_s)} s of silence"
    )
    return Guarded(
        limit.channel, _allowed(low, high, unit), waits, limit.source, seen, mark, bar
    )


def _allowed(low: float, high: float, unit: str) -> str:
    if not math.isfinite(low):
        return f"up to {in_brief(high)} {unit}"
    if not math.isfinite(high):
        return f"from {in_brief(low)} {unit}"
    return f"{in_brief(low)} to {in_brief(high)} {unit}"


def _nearest(
    low: float, high: float, lowest: float, highest: float, unit: str
) -> tuple[str, str]:
    """How much room there was to the bounds, in words."""
    room = ((high - highest, "above"), (lowest - low, "below"))
    known = [(spare, side) for spare, side in room if math.isfinite(spare)]
    past = [
        f"{in_brief(-spare)} {unit} {side} it" for spare, side in known if spare < 0
    ]
    if past:
        return DANGER, f"single readings went {' and '.join(past)}."
    spares = [f"{in_brief(spare)} {unit} {side}" for spare, side in known]
    return GOOD, f"to spare, {' and '.join(spares)}."


def _bar(
    low: float, high: float, lowest: float, highest: float
) -> tuple[float, float] | None:
    if not math.isfinite(low):
        low = min(0.0, lowest)
    if not math.isfinite(high) or high <= low:
        return None
    start, end = (
        100 * min(max((at - low) / (high - low), 0.0), 1.0) for at in (lowest, highest)
    )
    return round(start, 2), round(max(end - start, 0.5), 2)

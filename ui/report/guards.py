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
from ui.report.words import counted, in_brief, list_of, number_of, sentence, table_of

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
    was_armed = _armed_s(run) is not None
    return [
        _guarded(
            limit,
            read_while_armed(run, series.get(limit.channel))[1],
            was_armed=was_armed,
        )
        for limit in limits_of(run)
    ]


def unguarded(run: Run) -> list[str]:
    """Channels with a limit that the stand does not have."""
    names = [
        str(name)
        for d in run.notes("unguarded")
        for name in list_of(d.note, "channels")
    ]
    return list(dict.fromkeys(names))


def _armed_s(run: Run) -> float | None:
    """Device time when it was armed for its plan; None where it never was."""
    return next(
        (number_of(d.note, "device_s") for d in run.notes("armed", "began")), None
    )


def read_while_armed(run: Run, channel: Series | None) -> tuple[Array, Array]:
    """Readings as the guard saw them: less the zero taken before arming.

    Returns:
        Device times and finite readings, shapes (n,), from arming to the end of the
        record; empty where it was never armed.
    """
    armed_s = _armed_s(run)
    if channel is None or armed_s is None:
        return np.zeros(0), np.zeros(0)
    first = int(np.searchsorted(channel.t_s, armed_s))
    t_s, value = channel.t_s[first:], channel.value_si[first:]
    zeros = [table_of(taken.note, "means") for taken in run.notes("zeroed")]
    if zeros and channel.quantity in ("force", "current"):
        value = value - (number_of(zeros[-1], channel.name) or 0.0)
    good = np.isfinite(value)
    return t_s[good], value[good]


def _guarded(limit: Limit, read: Array, *, was_armed: bool) -> Guarded:
    from protocols.limits import to_trade

    low, unit = to_trade(limit.channel, limit.low)
    high, _ = to_trade(limit.channel, limit.high)
    seen = "The plan was never begun, so nothing came near."
    mark, bar = NEUTRAL, None
    if was_armed:
        seen = "Not read from then on."
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
        limit.channel,
        _allowed(low, high, unit),
        waits,
        sentence(limit.source),
        seen,
        mark,
        bar,
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

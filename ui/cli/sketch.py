"""A small picture of a plan in plain characters: throttle over time.

Shows where throttle goes and which parts are read. It must never be taken for the
timeline itself: a column is a stretch of time, and shows the highest throttle in it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from protocols.dry_run import Row
    from protocols.plan import Plan

WIDTH = 72
ROWS = 10
READ, MOVING, NOTHING = "#", ":", " "
_AXIS = 5


def sketch(plan: Plan, rows: Sequence[Row] = ()) -> str:
    """Throttle over time in ``WIDTH`` columns: ``#`` is read, ``:`` leads there.

    Args:
        plan: the plan.
        rows: what is expected of each segment, for how far a hold will go.
    """
    columns = [_column(plan, n, rows) for n in range(WIDTH - _AXIS)]
    lines = []
    for row in range(ROWS, 0, -1):
        label = f"{100 * row // ROWS:3d}" if row % (ROWS // 2) == 0 else "   "
        cells = "".join(mark if height >= row else NOTHING for height, mark in columns)
        lines.append(f"{label} |{cells}".rstrip())
    lines.append(f"  0 +{'-' * (WIDTH - _AXIS)}")
    lines.append(_times(plan))
    return "\n".join(lines)


def _column(plan: Plan, number: int, rows: Sequence[Row]) -> tuple[int, str]:
    """Rows that a column reaches up to, and the mark it is drawn with."""
    width_s = plan.duration_s / (WIDTH - _AXIS)
    start_s, end_s = number * width_s, (number + 1) * width_s
    first, _, _ = plan.segment_at(start_s)
    last, _, _ = plan.segment_at(end_s - 1e-6 * width_s)
    top_frac = 0.0
    read_s = moving_s = 0.0
    for index in range(first, last + 1):
        segment, begins_s = plan.segments[index], plan.start_of(index)
        into_s = max(start_s - begins_s, 0.0)
        until_s = min(end_s - begins_s, segment.duration_s)
        ends = (segment.setpoint_at(into_s), segment.setpoint_at(until_s))
        if rows:
            ends = _expected(rows, index, ends)
        top_frac = max(top_frac, *ends)
        if segment.is_data:
            read_s += until_s - into_s
        elif segment.kind != "rest":
            moving_s += until_s - into_s
    height = math.ceil(top_frac * ROWS - 0.5)
    height = max(height, 1) if top_frac > 0 else 0
    return height, READ if read_s >= moving_s else MOVING


def _expected(
    rows: Sequence[Row], index: int, ends: tuple[float, float]
) -> tuple[float, float]:
    """The same where a hold is, or has just been: it ends where nobody planned it."""
    row, before = rows[index], rows[index - 1]
    if row.held is not None:
        return row.end_frac, row.end_frac
    if index and before.held is not None and before.segment.end_frac > 0:
        share = before.end_frac / before.segment.end_frac
        return share * ends[0], share * ends[1]
    return ends


def _times(plan: Plan) -> str:
    """Start, middle and end under the axis."""
    room = WIDTH - _AXIS
    middle, end = f"{plan.duration_s / 2:.4g}", f"{plan.duration_s:.4g} s"
    left = "0" + middle.rjust(room // 2 + len(middle) // 2 - 1)
    return " " * _AXIS + left + end.rjust(room - len(left))

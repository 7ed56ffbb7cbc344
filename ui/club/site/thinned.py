"""A curve with fewer points, for a table of thousands: straight between them.

The points left out lie within a small part of the interval of where the straight
lines between the others put them, so that a figure read off it is that of the whole
curve but for less than its last digit.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from ui.club.entry import CurveTold

#: How far off a point left out may be, as a share of half of its interval.
OFF_OF_HALF: Final = 0.05
#: The same as a share of the value, where there is no interval to speak of.
OFF_OF_VALUE: Final = 1e-4

Rows = NDArray[np.float64]


def thinned(curve: CurveTold) -> Rows:
    """The points kept: x, y and half of the interval, shape (3, m), SI."""
    rows = np.array([curve.x, curve.y, curve.half], dtype=float)
    allowed = np.maximum(OFF_OF_HALF * rows[2], OFF_OF_VALUE * rows[1])
    # A value so near zero that a share of it is none.
    allowed = np.maximum(allowed, np.finfo(float).tiny)
    kept = {0, rows.shape[1] - 1}
    waiting = [(0, rows.shape[1] - 1)]
    while waiting:
        first, last = waiting.pop()
        worst = _worst(rows, allowed, first, last)
        if worst is not None:
            kept.add(worst)
            waiting += [(first, worst), (worst, last)]
    return rows[:, sorted(kept)]


def _worst(rows: Rows, allowed: Rows, first: int, last: int) -> int | None:
    """The point between two that lies farthest off their line, if too far."""
    if last - first < 2:
        return None
    inside = slice(first + 1, last)
    x, y, half = rows[:, inside]
    ends = rows[:, [first, last]]
    off = (
        np.maximum(
            np.abs(np.interp(x, ends[0], ends[1]) - y),
            np.abs(np.interp(x, ends[0], ends[2]) - half),
        )
        / allowed[inside]
    )
    worst = int(np.argmax(off))
    return first + 1 + worst if off[worst] > 1 else None

"""Loads that a person switched, as the current shows them.

Nobody switches at the moment that a plan names, so what was on, and for how long, is
read off the current itself: pieces between its steps, in which it holds to within a
few per cent, are dwells, and pieces without current are rests. A long one is a soak.
Nothing here looks at what was meant to be switched.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.analysis.plug import SHORTEST_SOAK_S
from daq.analysis.series import Array, Hold, HoldKind, HoldLeg, Series

#: The current is looked at in means over so much time.
BLOCK_S: Final = 0.05
#: A piece ends where the current leaves its mean by more than this share, or this much;
#: a resistor that warms, a pack that sags move it by less within a block's time.
STEP_SHARE: Final = 0.05
STEP_A: Final = 0.15
#: ... or by so many times the scatter of the blocks at rest.
STEP_SCATTER: Final = 8.0
#: Pieces shorter than this are on the way from one to another.
SHORTEST_S: Final = 1.0
#: What is left out at each end, where a switch bounces and readings settle.
EDGE_S: Final = 0.1
#: Below this share of the largest current nothing is on.
OFF_SHARE: Final = 0.03
#: Currents within this share of each other are one level.
ALIKE_SHARE: Final = 0.1


@dataclass(frozen=True, slots=True)
class _Piece:
    """A stretch of steady current."""

    start_s: float
    end_s: float
    amp: float


def loads_of(current: Series, start_s: float, end_s: float) -> list[Hold]:
    """What was on and what was off.

    Args:
        current: The readings.
        start_s: From when it counts.
        end_s: Until when.

    Returns:
        Rests, dwells and soaks in order of time, throttle zero; levels are numbered by
        their current, and the way is up until the largest was on.
    """
    pieces = _pieces(current, start_s, end_s)
    if not pieces:
        return []
    low = min(piece.amp for piece in pieces)
    most = max(piece.amp for piece in pieces) - low
    off_a = max(STEP_A, OFF_SHARE * most)
    loaded = [piece for piece in pieces if piece.amp - low > off_a]
    steps = _steps(np.array([piece.amp - low for piece in loaded]))
    top = int(np.argmax(steps)) if steps else 0
    place = {id(piece): number for number, piece in enumerate(loaded)}
    found = []
    for piece in pieces:
        number = place.get(id(piece))
        if number is None:
            found.append(Hold("rest", "rest", -1, 0.0, piece.start_s, piece.end_s))
            continue
        leg: HoldLeg = "up" if number <= top else "down"
        long = piece.end_s - piece.start_s >= SHORTEST_SOAK_S
        kind: HoldKind = "soak" if long else "dwell"
        times_s = piece.start_s, piece.end_s
        found.append(Hold(kind, leg, steps[number], 0.0, *times_s))
    return found


def _steps(amps: Array) -> list[int]:
    """The level that each current is of, lowest first."""
    if not amps.size:
        return []
    order = np.argsort(amps)
    rises = np.diff(amps[order]) > ALIKE_SHARE * amps[order][1:]
    number = np.concatenate(([0], np.cumsum(rises)))
    steps = np.empty(amps.size, dtype=np.intp)
    steps[order] = number
    return [int(step) for step in steps]


def _pieces(current: Series, start_s: float, end_s: float) -> list[_Piece]:
    times_s, amps = _blocks(current, start_s, end_s)
    if amps.size < 2:
        return []
    scatter = float(np.median(np.abs(np.diff(amps))))
    least_a = max(STEP_A, STEP_SCATTER * scatter)
    found, first = [], 0
    for place in range(1, amps.size + 1):
        mean = float(np.median(amps[first:place]))
        over = place == amps.size
        if over or abs(amps[place] - mean) > max(least_a, STEP_SHARE * abs(mean)):
            begin_s = float(times_s[first]) + EDGE_S
            end_s = float(times_s[place - 1]) + BLOCK_S - EDGE_S
            if end_s - begin_s >= SHORTEST_S:
                found.append(_Piece(begin_s, end_s, mean))
            first = place
    return found


def _blocks(current: Series, start_s: float, end_s: float) -> tuple[Array, Array]:
    """Starts and means of short blocks, those without a reading left out."""
    good = np.isfinite(current.value_si)
    times_s, value = current.t_s[good], current.value_si[good]
    inside = (times_s >= start_s) & (times_s < end_s)
    times_s, value = times_s[inside], value[inside]
    if not times_s.size:
        return np.zeros(0), np.zeros(0)
    number = ((times_s - start_s) / BLOCK_S).astype(np.intp)
    count = np.bincount(number)
    sums = np.bincount(number, weights=value)
    used = np.flatnonzero(count)
    means = np.asarray(sums[used] / count[used], dtype=np.float64)
    return np.asarray(start_s + used * BLOCK_S, dtype=np.float64), means

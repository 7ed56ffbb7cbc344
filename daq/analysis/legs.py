"""What changed between one leg of a run and the next.

The way up and the way down, or a first and a second pass over the levels in
shuffled order. Hysteresis of the cell, heat and a sagging pack all show as a
difference between the legs at one throttle. Scale factors hardly matter to it,
zeros cancel in part; the sources that plateaus share see to that. Nothing here
says which of the causes it was.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from daq.analysis.measured import Measured
from daq.analysis.series import Array

#: Throttles closer than this are one level: a hundredth of a percent is the
#: smallest step that can be commanded.
SAME_THROTTLE = 5e-5
#: Which leg is compared with which: the earlier of a run, and the later.
PAIRS = (("up", "down"), ("first", "second"))


class Legged(Protocol):
    """What has values at throttles on legs: plateaus, or the bins of a glide."""

    @property
    def throttle_frac(self) -> Array:
        """Throttle of each, shape (n,)."""

    @property
    def leg(self) -> tuple[str, ...]:
        """Leg of each, n of them."""


@dataclass(frozen=True, slots=True)
class UpDown:
    """What a channel read on the earlier leg less what it read on the later one.

    Attributes:
        channel: Channel, or ``power``.
        throttle_frac: Levels met on both legs, shape (m,).
        difference: Earlier less later at each, with what cancels cancelled.
        relative: Mean of difference over value, one value; None if a value is
            not above zero.
        mean: Mean difference, one value.
    """

    channel: str
    throttle_frac: Array
    difference: Measured
    mean: Measured
    relative: Measured | None


def up_down(legged: Legged, channels: Mapping[str, Measured]) -> tuple[UpDown, ...]:
    """Differences between the legs at the levels that both have.

    Args:
        legged: The averaged run.
        channels: What to compare, by name.

    Returns:
        One for each channel that has a level on both legs.
    """
    pairs = level_pairs(legged)
    found: list[UpDown] = []
    for name, measured in channels.items():
        usable = [
            (up, down)
            for up, down in pairs
            if np.isfinite(measured.value[[up, down]]).all()
        ]
        if usable:
            found.append(_compare(name, measured, usable, legged))
    return tuple(found)


def level_pairs(legged: Legged) -> list[tuple[int, int]]:
    """Pairs at one throttle, the earlier leg's first."""
    return [pair for legs in PAIRS for pair in _level_pairs(legged, *legs)]


def _level_pairs(legged: Legged, earlier: str, later: str) -> list[tuple[int, int]]:
    """Pairs at one throttle, one of each leg, whatever the order of the walk."""
    throttle = legged.throttle_frac
    pairs: list[tuple[int, int]] = []
    left = [i for i, leg in enumerate(legged.leg) if leg == later]
    for one, leg in enumerate(legged.leg):
        if leg != earlier:
            continue
        apart = [(abs(throttle[i] - throttle[one]), i) for i in left]
        if apart and min(apart)[0] < SAME_THROTTLE:
            chosen = min(apart)[1]
            left.remove(chosen)
            pairs.append((one, chosen))
    return pairs


def _compare(
    name: str,
    measured: Measured,
    pairs: Sequence[tuple[int, int]],
    legged: Legged,
) -> UpDown:
    used = np.array(pairs, dtype=np.intp)
    taken = measured.take(used.ravel())
    count = used.shape[0]
    matrix = np.zeros((count, 2 * count))
    rows = np.arange(count)
    matrix[rows, 2 * rows] = 1.0
    matrix[rows, 2 * rows + 1] = -1.0
    middle = (taken.value[0::2] + taken.value[1::2]) / 2
    relative = None
    if np.all(middle > 0):
        # d(u - v)/m with m = (u + v)/2: gain errors cancel to first order.
        weights = np.zeros((1, 2 * count))
        weights[0, 0::2] = taken.value[1::2] / middle**2 / count
        weights[0, 1::2] = -taken.value[0::2] / middle**2 / count
        share = float(((taken.value[0::2] - taken.value[1::2]) / middle).mean())
        relative = Measured(np.array([share]), taken.mapped(weights).sources)
    return UpDown(
        channel=name,
        throttle_frac=legged.throttle_frac[used[:, 0]],
        difference=taken.mapped(matrix),
        mean=taken.mapped(matrix.mean(axis=0, keepdims=True)),
        relative=relative,
    )

"""What changed between the way up and the way down.

Hysteresis of the cell, heat and a sagging pack all show as a difference between
the legs at one throttle. Scale factors hardly matter to it, zeros cancel in
part; the sources that plateaus share see to that. Nothing here says which of
the causes it was.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from daq.analysis.measured import Measured
from daq.analysis.plateaus import Plateaus
from daq.analysis.series import Array

#: Throttles closer than this are one level: a hundredth of a percent is the
#: smallest step that can be commanded.
SAME_THROTTLE = 5e-5


@dataclass(frozen=True, slots=True)
class UpDown:
    """What a channel read on the way up less what it read on the way down.

    Attributes:
        channel: Channel, or ``power``.
        throttle_frac: Levels met on both legs, shape (m,).
        difference: Up less down at each, with what cancels cancelled.
        relative: Mean of difference over value, one value; None if a value is
            not above zero.
        mean: Mean difference, one value.
    """

    channel: str
    throttle_frac: Array
    difference: Measured
    mean: Measured
    relative: Measured | None


def up_down(plateaus: Plateaus, channels: Mapping[str, Measured]) -> tuple[UpDown, ...]:
    """Differences between the legs at the levels that both have.

    Args:
        plateaus: The averaged run.
        channels: What to compare, by name.

    Returns:
        One for each channel that has a level on both legs.
    """
    pairs = _level_pairs(plateaus)
    found: list[UpDown] = []
    for name, measured in channels.items():
        usable = [
            (up, down)
            for up, down in pairs
            if np.isfinite(measured.value[[up, down]]).all()
        ]
        if usable:
            found.append(_compare(name, measured, usable, plateaus))
    return tuple(found)


def _level_pairs(plateaus: Plateaus) -> list[tuple[int, int]]:
    pairs: list[tuple[int, int]] = []
    down = [i for i, leg in enumerate(plateaus.leg) if leg == "down"]
    for up, leg in enumerate(plateaus.leg):
        if leg != "up":
            continue
        apart = [
            (abs(plateaus.throttle_frac[i] - plateaus.throttle_frac[up]), i)
            for i in down
        ]
        if apart and min(apart)[0] < SAME_THROTTLE:
            chosen = min(apart)[1]
            down.remove(chosen)
            pairs.append((up, chosen))
    return pairs


def _compare(
    name: str,
    measured: Measured,
    pairs: Sequence[tuple[int, int]],
    plateaus: Plateaus,
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
        throttle_frac=plateaus.throttle_frac[used[:, 0]],
        difference=taken.mapped(matrix),
        mean=taken.mapped(matrix.mean(axis=0, keepdims=True)),
        relative=relative,
    )

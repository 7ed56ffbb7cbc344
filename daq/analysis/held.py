"""Where the throttle was held, read off a throttle that was recorded.

For runs that nobody here walked: a plan says when a level began, a log does not. Arrays
in, stretches out; what is held too short or wanders is no level. Nothing here reads a
sensor: a level is what was commanded, and whether it settled is judged elsewhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

WANDER_FRAC: Final = 0.004  # printed in whole microseconds: four of a thousand
REST_FRAC: Final = 0.02
LEAST_S: Final = 1.5
SETTLE_S: Final = 0.6
GAP_PERIODS: Final = 10  # nothing for so long: it may have been anywhere meanwhile


@dataclass(frozen=True, slots=True)
class Level:
    """One stretch of held throttle.

    Attributes:
        leg: up, down, or rest with the motor off.
        step: index among the levels, from the lowest; -1 at rest.
        throttle_frac: throttle, 0 to 1.
        start_s: when it was reached.
        end_s: when it was left.
    """

    leg: str
    step: int
    throttle_frac: float
    start_s: float
    end_s: float


def find_levels(
    time_s: NDArray[np.float64], throttle_frac: NDArray[np.float64]
) -> list[Level]:
    """The stretches where throttle was held for ``LEAST_S`` at least.

    Args:
        time_s: shape (n,), rising.
        throttle_frac: shape (n,), 0 to 1.

    Returns:
        In order; consecutive ones differ in throttle, or have a gap between them.
    """
    held = [
        (float(np.median(throttle_frac[a:b])), float(time_s[a]), float(time_s[b - 1]))
        for a, b in _runs(time_s, throttle_frac)
        if time_s[b - 1] - time_s[a] >= LEAST_S
    ]
    driven = sorted({_rounded(frac) for frac, _, _ in held if frac >= REST_FRAC})
    levels = []
    for number, (frac, start_s, end_s) in enumerate(held):
        if frac < REST_FRAC:
            levels.append(Level("rest", -1, 0.0, start_s, end_s))
            continue
        step = driven.index(_rounded(frac))
        leg = _leg([f for f, _, _ in held], number)
        levels.append(Level(leg, step, frac, start_s, end_s))
    return levels


def _runs(
    time_s: NDArray[np.float64], throttle_frac: NDArray[np.float64]
) -> list[tuple[int, int]]:
    """Index ranges in which throttle stays where it was when they began."""
    if time_s.size == 0:
        return []
    steps_s = np.diff(time_s)
    gap_s = GAP_PERIODS * float(np.median(steps_s)) if steps_s.size else np.inf
    found, begin = [], 0
    for i in range(1, time_s.size):
        moved = abs(throttle_frac[i] - throttle_frac[begin]) > WANDER_FRAC
        if moved or steps_s[i - 1] > gap_s:
            found.append((begin, i))
            begin = i
    return [*found, (begin, time_s.size)]


def _leg(held: Sequence[float], number: int) -> str:
    """Up or down: from the level before it, or after a rest by the one that follows."""
    frac = held[number]
    before = held[number - 1] if number else 0.0
    if before >= REST_FRAC and abs(before - frac) > WANDER_FRAC:
        return "up" if before < frac else "down"
    after = held[number + 1] if number + 1 < len(held) else 0.0
    falls = REST_FRAC <= after < frac - WANDER_FRAC
    return "down" if falls else "up"


def _rounded(frac: float) -> float:
    """To half a percent, so that a level seen twice is one."""
    return round(200 * frac) / 200

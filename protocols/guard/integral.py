"""A quantity summed over the time between its readings, gaps counted high."""

import math

# Readings further apart than this leave a gap. Three samples of a slow stand.
GAP_S = 0.1


def step(before: float, after: float, elapsed_s: float) -> float:
    """The integral from one reading to the next.

    The trapezoid rule; over a gap the higher of both ends, since nobody saw what
    was in between.
    """
    if elapsed_s > GAP_S:
        return max(before, after) * elapsed_s
    return 0.5 * (before + after) * elapsed_s


class Integral:
    """Of what cannot be negative, such as the charge that leaves a pack.

    Attributes:
        total: so far.
    """

    def __init__(self) -> None:
        self.total = 0.0
        self._before = self._before_s = math.inf

    def take(self, value: float, now_s: float) -> float:
        """Add up to this reading; returns the total. NaN is a gap."""
        if not math.isfinite(value):
            return self.total
        value = max(value, 0.0)
        elapsed_s = now_s - self._before_s
        if elapsed_s > 0:  # the first reading begins it
            self.total += step(self._before, value, elapsed_s)
        self._before, self._before_s = value, now_s
        return self.total

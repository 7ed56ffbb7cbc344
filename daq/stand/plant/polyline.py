"""Straight lines between points, made for walking along them slowly.

The plant asks for values that move little from step to step, so the segment
in use is remembered and the search happens only when it is left. Never used
for fitting.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise


class Polyline:
    """Piecewise linear y(x).

    Attributes:
        low: x where the segment in use begins.
        high: x where the segment in use ends.
        base: y of its line at x = 0.
        slope: dy/dx on it.
    """

    __slots__ = ("_extend_below", "_xs", "_ys", "base", "high", "low", "slope")

    def __init__(
        self, xs: Sequence[float], ys: Sequence[float], *, extend_below: bool = False
    ) -> None:
        """Take the points.

        Args:
            xs: strictly increasing; one point makes a constant.
            ys: as many values.
            extend_below: below the first point follow the first line on instead
                of holding the first value. Above the last point y is held.

        Raises:
            ValueError: the points do not make a line.
        """
        if len(xs) != len(ys) or not xs:
            raise ValueError(f"{len(xs)} x values for {len(ys)} y values")
        if any(not a < b for a, b in pairwise(xs)):
            raise ValueError("x values must increase strictly")
        self._xs = tuple(xs)
        self._ys = tuple(ys)
        self._extend_below = extend_below and len(xs) > 1
        self.low = self.high = self.base = self.slope = 0.0
        self.seek(xs[0])

    def seek(self, x: float) -> None:
        """Make the segment that holds ``x`` the one in use."""
        xs, ys = self._xs, self._ys
        right = bisect_right(xs, x)
        if right == len(xs):
            self._use(xs[-1], math.inf, ys[-1], 0.0)
            return
        if right == 0 and not self._extend_below:
            self._use(-math.inf, xs[0], ys[0], 0.0)
            return
        low = -math.inf if right == 0 else xs[right - 1]
        right = max(right, 1)
        slope = (ys[right] - ys[right - 1]) / (xs[right] - xs[right - 1])
        self._use(low, xs[right], ys[right] - slope * xs[right], slope)

    def _use(self, low: float, high: float, base: float, slope: float) -> None:
        self.low, self.high, self.base, self.slope = low, high, base, slope

    def at(self, x: float) -> float:
        """The value at ``x``."""
        if not self.low <= x < self.high:
            self.seek(x)
        return self.base + self.slope * x

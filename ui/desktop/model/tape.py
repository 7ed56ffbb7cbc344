"""The last hour of one channel, ready to be drawn at any zoom.

Readings are kept as the lowest and highest of short spans, so that no spike is lost
and a redraw costs the same after an hour as after a second. Memory is set aside once.
It must never show a reading that did not come: where nothing came there is a gap.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

SPAN_S: Final = 0.02
KEPT_S: Final = 3600.0
_SPANS: Final = round(KEPT_S / SPAN_S)


class Tape:
    """One channel.

    Attributes:
        newest: its newest reading; NaN before the first.
        newest_s: when that came; -inf before the first.
    """

    def __init__(self) -> None:
        self.newest = math.nan
        self.newest_s = -math.inf
        self._low = np.full(_SPANS, np.nan, dtype=np.float32)
        self._high = np.full(_SPANS, np.nan, dtype=np.float32)
        self._span = -1  # number of the span that is being filled, from time zero
        self._least = self._most = math.nan

    def add(self, time_s: float, value: float) -> None:
        """One reading; times rise, NaN is none."""
        if value != value:  # NaN; isnan() is a call, and this is called for everything
            return
        span = int(time_s / SPAN_S)
        if span > self._span:
            self._turn_to(span)
            self._least = self._most = value
        elif span == self._span:
            if value < self._least:
                self._least = value
            elif value > self._most:
                self._most = value
        else:
            return  # from before: a stand that began again, or a line out of order
        place = span % _SPANS
        self._low[place], self._high[place] = self._least, self._most
        self.newest, self.newest_s = value, time_s

    def _turn_to(self, span: int) -> None:
        """Begin a span; what lies between it and the last one is a gap."""
        skipped = span - self._span - 1
        if self._span >= 0 and skipped > 0:
            if skipped >= _SPANS:
                self._low[:] = self._high[:] = np.nan
            else:
                gap = (np.arange(skipped) + self._span + 1) % _SPANS
                self._low[gap] = self._high[gap] = np.nan
        self._span = span

    def forget(self) -> None:
        """Begin anew, as for another stand."""
        self.newest, self.newest_s = math.nan, -math.inf
        self._low[:] = self._high[:] = np.nan
        self._span = -1

    def columns(
        self, now_s: float, window_s: float, most: int
    ) -> tuple[NDArray[np.float64], NDArray[np.float32], NDArray[np.float32]]:
        """Lowest and highest of at most so many columns of the last while.

        Columns keep their place in time from one call to the next, so that a curve
        that moves on does not shimmer.

        Args:
            now_s: this moment.
            window_s: how far back to look, at most ``KEPT_S``.
            most: columns at most.

        Returns:
            Shape (n,) each: seconds ago (rising, negative), lowest, highest; NaN where
            nothing came.
        """
        last = int(now_s / SPAN_S)
        spans = min(max(1, math.ceil(window_s / SPAN_S)), _SPANS - 1)
        width = max(1, math.ceil(spans / most))
        first = (last - spans + 1) // width * width
        low, high = self._at(first, last, self._low), self._at(first, last, self._high)
        groups = np.arange(0, low.size, width)
        with np.errstate(invalid="ignore"):
            low, high = np.fmin.reduceat(low, groups), np.fmax.reduceat(high, groups)
        middles = first + groups.astype(np.float64) + 0.5 * min(width, last - first + 1)
        return middles * SPAN_S - now_s, low, high

    def _at(
        self, first: int, last: int, ring: NDArray[np.float32]
    ) -> NDArray[np.float32]:
        """Those spans; NaN for what is not kept any more, or not yet."""
        found = np.full(last - first + 1, np.nan, dtype=np.float32)
        begin = max(first, self._span - _SPANS + 1, 0)
        end = min(last, self._span) + 1
        while begin < end:  # twice at most: the ring ends somewhere
            place = begin % _SPANS
            number = min(end - begin, _SPANS - place)
            at = begin - first
            found[at : at + number] = ring[place : place + number]
            begin += number
        return found

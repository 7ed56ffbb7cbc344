"""Whether the motor's supply is seen on, or seen off, and for how long.

Not known is neither: no reading, an old one or one that is no number. Both
answers need readings that agreed for a while, since a plug bounces.
"""

import math
from typing import Final

from daq.link import messages as m
from daq.link.session import Sampled, Stand

NAME: Final = "voltage"
OFF_V: Final = 1.0  # below it nothing can turn; stands prove below it too
SETTLED_S: Final = 0.3
MAX_GAP_S: Final = 0.1


class SupplyWatch:
    """Follows the voltage of the bus behind the arming plug."""

    def __init__(self, stand: Stand, max_gap_s: float = MAX_GAP_S) -> None:
        """Begin.

        Args:
            stand: who is there.
            max_gap_s: readings further apart than this do not agree; at least 0.1 s.
        """
        self._max_gap_s = max(MAX_GAP_S, max_gap_s)
        page = stand.channel(NAME)
        is_voltage = page is not None and page.quantity is m.Quantity.VOLTAGE
        self._page = page if is_voltage else None
        self._is_on: bool | None = None
        self._since_s = self._heard_s = -math.inf

    def take(self, sampled: Sampled, now_s: float) -> None:
        """A sample came at ``now_s``."""
        page = self._page
        if page is None or page not in sampled.layout.channels:
            return
        value_v = page.to_si(sampled.counts[sampled.layout.channels.index(page)])
        is_on = None if not math.isfinite(value_v) else value_v >= OFF_V
        if is_on is not self._is_on or now_s - self._heard_s > self._max_gap_s:
            self._is_on, self._since_s = is_on, now_s
        self._heard_s = now_s

    @property
    def visible(self) -> bool:
        """Whether there is a voltage to see it by."""
        return self._page is not None

    def seen_off(self, now_s: float) -> bool:
        """Whether it is known to be off, and has been for a while."""
        return self._settled(now_s) and self._is_on is False

    def seen_on(self, now_s: float) -> bool:
        """Whether it is known to be on, and has been for a while."""
        return self._settled(now_s) and self._is_on is True

    def _settled(self, now_s: float) -> bool:
        fresh = now_s - self._heard_s <= self._max_gap_s
        return fresh and self._heard_s - self._since_s >= SETTLED_S

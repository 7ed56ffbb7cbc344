"""What a stand's readings say now, and how often they really come.

A stand states how often; whether it is so shows only by counting. Nothing here prints.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from daq.link.session import Sampled

SLOW_SHARE = 0.8
COUNTED = 20  # readings that were to come, before their rate is judged


@dataclass(slots=True)
class Heard:
    """Readings since the last look.

    Attributes:
        newest: newest reading of each channel, in SI units.
    """

    newest: dict[str, float] = field(default_factory=dict)
    _counts: dict[str, int] = field(default_factory=dict)
    _stated_hz: dict[str, float] = field(default_factory=dict)
    _since_s: float | None = None

    def take(self, sampled: Sampled) -> None:
        """One sample of a stream."""
        layout = sampled.layout
        for page, count in zip(layout.channels, sampled.counts, strict=True):
            self.newest[page.name] = page.to_si(count)
            self._counts[page.name] = self._counts.get(page.name, 0) + 1
            self._stated_hz[page.name] = 1e6 / layout.page.period_us

    def slow(self, now_s: float) -> dict[str, tuple[float, float]]:
        """Channels that come more slowly than stated; counts anew from now on.

        Args:
            now_s: host time.

        Returns:
            Readings a second, real and stated, by channel.
        """
        since_s, self._since_s = self._since_s, now_s
        counts, self._counts = self._counts, {}
        if since_s is None or now_s <= since_s:
            return {}
        passed_s = now_s - since_s
        return {
            name: (counts.get(name, 0) / passed_s, stated_hz)
            for name, stated_hz in self._stated_hz.items()
            if stated_hz * passed_s >= COUNTED
            and counts.get(name, 0) < SLOW_SHARE * stated_hz * passed_s
        }

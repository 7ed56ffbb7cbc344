"""The newest fast capture of a stand, while its blocks come in.

Fed with happenings like the tapes. Every sample that came is there to be drawn; what
was lost stays a gap. No clock, no port.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from daq.link.bursts import Blocks, Captured
from daq.link.messages import ChannelPage
from daq.link.session import BurstTold


@dataclass(frozen=True, slots=True)
class Glimpse:
    """One capture, as far as it has come.

    Attributes:
        number: of the capture.
        channel: what was captured.
        period_s: from one sample to the next.
        t_s: seconds from the trigger, shape (n,).
        value_si: shape (n,); NaN where there is no sample.
        came: samples that came.
    """

    number: int
    channel: str
    period_s: float
    t_s: NDArray[np.float64]
    value_si: NDArray[np.float64]
    came: int

    @property
    def whole(self) -> bool:
        """Whether every sample came."""
        return self.came == self.t_s.size


class Glimpses:
    """Blocks of captures as they come; the newest capture is kept."""

    def __init__(self) -> None:
        self._pages: dict[int, ChannelPage] = {}
        self._blocks: Blocks | None = None
        self._number: int | None = None
        self._newest: Glimpse | None = None

    def know(self, pages: tuple[ChannelPage, ...]) -> None:
        """What the stand measures, by the index that blocks give."""
        self._pages = {page.index: page for page in pages}

    def take(self, told: BurstTold) -> None:
        """A block came."""
        block = told.block
        page = self._pages.get(block.channel)
        if page is None:
            return
        if block.number != self._number or self._blocks is None:
            self._number, self._blocks = block.number, Blocks(block.number, page)
        if self._blocks.take(block, told.device_s):
            self._newest = None  # worked out again when it is looked at

    @property
    def newest(self) -> Glimpse | None:
        """The newest capture as far as it came; None before any."""
        if self._newest is None and self._blocks is not None:
            result = self._blocks.result()
            if isinstance(result, Captured) and self._number is not None:
                self._newest = _glimpse(self._number, result)
        return self._newest


def _glimpse(number: int, found: Captured) -> Glimpse:
    page = found.channel
    value_si = np.array(
        [np.nan if count is None else page.to_si(count) for count in found.counts]
    )
    lost = sum(last - first + 1 for first, last in found.lost)
    return Glimpse(
        number=number,
        channel=page.name,
        period_s=found.period_s,
        t_s=np.array(found.times_s),
        value_si=value_si,
        came=len(found.counts) - lost,
    )

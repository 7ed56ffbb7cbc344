"""A stand whose own protection can be put to sleep, so that the host's is timed."""

from collections.abc import Callable
from typing import Final

from typing_extensions import override

from daq.stand.device import FAST
from daq.stand.faults.stand import FaultyStand

OVER_COUNTS: Final = 30_000


class Asleep(FaultyStand):
    """The stand.

    Attributes:
        asleep: its own limits do nothing.
        over: its current reads beyond any limit.
        went: a reading beyond it has been sampled.
    """

    asleep = False
    over = False
    went = False

    @override
    def _protect(self) -> None:
        if not self.asleep:
            super()._protect()

    @override
    def _sample(
        self, stream: int, pack: Callable[..., bytes], counts: tuple[int, ...]
    ) -> None:
        if stream == FAST and self.over:
            counts = (OVER_COUNTS, *counts[1:])
            self.went = True
        super()._sample(stream, pack, counts)

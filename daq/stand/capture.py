"""A fast capture on the simulated stand: what its converter takes, around a trigger.

A sample is a single conversion, at a period that the converter can do. Where the plant
knows nothing within its steps that is one a step; nothing is drawn in between.
"""

from collections import deque

from daq.link import messages as m
from daq.link.timing import WRAP_US
from daq.stand.plant.conversions import Converter

CAPTURED = ("current", "voltage")
ROOM = 1_000
"""Samples: a second of it at the slowest."""

TOP = m.NO_SAMPLE - 1
NANOSECONDS = 1_000


class BurstMaker:
    """One capture, from the command to its last block.

    Attributes:
        asked: the command.
        name: of the channel.
        period_us: from one sample to the next.
        due_us: device time of the next sample.
        over: whether all samples are taken, or it gave up.
        sent: whether every block was handed out.
    """

    def __init__(
        self, asked: m.Capture, name: str, converter: Converter, now_us: int
    ) -> None:
        """Begin.

        Args:
            asked: the command.
            name: of the channel.
            converter: what takes the samples.
            now_us: device time of the command.
        """
        self.asked = asked
        self.name = name
        self.over = self.sent = False
        self.period_us = converter.nearest_us(asked.period_ns / NANOSECONDS)
        self.due_us = now_us + self.period_us
        self._grain = converter.step_counts
        self._total = min(asked.count, ROOM)
        self._before = asked.before * self._total // asked.count
        self._counts: deque[int | None] = deque()
        self._last: int | None = None  # the newest reading
        self._trigger_us: int | None = None
        self._end_us = now_us + asked.patience_ms * 1_000
        self._gave_up_us = 0
        self._told = 0
        self._samples = b""
        self._scale = (0, 1)

    def take(self, count: int | None) -> None:
        """The sample that was due, None where there is no reading."""
        at_us, self.due_us = self.due_us, self.due_us + self.period_us
        if self.over:
            return
        self._counts.append(count)
        if self._trigger_us is None:
            if len(self._counts) > self._before and self._triggers(count):
                self._trigger_us = at_us
            elif len(self._counts) > self._before:
                self._counts.popleft()  # only the newest are kept
        if count is not None:
            self._last = count
        if self._trigger_us is not None and len(self._counts) == self._total:
            self._end()

    def _end(self) -> None:
        """All are there: in bytes, as fine as can be."""
        self.over = True
        counts = [c for c in self._counts if c is not None]
        base, step = self._scale = _scale(counts, self._grain)
        self._samples = bytes(
            m.NO_SAMPLE if count is None else round((count - base) / step)
            for count in self._counts
        )

    def look(self, now_us: int) -> None:
        """No trigger yet: not for ever."""
        if self._trigger_us is None and now_us >= self._end_us:
            self.over = True
            self._gave_up_us = now_us

    def _triggers(self, count: int | None) -> bool:
        asked, last = self.asked, self._last
        if asked.trigger is m.Trigger.AT_ONCE:
            return True
        if count is None or last is None:
            return False
        if asked.trigger is m.Trigger.RISING:
            return last < asked.level <= count
        return last > asked.level >= count

    def next_block(self) -> m.Burst:
        """The next block; only once it is over, and until all are sent."""
        if self._trigger_us is None:
            self.sent = True
            return self._block(0, 0, 0, self._gave_up_us, b"")
        first = self._told
        samples = self._samples[first : first + m.Burst.MOST]
        self._told += len(samples)
        self.sent = self._told == self._total
        return self._block(first, self._total, self._before, self._trigger_us, samples)

    def _block(
        self, first: int, total: int, trigger: int, time_us: int, samples: bytes
    ) -> m.Burst:
        base, step = self._scale
        return m.Burst(
            number=self.asked.number,
            channel=self.asked.channel,
            first=first,
            total=total,
            trigger=trigger,
            time_us=time_us % WRAP_US,
            period_ns=self.period_us * NANOSECONDS,
            base=base,
            step=step,
            samples=samples,
        )


def _scale(counts: list[int], grain: int) -> tuple[int, int]:
    """Base and step with which all of them fit into a byte, in whole conversions."""
    if not counts:
        return 0, grain
    low, high = min(counts), max(counts)
    return low, grain * max(1, -(-(high - low) // (TOP * grain)))

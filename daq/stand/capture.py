"""A fast capture on the simulated stand: one sample a step of its plant.

The physics moves in steps of a millisecond, so that is what is told: one reading of the
sensor a step, nothing drawn in between. A real converter takes many more.
"""

from daq.link import messages as m
from daq.link.timing import WRAP_US

CAPTURED = ("current", "voltage")
ROOM = 1_000
"""Samples: a second of it."""

TOP = m.NO_SAMPLE - 1


class BurstMaker:
    """One capture, from the command to its last block.

    Attributes:
        asked: the command.
        name: of the channel.
        over: whether all samples are taken, or it gave up.
        sent: whether every block was handed out.
    """

    def __init__(
        self, asked: m.Capture, name: str, period_us: int, now_us: int
    ) -> None:
        """Begin.

        Args:
            asked: the command.
            name: of the channel.
            period_us: from one ``take`` to the next.
            now_us: device time of the command.
        """
        self.asked = asked
        self.name = name
        self.over = self.sent = False
        self._period_us = period_us
        self._total = min(asked.count, ROOM)
        self._before = asked.before * self._total // asked.count
        self._counts: list[int | None] = []
        self._last: int | None = None  # the newest reading
        self._trigger_us: int | None = None
        self._end_us = now_us + asked.patience_ms * 1_000
        self._gave_up_us = 0
        self._told = 0
        self._scale = (0, 1)

    def take(self, count: int | None, now_us: int) -> None:
        """The next sample, None where there is no reading."""
        self._counts.append(count)
        if self._trigger_us is None:
            if len(self._counts) > self._before and self._triggers(count):
                self._trigger_us = now_us
            else:
                self._wait(now_us)
        if count is not None:
            self._last = count
        if self._trigger_us is not None and len(self._counts) == self._total:
            self.over = True
            self._scale = _scale([c for c in self._counts if c is not None])

    def _wait(self, now_us: int) -> None:
        """No trigger yet: only the newest samples are kept, and not for ever."""
        if len(self._counts) > self._before:
            del self._counts[0]
        if now_us >= self._end_us:
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
        counts = self._counts[first : first + m.Burst.MOST]
        self._told += len(counts)
        self.sent = self._told == self._total
        samples = bytes(self._sample(count) for count in counts)
        return self._block(first, self._total, self._before, self._trigger_us, samples)

    def _sample(self, count: int | None) -> int:
        base, step = self._scale
        return m.NO_SAMPLE if count is None else round((count - base) / step)

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
            period_ns=self._period_us * 1_000,
            base=base,
            step=step,
            samples=samples,
        )


def _scale(counts: list[int]) -> tuple[int, int]:
    """Base and step with which all of them fit into a byte, as fine as can be."""
    if not counts:
        return 0, 1
    low, high = min(counts), max(counts)
    return low, max(1, -(-(high - low) // TOP))

"""Blocks of a fast capture put together, as far as they came.

Pure: happenings go in, one value comes out. What was lost on the line stays missing
and is said; nothing is drawn in between.
"""

from dataclasses import dataclass

from daq.link import messages as m

NANOSECOND_S = 1e-9


@dataclass(frozen=True, slots=True)
class Captured:
    """Many samples of one channel, close together.

    Attributes:
        channel: what was captured.
        period_s: from one sample to the next, by the stand's clock.
        trigger: index of the sample that triggered.
        trigger_device_s: device time of that sample, unwrapped.
        counts: a count of the channel for each sample; None where there is none.
        step_counts: counts between two neighbouring values that can be told.
        lost: spans of indices, first and last, whose blocks did not come.
        unread: samples that came and say that the stand had no reading then.
    """

    channel: m.ChannelPage
    period_s: float
    trigger: int
    trigger_device_s: float
    counts: tuple[int | None, ...]
    step_counts: int
    lost: tuple[tuple[int, int], ...]
    unread: int

    @property
    def times_s(self) -> tuple[float, ...]:
        """Seconds from the trigger, one for each sample."""
        period_s, trigger = self.period_s, self.trigger
        return tuple((n - trigger) * period_s for n in range(len(self.counts)))

    @property
    def span_s(self) -> float:
        """From the first sample to the last."""
        return (len(self.counts) - 1) * self.period_s

    @property
    def at_top(self) -> int:
        """Samples at the upper end of what the channel can tell: so much or more."""
        top = self.channel.high_counts - 2 * self.step_counts
        return sum(count is not None and count >= top for count in self.counts)

    @property
    def step_si(self) -> float:
        """What a step of the samples stands for, in the channel's SI unit."""
        return abs(self.step_counts / self.channel.counts_per_unit)


@dataclass(frozen=True, slots=True)
class NoTrigger:
    """The stand waited, and nothing came that it should have triggered on.

    Attributes:
        gave_up_device_s: device time when it gave up, unwrapped.
    """

    gave_up_device_s: float


class Blocks:
    """The blocks of one capture, as they come, some of them lost.

    Blocks of other captures, and blocks whose head differs from the first that came,
    are not this capture's and are left aside.
    """

    def __init__(self, number: int, channel: m.ChannelPage) -> None:
        self._number = number
        self._channel = channel
        self._head: m.Burst | None = None
        self._device_s = 0.0
        self._samples: list[int | None] = []

    def take(self, block: m.Burst, device_s: float) -> bool:
        """Take a block; whether it belongs to this capture."""
        if (block.number, block.channel) != (self._number, self._channel.index):
            return False
        if self._head is None:
            self._head, self._device_s = block, device_s
            self._samples = [None] * block.total
        elif _head(block) != _head(self._head):
            return False
        self._samples[block.first : block.first + len(block.samples)] = block.samples
        return True

    @property
    def whole(self) -> bool:
        """Whether nothing more can come."""
        return self._head is not None and None not in self._samples

    def result(self) -> Captured | NoTrigger | None:
        """What there is so far; None when not a single block has come."""
        head = self._head
        if head is None:
            return None
        if not head.total:
            return NoTrigger(self._device_s)
        came = [sample for sample in self._samples if sample is not None]
        return Captured(
            channel=self._channel,
            period_s=head.period_ns * NANOSECOND_S,
            trigger=head.trigger,
            trigger_device_s=self._device_s,
            counts=tuple(_count(sample, head) for sample in self._samples),
            step_counts=head.step,
            lost=_spans(self._samples),
            unread=came.count(m.NO_SAMPLE),
        )


def _head(block: m.Burst) -> tuple[int, ...]:
    """What all blocks of one capture have in common."""
    return (
        block.total,
        block.trigger,
        block.time_us,
        block.period_ns,
        block.base,
        block.step,
    )


def _count(sample: int | None, head: m.Burst) -> int | None:
    if sample is None or sample == m.NO_SAMPLE:
        return None
    return head.base + head.step * sample


def _spans(samples: list[int | None]) -> tuple[tuple[int, int], ...]:
    """First and last index of each stretch that did not come."""
    spans: list[tuple[int, int]] = []
    for index, sample in enumerate(samples):
        if sample is not None:
            continue
        if spans and spans[-1][1] == index - 1:
            spans[-1] = (spans[-1][0], index)
        else:
            spans.append((index, index))
    return tuple(spans)

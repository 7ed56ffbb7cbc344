"""Asks for a plan's fast captures while it is walked, one at a time.

A stand takes one capture at a time and sends it when its line has room, so they are
asked for one after the other, each only while the segment lasts that it is of: one
that would come too late is left out and said so, never taken of something else.
Nothing here decides about the motor: a capture that fails costs itself.
"""

import math
from collections.abc import Mapping
from typing import Final

from daq.link import messages as m
from daq.link.bursts import Blocks, Captured, NoTrigger
from daq.link.session import BurstTold
from protocols.captures import CaptureAsk, Trigger
from protocols.course import Course
from protocols.guard.now import Smooth
from protocols.readings import Scales

NANOSECONDS: Final = 1e9
TRIGGERS: Final[Mapping[Trigger, m.Trigger]] = {
    "at once": m.Trigger.AT_ONCE,
    "rise": m.Trigger.RISING,
    "fall": m.Trigger.FALLING,
}


class Captures:
    """Asks for a plan's captures while it is walked, one at a time."""

    def __init__(self, course: Course, asks: tuple[CaptureAsk, ...]) -> None:
        self._course = course
        self._asks = tuple(enumerate(asks, start=1))
        self._waiting: list[tuple[int, CaptureAsk]] = []
        self._under_way: int | None = None
        self._blocks: Blocks | None = None
        self._end_s = math.inf
        self._levels = {ask.channel: Smooth() for ask in asks}

    def heard(self, channel: str, value_si: float, now_s: float) -> None:
        """A reading of a channel; a rise or a fall counts from it."""
        level = self._levels.get(channel)
        if level is not None and math.isfinite(value_si):
            level.take(value_si, now_s)

    def entered(self, index: int) -> None:
        """A segment began: what is of it is due, what was of another is too late."""
        for number, ask in self._waiting:
            self._over(number, f"left out: the {ask.label} was over before its turn")
        self._waiting = [pair for pair in self._asks if pair[1].segment == index]

    def advance(self, scales: Scales, now_s: float) -> None:
        """Ask for the next one, or give up on one that does not come."""
        if self._under_way is not None and now_s >= self._end_s:
            self._end(self._blocks.result() if self._blocks else None)
        if self._under_way is None and self._waiting:
            self._ask(*self._waiting.pop(0), scales, now_s)

    @property
    def deadline_s(self) -> float:
        """When one that is under way has taken for too long."""
        return self._end_s

    def told(self, happening: BurstTold) -> None:
        """A block came."""
        if self._blocks is not None:
            self._blocks.take(happening.block, happening.device_s)
            if self._blocks.whole:
                self._end(self._blocks.result())

    def answered(self, command: m.Capture, verdict: m.Verdict | None) -> None:
        """A command was answered, or never was (None)."""
        if command.number != self._under_way or verdict is m.Verdict.DONE:
            return
        words = "not answered"
        if verdict is not None:
            words = f"refused: {verdict.name.lower().replace('_', ' ')}"
        self._over(command.number, words)

    def _ask(self, number: int, ask: CaptureAsk, scales: Scales, now_s: float) -> None:
        course, stand = self._course, self._course.session.stand
        page = None if stand is None else stand.channel(ask.channel)
        if stand is None or page is None:
            self._over(number, f"left out: the stand has no {ask.channel}")
            return
        level = self._level(ask, page, scales)
        if level is None:
            self._over(number, "left out: its trigger is beyond what the channel tells")
            return
        course.note(
            "capture",
            number=number,
            label=ask.label,
            segment=ask.segment,
            channel=ask.channel,
            samples=ask.samples,
            period_s=ask.period_s,
            trigger=ask.trigger,
            by_si=ask.by_si,
            level_counts=level,
            patience_s=ask.patience_s,
            device_s=course.device_s(now_s),
        )
        self._under_way, self._blocks = number, Blocks(number, page)
        self._end_s = now_s + ask.longest_s
        course.send(
            m.Capture(
                number=number,
                boot=stand.identity.boot,
                channel=page.index,
                period_ns=round(ask.period_s * NANOSECONDS),
                count=ask.samples,
                before=ask.before,
                trigger=TRIGGERS[ask.trigger],
                level=level,
                patience_ms=round(ask.patience_s * 1e3),
            ),
            now_s,
        )

    def _level(
        self, ask: CaptureAsk, page: m.ChannelPage, scales: Scales
    ) -> int | None:
        """The trigger's level in counts; None where no reading can be there."""
        if ask.trigger == "at once":
            return 0
        way = 1.0 if ask.trigger == "rise" else -1.0
        count = scales.count(
            ask.channel, self._levels[ask.channel].value + way * ask.by_si
        )
        if not math.isfinite(count):
            return None
        level = round(count)
        return level if page.low_counts < level < page.high_counts else None

    def _end(self, result: Captured | NoTrigger | None) -> None:
        """What was under way is over, as far as it came."""
        if self._under_way is None:
            return
        if result is None:
            self._over(self._under_way, "nothing came")
        elif isinstance(result, Captured):
            lost = sum(last - first + 1 for first, last in result.lost)
            words = f"{lost} samples lost on the line" if lost else "whole"
            self._over(self._under_way, words)
        else:
            self._over(self._under_way, "no trigger")

    def _over(self, number: int, result: str) -> None:
        self._course.note("captured", number=number, result=result)
        if number == self._under_way:
            self._under_way = self._blocks = None
            self._end_s = math.inf

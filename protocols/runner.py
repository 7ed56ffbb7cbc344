"""Walks a plan: which setpoint now, and which part of the plan this is.

Pure; it neither sends nor stops. The outermost layer stops the motor, so a
runner that raises or is dropped can leave nothing spinning.

A hold goes by readings and ends by itself; what follows it begins from the throttle
that it ended with, and the plan goes on as if it had lasted for as long as it may.
"""

from protocols.holding import End, Held, Holder
from protocols.plan import Plan, Segment


class Runner:
    """One walk through a plan.

    Attributes:
        plan: the plan.
        holder: what holds a thrust now; None in all other parts.
    """

    def __init__(self, plan: Plan, start_s: float) -> None:
        self.plan = plan
        self.holder: Holder | None = None
        self._start_s = start_s
        self._index = -1
        self._held: Held | None = None
        self._from_frac = 0.0

    def elapsed_s(self, now_s: float) -> float:
        """Seconds into the plan, what a hold left out counted as walked."""
        return now_s - self._start_s

    def reading(self, channel: str, value: float, now_s: float) -> None:
        """A reading, SI, arrived at ``now_s``: only a hold goes by it."""
        if self.holder is not None:
            self.holder.reading(channel, value, now_s)

    def setpoint(self, now_s: float) -> float:
        """Throttle fraction to hold now; zero at and after the end."""
        if self.holder is not None:
            return self.holder.throttle_frac
        elapsed_s = self.elapsed_s(now_s)
        index, segment, _ = self.plan.segment_at(elapsed_s)
        for hold in self.plan.segments[self._index + 1 : index + 1]:
            if hold.goal is not None:
                return hold.start_frac  # not entered yet: it begins with this
        if segment.goal is not None:
            return self._from_frac  # over, and what follows not entered yet
        throttle_frac = self.plan.setpoint_at(elapsed_s)
        if throttle_frac > 0 and self.plan.segments[index - 1].goal is not None:
            # Planned from the highest throttle of the hold, in as much time.
            return throttle_frac * (self._from_frac / segment.start_frac)
        return throttle_frac

    def finished(self, now_s: float) -> bool:
        """Whether the plan is at its end."""
        return self.elapsed_s(now_s) >= self.plan.duration_s

    def entered(self, now_s: float) -> list[tuple[int, Segment]]:
        """The segments that began since last asked, in order."""
        self._end_hold(now_s)
        first = self._index + 1
        while self._index + 1 < len(self.plan.segments):
            if self.holder is not None or not self._begun(self._index + 1, now_s):
                break
            self._index += 1
            self._begin_hold(self.plan.segments[self._index], now_s)
        return [(i, self.plan.segments[i]) for i in range(first, self._index + 1)]

    def held(self) -> Held | None:
        """What came of a hold that ended since last asked."""
        held, self._held = self._held, None
        return held

    @property
    def next_change_s(self) -> float:
        """When the next segment begins at the latest, or the plan ends."""
        return self._start_s + self._end_of(self._index)

    def _end_of(self, index: int) -> float:
        """Seconds from the start of the plan to the end of a segment."""
        following = index + 1
        if following < len(self.plan.segments):
            return self.plan.start_of(following)
        return self.plan.duration_s

    def _begun(self, index: int, now_s: float) -> bool:
        elapsed_s = self.elapsed_s(now_s)
        return self.finished(now_s) or elapsed_s >= self.plan.start_of(index)

    def _begin_hold(self, segment: Segment, now_s: float) -> None:
        if segment.goal is not None:
            self.holder = Holder(segment.goal, segment.start_frac, now_s)

    def _end_hold(self, now_s: float) -> None:
        """End a hold that has its reason, or has lasted for as long as it may."""
        if self.holder is None:
            return
        left_s = self._end_of(self._index) - self.elapsed_s(now_s)
        if self.holder.end is None and left_s > 0:
            return
        self._held = self.holder.over(End.LONGEST, now_s)
        self._from_frac = self._held.throttle_frac
        self.holder = None
        # Walked on from the end of the hold, be it early or a moment late.
        self._start_s = now_s - self._end_of(self._index)

"""Walks a plan: which setpoint now, and which part of the plan this is.

Pure; it neither sends nor stops. The outermost layer stops the motor, so a
runner that raises or is dropped can leave nothing spinning.
"""

from protocols.plan import Plan, Segment


class Runner:
    """One walk through a plan.

    Attributes:
        plan: the plan.
    """

    def __init__(self, plan: Plan, start_s: float) -> None:
        self.plan = plan
        self._start_s = start_s
        self._index = -1

    def elapsed_s(self, now_s: float) -> float:
        """Seconds since the walk began."""
        return now_s - self._start_s

    def setpoint(self, now_s: float) -> float:
        """Throttle fraction to hold now; zero at and after the end."""
        return self.plan.setpoint_at(self.elapsed_s(now_s))

    def finished(self, now_s: float) -> bool:
        """Whether the plan is at its end."""
        return self.elapsed_s(now_s) >= self.plan.duration_s

    def entered(self, now_s: float) -> list[tuple[int, Segment]]:
        """The segments that began since last asked, in order."""
        if self.finished(now_s):
            current = len(self.plan.segments) - 1
        else:
            current, _, _ = self.plan.segment_at(self.elapsed_s(now_s))
        begun = range(self._index + 1, current + 1)
        self._index = max(self._index, current)
        return [(index, self.plan.segments[index]) for index in begun]

    @property
    def next_change_s(self) -> float:
        """When the next segment begins, or the plan ends."""
        following = self._index + 1
        if following < len(self.plan.segments):
            return self._start_s + self.plan.start_of(following)
        return self._start_s + self.plan.duration_s

"""How a spin ends: stop, see it confirmed, look on for a moment, say how it was.

After a stop, of whatever cause, no throttle, arm or lock is said again. The stop is
repeated until the stand confirms it; what is not confirmed within a second is said
not to be.
"""

import math
from typing import Final

from daq.link import messages as m
from protocols import explain
from protocols.course import Course
from protocols.interlock import Input
from protocols.outcome import Data, Ended, Outcome
from protocols.phases import BEFORE_ARMING, OVER, Phase

STOP_REPEAT_S: Final = 0.02
STOP_PATIENCE_S: Final = 1.0
LINGER_S: Final = 0.5  # recorded after the stop, so that the record shows it


class Ending:
    """The end of one spin, whatever brings it about.

    Attributes:
        outcome: how it ended; None until it has.
        pending: how it is going to, once the stop is confirmed or given up.
        dwells: how many were walked to their end.
    """

    def __init__(self, course: Course) -> None:
        self._course = course
        self.outcome: Outcome | None = None
        self.pending: Outcome | None = None
        self.dwells = 0
        self._reason = m.StopReason.FAULT

    def stop(self, outcome: Outcome, reason: m.StopReason, now_s: float) -> None:
        """Throttle zero; from here on no throttle, arm or lock is sent."""
        course = self._course
        if course.phase in OVER:
            return
        if course.phase is Phase.RETREATING and self.pending is not None:
            outcome = self.pending  # what began the way down is why it ended
        course.note(
            "stop",
            ended=str(outcome.ended),
            cause=outcome.cause,
            device_s=course.device_s(now_s),
        )
        if course.phase in BEFORE_ARMING and course.interlock.state is m.State.LOCKED:
            # Known to be locked, and never asked to be anything else.
            self.finish(outcome, confirmed=True)
            return
        self.pending = outcome
        self._begin(reason, now_s)

    def stop_for(self, outcome: Outcome, now_s: float) -> None:
        """Stop because of a fault, whatever it was."""
        self.stop(outcome, m.StopReason.FAULT, now_s)

    def give_up(self, cause: str) -> None:
        """Nothing was armed, so there is nothing to stop."""
        self.finish(explain.ended(Ended.FAILED, cause, "not ready"), confirmed=True)

    def _begin(self, reason: m.StopReason, now_s: float) -> None:
        self._course.enter(Phase.STOPPING, now_s, STOP_PATIENCE_S)
        self._course.interlock.give(Input.STOPPED)
        self._reason = reason
        self.say_stop(now_s)

    def say_stop(self, now_s: float) -> None:
        """Say it, and again soon: frames get lost."""
        self._course.send(m.Stop(self._reason), now_s)
        self._course.next_send_s = now_s + STOP_REPEAT_S

    def turns_again(self, now_s: float) -> None:
        """A stand that had confirmed a stop says that it may turn."""
        self.pending = explain.armed_again()
        self._begin(m.StopReason.FAULT, now_s)

    def confirmed(self, now_s: float) -> None:
        """The stand said that it stopped."""
        if self.pending is not None:
            self._course.note("stop confirmed")
            self.linger(self.pending, now_s)

    def linger(self, outcome: Outcome, now_s: float) -> None:
        """Over; look on for a moment longer."""
        self._course.enter(Phase.LINGERING, now_s, LINGER_S)
        self.pending = outcome
        self._course.next_send_s = math.inf

    def time_is_up(self) -> None:
        """Stopping or lingering has lasted as long as it may."""
        if self.pending is not None:
            looked_on = self._course.phase is Phase.LINGERING
            self.finish(self.pending, confirmed=looked_on)

    def finish(self, outcome: Outcome, *, confirmed: bool) -> None:
        """The last word."""
        course = self._course
        course.phase = Phase.ENDED
        course.phase_end_s = course.next_send_s = math.inf
        data = Data.PARTIAL if self.dwells else Data.NONE
        if outcome.ended is Ended.COMPLETED:
            data = Data.WHOLE
        self.outcome = Outcome(
            outcome.ended,
            outcome.cause,
            outcome.check,
            outcome.advice,
            data,
            confirmed,
        )
        health = course.session.health
        course.note(
            "health",
            frames=health.frames,
            lost=health.lost,
            damaged=course.session.drops,
            malformed=health.malformed,
        )
        course.note("outcome", **self.outcome.to_dict())

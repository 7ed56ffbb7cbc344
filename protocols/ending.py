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
from protocols.guard.now import REST_SPEED_RAD_S
from protocols.guard.stopped import StoppedCheck, rest_current_a
from protocols.interlock import Input
from protocols.outcome import Data, Ended, Outcome
from protocols.phases import BEFORE_ARMING, MAY_TURN, OVER, Phase

STOP_REPEAT_S: Final = 0.02
STOP_PATIENCE_S: Final = 1.0
LINGER_S: Final = 0.5  # recorded after the stop, so that the record shows it
RUN_OUT_S: Final = 2.5  # the longest that a motor is watched running out
SAY_ON_S: Final = 0.25  # how often, where only sight tells that a stop was heard


class Ending:
    """The end of one spin, whatever brings it about.

    Attributes:
        outcome: how it ended; None until it has.
        pending: how it is going to, once the stop is confirmed or given up.
        parts: how many that are walked for their data were walked to their end.
        watch: whether the motor obeys the stop, by current and speed; None before
            anything could turn.
        ran_on: it was seen not to once; a small current is no sign of rest then.
    """

    def __init__(self, course: Course) -> None:
        self._course = course
        self.outcome: Outcome | None = None
        self.pending: Outcome | None = None
        self.parts = 0
        self.watch: StoppedCheck | None = None
        self.ran_on = False
        self._reason = m.StopReason.FAULT
        self._linger_end_s = math.inf
        self._say_on_s = -math.inf
        self._told_driven = False

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
            check=outcome.check,
            cause=outcome.cause,
            device_s=course.device_s(now_s),
        )
        locked = course.interlock.state is m.State.LOCKED
        if locked and course.phase in (*BEFORE_ARMING, Phase.LOADING):
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
        self._look_on(now_s)
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
        self.pending = explain.armed_again(self.pending)
        self._begin(m.StopReason.FAULT, now_s)

    def confirmed(self, now_s: float) -> None:
        """The stand said that it stopped, or was told to where it cannot say so."""
        if self.pending is not None:
            stands_in = self._course.session.stands_in
            self._course.note("stop told" if stands_in else "stop confirmed")
            self.linger(self.pending, now_s)

    def linger(self, outcome: Outcome, now_s: float) -> None:
        """Over; look on for a moment longer."""
        self._look_on(now_s)
        self._course.enter(Phase.LINGERING, now_s, LINGER_S)
        self._linger_end_s = now_s + RUN_OUT_S
        self.pending = outcome
        self._course.next_send_s = math.inf

    def _look_on(self, now_s: float) -> None:
        """From now on the motor has to come to rest."""
        if self.watch is None and self._course.phase in MAY_TURN:
            rest_a = rest_current_a(self._course.task.limits)
            self.watch = StoppedCheck(rest_a, now_s)

    def reading(self, channel: str, value: float, now_s: float) -> None:
        """A reading that came after the stop."""
        if self.watch is None:
            return
        self.watch.reading(channel, value, now_s)
        if self.watch.verdict(now_s) is False and not self._told_driven:
            self._told_driven = True
            self._course.note("still driven", **self._driven())

    def _driven(self, *, at_rest: bool = True) -> dict[str, object]:
        """Current and speed of a motor that runs on; those at rest only if wanted."""
        if self.watch is None:
            return {}
        rest_a = rest_current_a(self._course.task.limits)
        seen = {
            "current_a": (self.watch.current_a, rest_a),
            "speed_rad_s": (self.watch.speed_rad_s, REST_SPEED_RAD_S),
        }
        return {
            key: value if math.isfinite(value) and (at_rest or value > rest) else None
            for key, (value, rest) in seen.items()
        }

    def time_is_up(self, now_s: float) -> None:
        """Stopping or lingering has lasted as long as it should."""
        if self.pending is None:
            return
        if self._course.phase is Phase.STOPPING:
            self.finish(self.pending, confirmed=False)
            return
        stopped = self._stopped(now_s)
        # Where only sight tells, the stop may not have been heard yet.
        still = stopped is not True if self.needs_sight else stopped is None
        if self.watch is not None and still and now_s < self._linger_end_s:
            self._course.phase_end_s = min(now_s + 0.05, self._linger_end_s)
            self._course.moved()
            self._say_on(now_s)
            return
        if self.watch is not None:
            self._course.note("looked on", stopped=stopped)
        if stopped is False:
            self.pending = explain.runs_on(self.pending, **self._driven(at_rest=False))
        sight = self.needs_sight or self.ran_on
        confirmed = stopped is True if sight else stopped is not False
        self.finish(self.pending, confirmed=confirmed)

    @property
    def needs_sight(self) -> bool:
        """Whether only a motor seen at rest is one: no stand gives its word."""
        return self._course.session.stands_in and self.watch is not None

    def _say_on(self, now_s: float) -> None:
        """A stand that cannot say that it heard the stop is told again."""
        if not self.needs_sight or now_s < self._say_on_s:
            return
        self._say_on_s = now_s + SAY_ON_S
        stand = self._course.session.stand
        if stand is not None and self._course.interlock.state is m.State.LOCKED:
            self._course.send(m.Lock(stand.identity.boot), now_s)  # walked to its end
        else:
            self._course.send(m.Stop(self._reason), now_s)

    def _stopped(self, now_s: float) -> bool | None:
        """Whether the motor was seen to come to rest; None where nobody can tell."""
        if self.watch is None:
            return None
        stopped = self.watch.verdict(now_s)
        blind = self.ran_on and math.isnan(self.watch.speed_rad_s)
        return None if stopped and blind else stopped

    def finish(self, outcome: Outcome, *, confirmed: bool) -> None:
        """The last word."""
        course = self._course
        course.phase = Phase.ENDED
        course.phase_end_s = course.next_send_s = math.inf
        data = Data.PARTIAL if self.parts else Data.NONE
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

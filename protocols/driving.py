"""From armed to the end of the plan, with the guard watching every reading.

Sends the setpoint of the moment, renews the lease, and stops the moment the guard
says so. It never says anything once a stop was said; that is ``ending``'s.
"""

import math
from collections.abc import Iterable
from typing import Final

from daq.link import messages as m
from protocols import explain
from protocols.capturing import Captures
from protocols.course import Course
from protocols.ending import Ending
from protocols.guard.guard import Guard
from protocols.guard.trip import Action, Trip
from protocols.outcome import Ended
from protocols.phases import DRIVES, GUARDED, Phase
from protocols.readings import Scales
from protocols.retreat import Retreat
from protocols.runner import Runner

RENEW_S: Final = 0.025  # throttle is sent this often, eight times a 200 ms lease
LOCK_PATIENCE_S: Final = 1.0
ARM_PATIENCE_S: Final = 1.0
HOLDING_S: Final = 1.0  # so often the record says what a hold has come to


class Driving:
    """One walk through the plan, and whoever watches it.

    Attributes:
        guard: judges while something may turn; None before.
        captures: asks for the fast captures of the plan.
    """

    def __init__(self, course: Course, ending: Ending) -> None:
        self._course = course
        self._ending = ending
        self.guard: Guard | None = None
        self._runner: Runner | None = None
        self._retreat: Retreat | None = None
        self._link_told = (0, 0)
        self.captures = Captures(course, course.task.plan.captures)
        self._scales: Scales | None = None
        self._holding_s = math.inf

    # ------------------------------------------------------------- the guard

    def watch(self, scales: Scales, now_s: float) -> None:
        """A guard of its own for each armed spell."""
        task = self._course.task
        self.guard = Guard(
            scales.limits, task.rules, now_s, drives=not task.plan.by_hand
        )
        self._scales = scales

    @property
    def watched(self) -> Guard | None:
        """The guard, in the phases in which it judges."""
        return self.guard if self._course.phase in GUARDED else None

    def readings(self, values: Iterable[tuple[str, float]], now_s: float) -> None:
        """What one sample holds: the guard judges it, and a hold goes by it."""
        for channel, value in values:
            guard = self.watched
            if guard is None:
                return
            self.captures.heard(channel, value, now_s)
            if self.heed(guard.reading(channel, value, now_s), now_s):
                return
            if self._runner is not None and self._course.phase is Phase.RUNNING:
                self._runner.reading(channel, value, now_s)

    def judge_link(self, now_s: float) -> None:
        """Tell the guard what got through since it was last told."""
        health = self._course.session.health
        whole, lost = health.frames, health.lost + health.malformed
        new, gone = whole - self._link_told[0], lost - self._link_told[1]
        self._link_told = whole, lost
        if self.watched is not None:
            # A gap counted across a start may be taken back.
            self.heed(self.watched.link(new, max(gone, 0), now_s), now_s)

    def judge_time(self, now_s: float) -> None:
        """What the passing of time alone has brought about."""
        if self.watched is not None:
            self.heed(self.watched.judge(now_s), now_s)

    def heed(self, trip: Trip | None, now_s: float) -> bool:
        """Do what the guard says; whether that leaves nothing to watch."""
        if trip is None:
            return False
        if self._course.phase is Phase.LOADING:
            self._say_off(trip, now_s)
            return True
        course, ramps = self._course, trip.action is Action.RAMP_DOWN
        if ramps and course.phase is Phase.RETREATING:
            return False  # on its way down already
        course.note("trip", device_s=course.device_s(now_s), **trip.to_dict())
        outcome = explain.ended(Ended.TRIPPED, trip.cause, trip.check, trip.advice)
        if ramps and course.phase is Phase.RUNNING:
            self._ending.pending = outcome
            self._retreat = Retreat(self._setpoint(now_s), now_s)
            course.enter(Phase.RETREATING, now_s)
            self.drive(now_s)
        else:
            self._ending.stop(outcome, m.StopReason.GUARD, now_s)
        return course.phase not in GUARDED

    def _say_off(self, trip: Trip, now_s: float) -> None:
        """A load that a person switched can only be switched off by one."""
        course = self._course
        told = {**trip.to_dict(), "by_hand": True}
        course.note("trip", device_s=course.device_s(now_s), **told)
        advice = f"Switch the load off: nothing here can. {trip.advice}"
        self._ending.finish(
            explain.ended(Ended.TRIPPED, trip.cause, trip.check, advice),
            confirmed=True,
        )

    # -------------------------------------------------------------- the walk

    def arm(self, scales: Scales, limits: m.Limits, now_s: float) -> None:
        """Arm for the plan: proven, limits taken again, a person said go."""
        course, stand = self._course, self._course.session.stand
        if stand is None or not course.interlock.may_arm:
            state = course.interlock.state.name.lower()
            self._ending.give_up(
                f"The stand is not locked but {state}, so it was not armed."
            )
            return
        course.enter(Phase.ARMING, now_s, ARM_PATIENCE_S)
        self.watch(scales, now_s)
        course.send(
            m.Arm(
                nonce=course.task.nonce,
                boot=stand.identity.boot,
                limits_crc=limits.crc,
                lease_ms=course.lease_ms,
                seen_us=course.session.newest_us,
            ),
            now_s,
        )

    def advance(self, now_s: float) -> None:
        """Whatever is due: begin the walk, renew, go on, or end it."""
        course = self._course
        if course.phase is Phase.ARMING and course.interlock.state is m.State.ARMED:
            course.enter(Phase.RUNNING, now_s)
            self._runner = Runner(course.task.plan, now_s)
            course.note("armed", device_s=course.device_s(now_s))
        if course.phase is Phase.LOADING and self._runner is None:
            self._runner = Runner(course.task.plan, now_s)
            course.note("began", device_s=course.device_s(now_s))
        if now_s >= course.next_send_s and course.phase in DRIVES:
            if course.interlock.may_drive:
                self.drive(now_s)
        elif now_s >= course.next_send_s and course.phase is Phase.LOCKING:
            self._lock(now_s)
        walks = course.phase in (Phase.RUNNING, Phase.LOADING)
        if walks and self._runner is not None:
            self._run(self._runner, now_s)
        if course.phase is Phase.RUNNING and self._scales is not None:
            self.captures.advance(self._scales, now_s)
        if course.phase is Phase.RETREATING and self._retreat is not None:
            self._retreated(self._retreat, now_s)

    @property
    def deadline_s(self) -> float:
        """When ``advance`` or the guard has something to do next."""
        due = [float("inf")]
        if self.watched is not None:
            due.append(self.watched.deadline_s)
        walks = self._course.phase in (Phase.RUNNING, Phase.LOADING)
        if self._runner is not None and walks:
            due += [self._runner.next_change_s, self._holding_s]
            due.append(self.captures.deadline_s)
        return min(due)

    def _setpoint(self, now_s: float) -> float:
        """The throttle of this moment, 0 to 1."""
        if self._course.phase is Phase.RUNNING and self._runner is not None:
            return self._runner.setpoint(now_s)
        if self._course.phase is Phase.RETREATING and self._retreat is not None:
            return self._retreat.setpoint(now_s)
        return 0.0

    def drive(self, now_s: float) -> None:
        """Send the setpoint of this moment, renewing the lease."""
        course, setpoint_frac = self._course, self._setpoint(now_s)
        if self.guard is not None:
            self.guard.setpoint(setpoint_frac, now_s)
        course.send(
            m.Throttle(
                nonce=course.task.nonce,
                setpoint=round(setpoint_frac * m.THROTTLE_FULL),
                lease_ms=course.lease_ms,
                seen_us=course.session.newest_us,
            ),
            now_s,
        )
        course.next_send_s = now_s + RENEW_S

    def _run(self, runner: Runner, now_s: float) -> None:
        course = self._course
        entered = runner.entered(now_s)
        self._tell_hold(runner, now_s)
        if entered and course.phase in DRIVES:
            self.drive(now_s)  # a new part begins with its own setpoint
        for index, segment in entered:
            if index and course.task.plan.segments[index - 1].is_data:
                self._ending.parts += 1
            self.captures.entered(index)
            course.note(
                "segment",
                index=index,
                kind=segment.kind,
                leg=segment.leg,
                step=segment.step,
                throttle_frac=segment.end_frac,
                device_s=course.device_s(now_s),
            )
            if self.guard is not None:
                self.guard.hold(segment.goal, now_s)
            self._holding_s = math.inf if segment.goal is None else now_s
        if runner.finished(now_s):
            course.note("walked", device_s=course.device_s(now_s))
            if course.phase is Phase.LOADING:
                self._ending.finish(explain.COMPLETED, confirmed=True)
                return
            course.enter(Phase.LOCKING, now_s, LOCK_PATIENCE_S)
            self._lock(now_s)

    def _tell_hold(self, runner: Runner, now_s: float) -> None:
        """For the record: how a hold that is over ended, or what it has come to."""
        course, held = self._course, runner.held()
        if held is not None:
            course.note(
                "held",
                end=str(held.end),
                throttle_frac=held.throttle_frac,
                thrust_n=_known(held.thrust_n),
                voltage_v=_known(held.voltage_v),
                lasted_s=held.lasted_s,
                reached_s=_known(held.reached_s),
                device_s=course.device_s(now_s),
            )
        elif runner.holder is not None and now_s >= self._holding_s:
            course.note(
                "holding",
                throttle_frac=runner.holder.throttle_frac,
                thrust_n=_known(runner.holder.thrust_n),
                device_s=course.device_s(now_s),
            )
            self._holding_s = now_s + HOLDING_S

    def _lock(self, now_s: float) -> None:
        """Ask for the locked state; again and again, since frames get lost."""
        course = self._course
        if course.session.stand is not None:
            course.send(m.Lock(course.session.stand.identity.boot), now_s)
        course.next_send_s = now_s + RENEW_S

    def _retreated(self, retreat: Retreat, now_s: float) -> None:
        """At zero after a ramp down: stop, and latch."""
        if retreat.over(now_s) and self._ending.pending is not None:
            self._ending.stop(self._ending.pending, m.StopReason.GUARD, now_s)


def _known(value: float) -> float | None:
    """A figure for the record; None where there is none."""
    return value if math.isfinite(value) else None

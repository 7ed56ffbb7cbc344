"""One spin, whole and pure: bytes, orders and moments in, bytes and notes out.

Hands what came in to the part that it is for: ``preparing`` up to a stand that may
be armed, ``driving`` along the plan, ``ending`` from the stop on; all on one
``course``. The keeper feeds it what happened with the time it happened and does what
comes out; a test feeds it from a simulated device in virtual time; a replay feeds it
from a record and must get the same out, byte for byte. Reads no clock, does no I/O.

After a stop, of whatever cause, no throttle leaves here again.
"""

from collections.abc import Mapping
from typing import Final

from daq.link import messages as m
from daq.link import session as s
from daq.link.conversation import Conversation
from protocols import explain
from protocols.course import Course
from protocols.driving import Driving
from protocols.ending import Ending
from protocols.guard.readings import ReadingCheck
from protocols.interlock import TOLD, Input, Interlock
from protocols.outcome import Ended, Outcome
from protocols.phases import (
    GRANTED,
    GUARDED,
    MAY_TURN,
    ON_TRIAL,
    OVER,
    Outputs,
    Phase,
)
from protocols.preparing import PERSON_PATIENCE_S, Preparing
from protocols.task import Task

TURNABLE: Final = (m.State.PROVING, m.State.ARMED, m.State.SPINNING)


class Control:
    """Takes one task from the first byte to its outcome.

    Attributes:
        task: what to do.
    """

    def __init__(self, task: Task, port_name: str = "the port") -> None:
        self.task = task
        self._port_name = port_name
        self._course = Course(task)
        self._ending = Ending(self._course)
        self._preparing = Preparing(self._course, self._ending)
        self._driving = Driving(self._course, self._ending)
        self._begun = False

    @property
    def phase(self) -> Phase:
        """How far it has come."""
        return self._course.phase

    @property
    def interlock(self) -> Interlock:
        """Where the host holds the stand to be."""
        return self._course.interlock

    @property
    def session(self) -> Conversation:
        """The conversation."""
        return self._course.session

    @property
    def outcome(self) -> Outcome | None:
        """How it ended; None until it has."""
        return self._ending.outcome

    @property
    def link_is_lost(self) -> bool:
        """Whether nothing can be sent any more."""
        return self._course.link_is_lost

    @property
    def simulated(self) -> bool:
        """Whether the stand says that nothing turns; labels data, waives nothing."""
        return self._preparing.simulated

    # ------------------------------------------------------------- inputs

    def receive(self, data: bytes, now_s: float) -> Outputs:
        """Bytes that arrived at ``now_s``."""
        for happening in self.session.receive(data, now_s):
            self._happened(happening, now_s)
        self._driving.judge_link(now_s)
        self._advance(now_s)
        return self._course.take_out()

    def order(self, order: Mapping[str, object], now_s: float) -> Outputs:
        """What the client asks (beat, go, acknowledge, stop), or the keeper itself."""
        match order.get("order"):
            case "beat":
                if self._driving.guard is not None:
                    self._driving.guard.beat(now_s)
            case "go":
                self._go(now_s)
            case "acknowledge":
                self._preparing.acknowledge(now_s)
            case "stop":
                why = str(order.get("why", "A person stopped it."))
                stopped = explain.ended(Ended.STOPPED, why, "stop")
                self._ending.stop(stopped, m.StopReason.PERSON, now_s)
            case "record lost":
                self._ending.stop_for(explain.record_lost(order.get("why")), now_s)
            case "unwatched":
                why = str(order.get("why"))
                unwatched = explain.ended(Ended.FAILED, why, "unwatched")
                self._ending.stop_for(unwatched, now_s)
            case other:
                self._course.note("ignored", order=str(other))
        self._advance(now_s)
        return self._course.take_out()

    def link_lost(self, why: str) -> Outputs:
        """The port is gone: nothing can be sent any more."""
        course = self._course
        if course.phase is not Phase.ENDED:
            was_armed = self.interlock.may_drive or course.phase in MAY_TURN
            course.link_is_lost = True
            self.interlock.give(Input.LINK_LOST)
            lost = explain.link_lost(
                why,
                self.task.plan.lease_s,
                was_armed=was_armed,
                unprotected=self.session.stands_in,
            )
            outcome = self._ending.pending or lost
            confirmed = not was_armed and not self._ending.needs_sight
            self._ending.finish(outcome, confirmed=confirmed)
        return course.take_out()

    def tick(self, now_s: float) -> Outputs:
        """Time passed; the first tick begins the conversation."""
        if not self._begun:
            self._begun = True
            self._course.moved()
            self.session.identify(now_s)
        if self.phase in (*GUARDED, *ON_TRIAL):
            self._course.moved()  # checks and exercises go by the moment
        self._advance(now_s)
        return self._course.take_out()

    @property
    def deadline_s(self) -> float:
        """When ``tick`` has something to do next."""
        course, proof = self._course, self._preparing.proof
        due = [
            self.session.deadline_s,
            course.phase_end_s,
            course.next_send_s,
            self._driving.deadline_s,
            self._preparing.deadline_s,
        ]
        if proof is not None:
            due.append(proof.deadline_s)
        return min(due)

    # ------------------------------------------------------- happenings

    def _happened(self, happening: s.Happening, now_s: float) -> None:
        match happening:
            case s.Sampled():
                self._sampled(happening, now_s)
            case s.StateTold():
                self._told(happening, now_s)
            case s.Replied():
                self._replied(happening, now_s)
            case s.Identified():
                self._preparing.identified(happening.stand, now_s)
            case s.Unanswered():
                self._unanswered(happening, now_s)
            case s.Restarted():
                self._course.note("restarted", was=happening.was, now=happening.now)
                self._began_again(now_s)
            case s.BurstTold():
                self._driving.captures.told(happening)
            case s.WrongVersion() | s.NotIdentified():
                if self.phase is Phase.IDENTIFYING:
                    outcome = explain.not_a_stand(happening, self._port_name)
                    self._ending.finish(outcome, confirmed=True)

    def _sampled(self, sampled: s.Sampled, now_s: float) -> None:
        scales = self._preparing.scales
        if scales is None:
            return
        self._preparing.sampled(sampled, now_s)
        if self._driving.watched is not None:
            self._driving.readings(scales.values(sampled), now_s)
        elif self.phase in OVER:
            for channel, value in scales.values(sampled):
                self._ending.reading(channel, value, now_s)

    def _told(self, told: s.StateTold, now_s: float) -> None:
        message = told.message
        if isinstance(message, m.Event):
            self._course.note(
                "told",
                state=message.state.name,
                cause=message.cause.name,
                number=message.number,
                throttle=message.throttle,
                device_s=told.device_s,
                **self._course.by,
            )
            if message.cause.is_start and self.phase in (*GUARDED, *ON_TRIAL):
                self._began_again(now_s)
        self._preparing.latch = message.latch
        if self._preparing.proof is not None:
            self._preparing.proof.told(message)
        before = self.interlock.state
        after = self.interlock.give(self._given(message.state))
        if self.phase is Phase.LINGERING and message.state in TURNABLE:
            self._ending.turns_again(now_s)
        elif after is m.State.TRIPPED and before is not m.State.TRIPPED:
            if not self._preparing.expects(message):
                self._stand_tripped(message, now_s)
        elif self.phase is Phase.STOPPING and message.state is m.State.TRIPPED:
            self._tripped_while_stopping(message, now_s)
        elif after is m.State.LOCKED and before is not m.State.LOCKED:
            self._locked(now_s)

    def _given(self, state: m.State) -> Input:
        """What a told state is to the interlock: asked for, or not."""
        given = TOLD[state]
        if given is Input.TOLD_ARMED and self.phase in GRANTED:
            return Input.ARM_GRANTED
        if given is Input.TOLD_PROVING and self.phase is Phase.PROVING:
            return Input.PROVE_GRANTED
        return given

    def _locked(self, now_s: float) -> None:
        """The stand is locked and was not a moment ago."""
        if self.phase is Phase.LOCKING:
            self._ending.linger(explain.COMPLETED, now_s)
        elif self.phase in GUARDED and self.phase not in ON_TRIAL:
            cause = "The stand locked itself in the middle of the plan."
            self._ending.stop_for(explain.ended(Ended.FAILED, cause, "locked"), now_s)

    def _stand_tripped(self, message: m.Event | m.Counters, now_s: float) -> None:
        """The stand tripped by itself, or is armed without our asking."""
        if message.state is not m.State.TRIPPED:
            outcome = explain.armed_by_another()
        elif self.phase not in (*GUARDED, *ON_TRIAL):
            return  # an old latch: a person has to acknowledge it first
        elif isinstance(message, m.Event):
            outcome = self._explained(message)
        else:
            cause = "The stand tripped; the event that says why was lost on the way."
            outcome = explain.ended(Ended.TRIPPED, cause, "unknown")
        self._ending.stop_for(outcome, now_s)

    def _tripped_while_stopping(
        self, message: m.Event | m.Counters, now_s: float
    ) -> None:
        """What confirms a stop: a trip told, with the throttle at zero."""
        if isinstance(message, m.Counters):
            if message.throttle == 0:
                self._ending.confirmed(now_s)
            return
        # The stand tripped before our stop reached it: its cause is the cause.
        pending = self._ending.pending
        ours = pending is not None and pending.ended is Ended.TRIPPED
        if ours and message.cause.latches and message.cause is not m.Cause.STOP:
            self._ending.pending = self._explained(message)
        self._ending.confirmed(now_s)

    def _explained(self, event: m.Event) -> Outcome:
        """A trip of the stand in words, with the limit it was about."""
        about, value = None, 0.0
        scales = self._preparing.scales
        named = event.cause in (m.Cause.LIMIT, m.Cause.CHANNEL_SILENT)
        if named and scales is not None:
            about, value = scales.reading(event.channel, event.count)
        advice = ""
        if about is not None and event.cause is m.Cause.LIMIT:
            advice = ReadingCheck(about).advice(value)
        return explain.stand_tripped(event, about, value, advice)

    def _replied(self, replied: s.Replied, now_s: float) -> None:
        command, done = replied.command, replied.verdict is m.Verdict.DONE
        self._course.note(
            "reply",
            to=type(command).__name__,
            verdict=replied.verdict.name,
            took_ms=round(replied.took_s * 1e3, 3),
            **self._course.by,
        )
        if self._preparing.proof is not None:
            self._preparing.answered(replied)
        elif isinstance(command, m.Limits):
            scales = self._preparing.scales
            if self._preparing.limits_answered(replied, now_s) and scales is not None:
                self._driving.arm(scales, m.Limits(command.entries), now_s)
        elif isinstance(command, m.Arm):
            if done:
                self.interlock.give(Input.ARM_GRANTED)
            else:
                refused = explain.refused("to arm", replied.verdict)
                self._ending.stop_for(refused, now_s)
        elif isinstance(command, m.Stop) and done and self.phase is Phase.STOPPING:
            self._ending.confirmed(now_s)
        elif isinstance(command, m.Acknowledge):
            self._preparing.acknowledge_answered(replied.verdict, now_s)
        elif isinstance(command, m.Capture):
            self._driving.captures.answered(command, replied.verdict)

    def _unanswered(self, unanswered: s.Unanswered, now_s: float) -> None:
        command = unanswered.command
        name = type(command).__name__.lower()
        self._course.note("unanswered", to=name)
        if self._preparing.proof is not None:
            self._preparing.proof.answered(unanswered)
        elif isinstance(command, m.Acknowledge):
            self._preparing.still_latched()
        elif isinstance(command, m.Limits | m.Arm):
            self._ending.stop_for(explain.unanswered(name), now_s)
        elif isinstance(command, m.Capture):
            self._driving.captures.answered(command, None)

    def _began_again(self, now_s: float) -> None:
        """The stand started anew; nothing of what it was told still holds."""
        self.interlock.give(Input.RESTARTED)
        guarded = self.phase in GUARDED
        pending = self._ending.pending
        if self.phase is Phase.STOPPING and pending is not None:
            # A trip noticed a moment before, silence say, was this.
            if pending.ended is Ended.TRIPPED:
                self._ending.pending = explain.restarted("running", guarded=True)
            return
        outcome = explain.restarted(self.phase.value, guarded=guarded)
        self._ending.stop_for(outcome, now_s)

    def _go(self, now_s: float) -> None:
        """A person answered the checklist; the motor may turn."""
        scales = self._preparing.scales
        if self._preparing.may_try(now_s) and scales is not None:
            self._driving.watch(scales, now_s)

    # ---------------------------------------------------------- time

    def _advance(self, now_s: float) -> None:
        """Everything that the time alone brings about."""
        course = self._course
        if course.phase is Phase.ENDED:
            return
        write, happenings = self.session.poll(now_s)
        course.write(write)
        for happening in happenings:
            self._happened(happening, now_s)
        self._driving.judge_time(now_s)
        self._preparing.advance(now_s)
        proof, guard = self._preparing.proof, self._driving.watched
        if proof is not None and guard is not None:
            guard.setpoint(proof.hold_frac, now_s)
        self._driving.advance(now_s)
        if course.phase is Phase.STOPPING and now_s >= course.next_send_s:
            self._ending.say_stop(now_s)
        if now_s >= course.phase_end_s:
            self._phase_ended(now_s)

    def _phase_ended(self, now_s: float) -> None:
        """This phase has lasted for as long as it may."""
        phase = self.phase
        self._course.phase_end_s = float("inf")
        if phase in (Phase.LISTENING, Phase.ZEROING):
            self._preparing.time_is_up(now_s)
        elif phase in (Phase.STOPPING, Phase.LINGERING):
            self._ending.time_is_up(now_s)
        elif phase is Phase.LOCKING:
            cause = "The stand did not confirm that it locked after the plan."
            outcome = explain.ended(Ended.FAILED, cause, "not locked")
            self._ending.stop(outcome, m.StopReason.END, now_s)
        elif phase is Phase.ARMING:
            cause = "The stand neither armed nor refused to."
            outcome = explain.ended(Ended.FAILED, cause, "not armed")
            self._ending.stop_for(outcome, now_s)
        else:
            self._ending.stop_for(explain.nobody_there(PERSON_PATIENCE_S), now_s)

"""One spin, whole and pure: bytes, orders and moments in, bytes and notes out.

Session, interlock, guard and runner put together. The keeper feeds it what
happened with the time it happened and does what comes out; a test feeds it
from a simulated device in virtual time; a replay feeds it from a record and
must get the same out, byte for byte. Reads no clock, does no I/O.

After a stop, of whatever cause, no throttle leaves here again.
"""

import math
from collections.abc import Mapping

from daq.link import messages as m
from daq.link import session as s
from protocols import explain
from protocols.guard.guard import Guard
from protocols.guard.readings import ReadingCheck
from protocols.guard.trip import Trip
from protocols.interlock import TOLD, Input, Interlock
from protocols.outcome import Data, Ended, Outcome
from protocols.phases import BEFORE_ARMING, GUARDED, MAY_TURN, OVER, Outputs, Phase
from protocols.readings import ZEROING_S, Scales
from protocols.runner import Runner
from protocols.task import Task

RENEW_S = 0.025  # throttle is sent this often, eight times a 200 ms lease
STOP_REPEAT_S = 0.02
STOP_PATIENCE_S = 1.0
LOCK_PATIENCE_S = 1.0
ARM_PATIENCE_S = 1.0
PERSON_PATIENCE_S = 600.0  # a stand is not left ready for longer than this
TURNABLE = (m.State.PROVING, m.State.ARMED, m.State.SPINNING)
LINGER_S = 0.5  # recorded after the stop, so that the record shows it
_COMPLETED = explain.ended(Ended.COMPLETED, "The plan was walked to its end.", "")


class Control:
    """Takes one task from the first byte to its outcome.

    Attributes:
        task: what to do.
        phase: how far it has come.
        interlock: where the host holds the stand to be.
        session: the conversation.
        outcome: how it ended; None until it has.
        link_is_lost: nothing can be sent any more.
        simulated: the stand says that nothing turns; labels data, waives nothing.
    """

    def __init__(self, task: Task, port_name: str = "the port") -> None:
        self.task = task
        self.phase = Phase.IDENTIFYING
        self.interlock = Interlock()
        self.session = s.Session()
        self.outcome: Outcome | None = None
        self._port_name = port_name
        self._out = Outputs()
        self._scales: Scales | None = None
        self._limits_message: m.Limits | None = None
        self._guard: Guard | None = None
        self._runner: Runner | None = None
        self._latch = 0
        self._phase_end_s = float("inf")
        self._next_send_s = float("inf")
        self._dwells = 0
        self._pending: Outcome | None = None
        self.link_is_lost = False
        self.simulated = False
        self._begun = False
        self._stop_reason = m.StopReason.FAULT

    # ------------------------------------------------------------- inputs

    def receive(self, data: bytes, now_s: float) -> Outputs:
        """Bytes that arrived at ``now_s``."""
        for happening in self.session.receive(data, now_s):
            self._happened(happening, now_s)
        self._advance(now_s)
        return self._take_out()

    def order(self, order: Mapping[str, object], now_s: float) -> Outputs:
        """What the client asks (beat, go, acknowledge, stop), or the keeper itself."""
        match order.get("order"):
            case "beat":
                if self._guard is not None:
                    self._guard.beat(now_s)
            case "go":
                self._go(now_s)
            case "acknowledge":
                self._acknowledge(now_s)
            case "stop":
                why = str(order.get("why", "A person stopped it."))
                self._stop(
                    explain.ended(Ended.STOPPED, why, "stop"),
                    m.StopReason.PERSON,
                    now_s,
                )
            case "record lost":
                cause = f"The record could not be written: {order.get('why')}."
                advice = "Free the disk, or choose another place with --out."
                outcome = explain.ended(Ended.FAILED, cause, "record", advice)
                self._stop_for(outcome, now_s)
            case other:
                self._note("ignored", order=str(other))
        self._advance(now_s)
        return self._take_out()

    def link_lost(self, why: str) -> Outputs:
        """The port is gone: nothing can be sent any more."""
        if self.phase is not Phase.ENDED:
            was_armed = self.interlock.may_drive or self.phase in MAY_TURN
            self.link_is_lost = True
            self.interlock.give(Input.LINK_LOST)
            lost = explain.link_lost(why, self.task.plan.lease_s, was_armed=was_armed)
            self._finish(self._pending or lost, confirmed=not was_armed)
        return self._take_out()

    def tick(self, now_s: float) -> Outputs:
        """Time passed; the first tick begins the conversation."""
        if not self._begun:
            self._begun = True
            self.session.identify(now_s)
        self._advance(now_s)
        return self._take_out()

    @property
    def deadline_s(self) -> float:
        """When ``tick`` has something to do next."""
        due = [self.session.deadline_s, self._phase_end_s, self._next_send_s]
        if self._guard is not None and self.phase in GUARDED:
            due.append(self._guard.deadline_s)
        if self._runner is not None and self.phase is Phase.RUNNING:
            due.append(self._runner.next_change_s)
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
                self._identified(happening.stand, now_s)
            case s.Unanswered():
                self._unanswered(happening.command, now_s)
            case s.Restarted():
                self._restarted(happening, now_s)
            case s.WrongVersion() | s.NotIdentified():
                self._not_a_stand(happening)

    def _sampled(self, sampled: s.Sampled, now_s: float) -> None:
        if self._scales is None:
            return
        if self.phase is Phase.ZEROING:
            self._scales.collect(sampled)
        elif self._guard is not None and self.phase in GUARDED:
            for channel, value in self._scales.values(sampled):
                trip = self._guard.reading(channel, value, now_s)
                if trip is not None:
                    self._trip(trip, now_s)
                    return

    def _told(self, told: s.StateTold, now_s: float) -> None:
        message = told.message
        if isinstance(message, m.Event):
            self._note(
                "told",
                state=message.state.name,
                cause=message.cause.name,
                number=message.number,
                throttle=message.throttle,
                device_s=told.device_s,
            )
            if message.cause.is_start and self.phase in GUARDED:
                self._began_again(now_s)
        self._latch = message.latch
        before = self.interlock.state
        given = TOLD[message.state]
        if given is Input.TOLD_ARMED and self.phase in (Phase.ARMING, Phase.RUNNING):
            given = Input.ARM_GRANTED
        after = self.interlock.give(given)
        if self.phase is Phase.LINGERING and message.state in TURNABLE:
            self._turns_again(now_s)
        elif after is m.State.TRIPPED and before is not m.State.TRIPPED:
            self._stand_tripped(message, now_s)
        elif self.phase is Phase.STOPPING and message.state is m.State.TRIPPED:
            self._tripped_while_stopping(message, now_s)
        elif after is m.State.LOCKED and before is not m.State.LOCKED:
            self._locked(now_s)

    def _locked(self, now_s: float) -> None:
        """The stand is locked and was not a moment ago."""
        if self.phase is Phase.LOCKING:
            self._linger(_COMPLETED, now_s)
        elif self.phase in GUARDED:
            cause = "The stand locked itself in the middle of the plan."
            self._stop_for(explain.ended(Ended.FAILED, cause, "locked"), now_s)

    def _turns_again(self, now_s: float) -> None:
        """A stand that had confirmed a stop says that it may turn."""
        cause = "The stand was armed again after its stop was confirmed."
        self._pending = explain.ended(
            Ended.FAILED,
            cause,
            "armed again",
            "Cut the power; do not trust this stand.",
        )
        self._begin_stopping(m.StopReason.FAULT, now_s)

    def _stand_tripped(self, message: m.Event | m.Counters, now_s: float) -> None:
        """The stand tripped by itself, or is armed without our asking."""
        if message.state is not m.State.TRIPPED:
            cause = "The stand was armed by something else; it was told to stop."
            advice = "Close other programs that use this port and start again."
            outcome = explain.ended(Ended.FAILED, cause, "armed by another", advice)
        elif self.phase not in GUARDED:
            return  # an old latch: a person has to acknowledge it first
        elif isinstance(message, m.Event):
            outcome = self._explained(message)
        else:
            cause = "The stand tripped; the event that says why was lost on the way."
            outcome = explain.ended(Ended.TRIPPED, cause, "unknown")
        self._stop_for(outcome, now_s)

    def _tripped_while_stopping(
        self, message: m.Event | m.Counters, now_s: float
    ) -> None:
        """What confirms a stop: a trip told, with the throttle at zero."""
        if isinstance(message, m.Counters):
            if message.throttle == 0:
                self._stop_confirmed(now_s)
            return
        # The stand tripped before our stop reached it: its cause is the cause.
        ours = self._pending is not None and self._pending.ended is Ended.TRIPPED
        if ours and message.cause.latches and message.cause is not m.Cause.STOP:
            self._pending = self._explained(message)
        self._stop_confirmed(now_s)

    def _explained(self, event: m.Event) -> Outcome:
        about, value = None, 0.0
        named = event.cause in (m.Cause.LIMIT, m.Cause.CHANNEL_SILENT)
        if named and self._scales is not None:
            about, value = self._scales.reading(event.channel, event.count)
        advice = ""
        if about is not None and event.cause is m.Cause.LIMIT:
            advice = ReadingCheck(about).advice(value)
        return explain.stand_tripped(event, about, value, advice)

    def _replied(self, replied: s.Replied, now_s: float) -> None:
        done = replied.verdict is m.Verdict.DONE
        took_ms = round(replied.took_s * 1e3, 3)
        self._note(
            "reply",
            to=type(replied.command).__name__,
            verdict=replied.verdict.name,
            took_ms=took_ms,
        )
        command = replied.command
        if isinstance(command, m.Limits):
            if done and replied.value == command.crc:
                self._ready(now_s)
            else:
                self._stop_for(explain.refused("the limits", replied.verdict), now_s)
        elif isinstance(command, m.Arm):
            if done:
                self.interlock.give(Input.ARM_GRANTED)
            else:
                self._stop_for(explain.refused("to arm", replied.verdict), now_s)
        elif isinstance(command, m.Stop) and done and self.phase is Phase.STOPPING:
            self._stop_confirmed(now_s)
        elif isinstance(command, m.Acknowledge):
            self._acknowledge_answered(replied.verdict, now_s)

    def _unanswered(self, command: m.ToStand, now_s: float) -> None:
        name = type(command).__name__.lower()
        self._note("unanswered", to=name)
        if isinstance(command, m.Acknowledge):
            self._still_latched()
        if isinstance(command, m.Limits | m.Arm):
            cause = f"The stand did not answer the {name} command."
            self._stop_for(
                explain.ended(Ended.FAILED, cause, "unanswered", "Look at the cable."),
                now_s,
            )

    def _restarted(self, restarted: s.Restarted, now_s: float) -> None:
        self._note("restarted", was=restarted.was, now=restarted.now)
        self._began_again(now_s)

    def _began_again(self, now_s: float) -> None:
        """The stand started anew; nothing of what it was told still holds."""
        self.interlock.give(Input.RESTARTED)
        guarded = self.phase in GUARDED
        outcome = explain.restarted(self.phase.value, guarded=guarded)
        pending = self._pending
        if self.phase is Phase.STOPPING and pending is not None:
            # A trip noticed a moment before, silence say, was this.
            if pending.ended is Ended.TRIPPED:
                self._pending = explain.restarted("running", guarded=True)
            return
        self._stop_for(outcome, now_s)

    # ---------------------------------------------------------- getting ready

    def _not_a_stand(self, happening: s.WrongVersion | s.NotIdentified) -> None:
        if self.phase is Phase.IDENTIFYING:
            outcome = explain.not_a_stand(happening, self._port_name)
            self._finish(outcome, confirmed=True)

    def _identified(self, stand: s.Stand, now_s: float) -> None:
        if self.phase is not Phase.IDENTIFYING:
            return
        identity = stand.identity
        self.simulated = m.Ability.SIMULATED in identity.abilities
        self._note(
            "identified",
            simulated=self.simulated,
            board=identity.board,
            stand_id=identity.stand_id,
            boot=identity.boot,
            firmware=f"{identity.firmware_major}.{identity.firmware_minor}",
            abilities=[a.name for a in m.Ability if a in identity.abilities],
            channels=[page.name for page in stand.channels],
        )
        self._scales = Scales(stand, self.task.limits)
        objection = self._scales.objection_to_stand()
        if objection is not None:
            self._give_up(objection)
            return
        if self._scales.missing:
            self._note("unguarded", channels=self._scales.missing)
        self.phase = Phase.ZEROING
        self._phase_end_s = now_s + ZEROING_S

    def _zeroed(self, now_s: float) -> None:
        if self._scales is None:
            return
        means = self._scales.settle()
        found = {n: v if math.isfinite(v) else None for n, v in means.items()}
        self._note("zeroed", means=found)
        objection = self._scales.objection(means)
        if objection is not None:
            self._give_up(objection)
        elif self.interlock.state is m.State.TRIPPED:
            self.phase = Phase.LATCHED
            self._phase_end_s = now_s + PERSON_PATIENCE_S
            self._still_latched()
        else:
            self._send_limits(now_s)

    def _send_limits(self, now_s: float) -> None:
        if self._scales is None:
            return
        self.phase = Phase.LIMITING
        self._phase_end_s = float("inf")
        try:
            self._limits_message = self._scales.wire_limits()
            self._send(self._limits_message, now_s)
        except ValueError as fault:
            self._give_up(f"The limits cannot be sent to this stand: {fault}.")

    def _ready(self, now_s: float) -> None:
        if self.phase is not Phase.LIMITING or self._limits_message is None:
            return
        self.phase = Phase.READY
        self._phase_end_s = now_s + PERSON_PATIENCE_S
        self._note("ready", limits_crc=self._limits_message.crc)

    def _give_up(self, cause: str) -> None:
        """Nothing was armed, so there is nothing to stop."""
        self._finish(explain.ended(Ended.FAILED, cause, "not ready"), confirmed=True)

    # ---------------------------------------------------------- the spin

    def _go(self, now_s: float) -> None:
        stand, scales, limits = self.session.stand, self._scales, self._limits_message
        if self.phase is not Phase.READY or not (stand and scales and limits):
            self._note("ignored", order="go", phase=self.phase.value)
            return
        if not self.interlock.may_arm:
            state = self.interlock.state.name.lower()
            self._give_up(f"The stand is not locked but {state}, so it was not armed.")
            return
        self.phase = Phase.ARMING
        self._phase_end_s = now_s + ARM_PATIENCE_S
        self._guard = Guard(scales.limits, now_s)
        self._send(
            m.Arm(
                nonce=self.task.nonce,
                boot=stand.identity.boot,
                limits_crc=limits.crc,
                lease_ms=self._lease_ms,
                seen_us=self.session.newest_us,
            ),
            now_s,
        )

    @property
    def _lease_ms(self) -> int:
        return round(self.task.plan.lease_s * 1e3)

    def _acknowledge(self, now_s: float) -> None:
        stand = self.session.stand
        latched = self.interlock.state is m.State.TRIPPED
        if stand is None or not latched or self.phase in OVER:
            self._note("ignored", order="acknowledge", phase=self.phase.value)
            return
        self._send(m.Acknowledge(stand.identity.boot, self._latch), now_s)

    def _still_latched(self) -> None:
        """A person has to clear it, perhaps once more."""
        if self.phase is Phase.LATCHED:
            self._note("latched", latch=self._latch)

    def _acknowledge_answered(self, verdict: m.Verdict, now_s: float) -> None:
        # Refused because it is not tripped: an earlier one was heard after all.
        cleared = (
            verdict is m.Verdict.WRONG_STATE and self.session.state is m.State.LOCKED
        )
        if verdict is not m.Verdict.DONE and not cleared:
            self._still_latched()
            return
        self.interlock.give(Input.ACKNOWLEDGED)
        self._note("acknowledged")
        if self.phase is Phase.LATCHED:
            self._send_limits(now_s)

    def _drive(self, now_s: float) -> None:
        """Send the setpoint of this moment, renewing the lease."""
        setpoint_frac = 0.0
        if self.phase is Phase.RUNNING and self._runner is not None:
            setpoint_frac = self._runner.setpoint(now_s)
        self._send(
            m.Throttle(
                nonce=self.task.nonce,
                setpoint=round(setpoint_frac * m.THROTTLE_FULL),
                lease_ms=self._lease_ms,
                seen_us=self.session.newest_us,
            ),
            now_s,
        )
        self._next_send_s = now_s + RENEW_S

    def _run(self, now_s: float) -> None:
        runner = self._runner
        if runner is None:
            return
        entered = runner.entered(now_s)
        if entered:
            self._drive(now_s)  # a new hold begins with its own setpoint
        for index, segment in entered:
            if index and self.task.plan.segments[index - 1].kind == "dwell":
                self._dwells += 1
            self._note(
                "segment",
                index=index,
                kind=segment.kind,
                leg=segment.leg,
                step=segment.step,
                throttle_frac=segment.end_frac,
                device_s=self._device_s(now_s),
            )
        if runner.finished(now_s):
            self._note("walked", device_s=self._device_s(now_s))
            self.phase = Phase.LOCKING
            self._phase_end_s = now_s + LOCK_PATIENCE_S
            self._lock(now_s)

    def _lock(self, now_s: float) -> None:
        """Ask for the locked state; again and again, since frames get lost."""
        if self.session.stand is not None:
            self._send(m.Lock(self.session.stand.identity.boot), now_s)
        self._next_send_s = now_s + RENEW_S

    # ---------------------------------------------------------- stopping

    def _trip(self, trip: Trip, now_s: float) -> None:
        self._note("trip", **trip.to_dict())
        outcome = explain.ended(Ended.TRIPPED, trip.cause, trip.check, trip.advice)
        self._stop(outcome, m.StopReason.GUARD, now_s)

    def _stop_for(self, outcome: Outcome, now_s: float) -> None:
        """Stop because of a fault, whatever it was."""
        self._stop(outcome, m.StopReason.FAULT, now_s)

    def _stop(self, outcome: Outcome, reason: m.StopReason, now_s: float) -> None:
        """Throttle zero; from here on no throttle, arm or lock is sent."""
        if self.phase in OVER:
            return
        self._note(
            "stop",
            ended=str(outcome.ended),
            cause=outcome.cause,
            device_s=self._device_s(now_s),
        )
        if self.phase in BEFORE_ARMING and self.interlock.state is m.State.LOCKED:
            # Known to be locked, and never asked to be anything else.
            self._finish(outcome, confirmed=True)
            return
        self._pending = outcome
        self._begin_stopping(reason, now_s)

    def _begin_stopping(self, reason: m.StopReason, now_s: float) -> None:
        self.phase = Phase.STOPPING
        self.interlock.give(Input.STOPPED)
        self._phase_end_s = now_s + STOP_PATIENCE_S
        self._stop_reason = reason
        self._send(m.Stop(reason), now_s)
        self._next_send_s = now_s + STOP_REPEAT_S

    def _stop_confirmed(self, now_s: float) -> None:
        if self._pending is not None:
            self._note("stop confirmed")
            self._linger(self._pending, now_s)

    def _linger(self, outcome: Outcome, now_s: float) -> None:
        self.phase = Phase.LINGERING
        self._pending = outcome
        self._next_send_s = float("inf")
        self._phase_end_s = now_s + LINGER_S

    def _finish(self, outcome: Outcome, *, confirmed: bool) -> None:
        self.phase = Phase.ENDED
        self._phase_end_s = self._next_send_s = float("inf")
        data = Data.PARTIAL if self._dwells else Data.NONE
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
        health = self.session.health
        self._note(
            "health",
            frames=health.frames,
            lost=health.lost,
            damaged=self.session.drops,
            malformed=health.malformed,
        )
        self._note("outcome", **self.outcome.to_dict())

    # ---------------------------------------------------------- time

    def _advance(self, now_s: float) -> None:
        """Everything that the time alone brings about."""
        if self.phase is Phase.ENDED:
            return
        write, happenings = self.session.poll(now_s)
        if write:
            self._out.writes.append(write)
        for happening in happenings:
            self._happened(happening, now_s)
        if self._guard is not None and self.phase in GUARDED:
            trip = self._guard.judge(now_s)
            if trip is not None:
                self._trip(trip, now_s)
        if self.phase is Phase.ARMING and self.interlock.state is m.State.ARMED:
            self.phase = Phase.RUNNING
            self._phase_end_s = float("inf")
            self._runner = Runner(self.task.plan, now_s)
            self._note("armed", device_s=self._device_s(now_s))
        if now_s >= self._next_send_s:
            self._send_again(now_s)
        if self.phase is Phase.RUNNING:
            self._run(now_s)
        if now_s >= self._phase_end_s:
            self._phase_ended(now_s)

    def _send_again(self, now_s: float) -> None:
        if self.phase is Phase.STOPPING:
            self._send(m.Stop(self._stop_reason), now_s)
            self._next_send_s = now_s + STOP_REPEAT_S
        elif self.phase is Phase.LOCKING:
            self._lock(now_s)
        elif self.phase is Phase.RUNNING and self.interlock.may_drive:
            self._drive(now_s)

    def _phase_ended(self, now_s: float) -> None:
        self._phase_end_s = float("inf")
        if self.phase is Phase.ZEROING:
            self._zeroed(now_s)
        elif self.phase is Phase.LINGERING and self._pending is not None:
            self._finish(self._pending, confirmed=True)
        elif self.phase is Phase.STOPPING and self._pending is not None:
            self._finish(self._pending, confirmed=False)
        elif self.phase is Phase.LOCKING:
            cause = "The stand did not confirm that it locked after the plan."
            outcome = explain.ended(Ended.FAILED, cause, "not locked")
            self._stop(outcome, m.StopReason.END, now_s)
        elif self.phase is Phase.ARMING:
            cause = "The stand neither armed nor refused to."
            self._stop_for(explain.ended(Ended.FAILED, cause, "not armed"), now_s)
        elif self.phase in (Phase.READY, Phase.LATCHED):
            minutes = PERSON_PATIENCE_S / 60
            cause = f"Nobody said what to do for {minutes:.0f} minutes."
            self._stop_for(explain.ended(Ended.STOPPED, cause, "nobody there"), now_s)

    def _device_s(self, now_s: float) -> float:
        """This moment on the stand's clock."""
        return now_s - self.session.arrivals.offset_s

    # ---------------------------------------------------------- out

    def _send(self, command: m.ToStand, now_s: float) -> None:
        if not self.link_is_lost:
            self._out.writes.append(self.session.send(command, now_s))

    def _note(self, what: str, /, **fields: object) -> None:
        self._out.notes.append({"note": what, **fields})

    def _take_out(self) -> Outputs:
        taken, self._out = self._out, Outputs()
        return taken

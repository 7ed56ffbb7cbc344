"""One spin, whole and pure: bytes, orders and moments in, bytes and notes out.

Session, interlock, guard and runner put together. The keeper feeds it what
happened with the time it happened and does what comes out; a test feeds it
from a simulated device in virtual time; a replay feeds it from a record and
must get the same out, byte for byte. Reads no clock, does no I/O.

After a stop, of whatever cause, no throttle leaves here again.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from daq.link import messages as m
from daq.link import session as s
from protocols import explain
from protocols.guard.guard import Guard
from protocols.guard.readings import ReadingCheck
from protocols.guard.trip import Trip
from protocols.interlock import TOLD, Input, Interlock
from protocols.outcome import Data, Ended, Outcome
from protocols.readings import ZEROING_S, Scales
from protocols.runner import Runner
from protocols.task import Task

RENEW_S = 0.025  # throttle is sent this often, eight times a 200 ms lease
STOP_REPEAT_S = 0.02
STOP_PATIENCE_S = 1.0
LOCK_PATIENCE_S = 1.0
NEEDED = "current"  # without a limit on it no motor turns
LINGER_S = 0.5  # recorded after the stop, so that the record shows it

Note = dict[str, object]


class Phase(Enum):
    """How far the spin has come."""

    IDENTIFYING = "identifying"
    ZEROING = "zeroing"
    LATCHED = "waiting for an acknowledgement"
    LIMITING = "limiting"
    READY = "ready"
    ARMING = "arming"
    RUNNING = "running"
    LOCKING = "locking"
    STOPPING = "stopping"
    LINGERING = "lingering"
    ENDED = "ended"


GUARDED = (Phase.ARMING, Phase.RUNNING, Phase.LOCKING)
BEFORE_ARMING = (
    Phase.IDENTIFYING,
    Phase.ZEROING,
    Phase.LATCHED,
    Phase.LIMITING,
    Phase.READY,
)
OVER = (Phase.STOPPING, Phase.LINGERING, Phase.ENDED)


_COMPLETED = explain.ended(Ended.COMPLETED, "The plan was walked to its end.", "")


@dataclass(slots=True)
class Outputs:
    """What one step wants done.

    Attributes:
        writes: bytes for the port, each a whole frame or more.
        notes: decisions for the record.
    """

    writes: list[bytes] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.writes or self.notes)


class Control:
    """Takes one task from the first byte to its outcome.

    Attributes:
        task: what to do.
        phase: how far it has come.
        interlock: where the host holds the stand to be.
        session: the conversation.
        outcome: how it ended; None until it has.
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
        self._link_is_lost = False
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
            was_armed = self.interlock.may_drive or self.phase is Phase.STOPPING
            self._link_is_lost = True
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
        self._latch = message.latch
        before = self.interlock.state
        given = TOLD.get(message.state, Input.TOLD_TRIPPED)
        if given is Input.TOLD_ARMED and self.phase in (Phase.ARMING, Phase.RUNNING):
            given = Input.ARM_GRANTED
        after = self.interlock.give(given)
        if after is m.State.TRIPPED and before is not m.State.TRIPPED:
            self._stand_tripped(message, now_s)
        elif self.phase is Phase.STOPPING and message.state is m.State.TRIPPED:
            if isinstance(message, m.Event):
                self._stand_was_first(message)
            self._stop_confirmed(now_s)
        elif after is m.State.LOCKED and self.phase is Phase.LOCKING:
            self._linger(_COMPLETED, now_s)
        elif after is m.State.LOCKED and self.phase is Phase.RUNNING:
            cause = "The stand locked itself in the middle of the plan."
            outcome = explain.ended(Ended.FAILED, cause, "locked")
            self._stop_for(outcome, now_s)

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

    def _stand_was_first(self, event: m.Event) -> None:
        """The stand tripped before our stop reached it: its cause is the cause."""
        ours = self._pending is not None and self._pending.ended is Ended.TRIPPED
        if ours and event.cause.latches and event.cause is not m.Cause.STOP:
            self._pending = self._explained(event)

    def _explained(self, event: m.Event) -> Outcome:
        about, value = None, 0.0
        if self._scales is not None:
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
                self._ready()
            else:
                self._stop_for(explain.refused("the limits", replied.verdict), now_s)
        elif isinstance(command, m.Arm):
            if done:
                self.interlock.give(Input.ARM_GRANTED)
            else:
                self._stop_for(explain.refused("to arm", replied.verdict), now_s)
        elif isinstance(command, m.Stop) and self.phase is Phase.STOPPING:
            self._stop_confirmed(now_s)
        elif isinstance(command, m.Acknowledge) and done:
            self.interlock.give(Input.ACKNOWLEDGED)
            self._note("acknowledged")
            if self.phase is Phase.LATCHED:
                self._send_limits(now_s)

    def _unanswered(self, command: m.ToStand, now_s: float) -> None:
        name = type(command).__name__.lower()
        self._note("unanswered", to=name)
        if isinstance(command, m.Limits | m.Arm):
            cause = f"The stand did not answer the {name} command."
            self._stop_for(
                explain.ended(Ended.FAILED, cause, "unanswered", "Look at the cable."),
                now_s,
            )

    def _restarted(self, restarted: s.Restarted, now_s: float) -> None:
        self._note("restarted", was=restarted.was, now=restarted.now)
        self.interlock.give(Input.RESTARTED)
        guarded = self.phase in GUARDED
        self._stop_for(explain.restarted(self.phase.value, guarded=guarded), now_s)

    # ---------------------------------------------------------- getting ready

    def _not_a_stand(self, happening: s.WrongVersion | s.NotIdentified) -> None:
        if self.phase is Phase.IDENTIFYING:
            outcome = explain.not_a_stand(happening, self._port_name)
            self._finish(outcome, confirmed=True)

    def _identified(self, stand: s.Stand, now_s: float) -> None:
        if self.phase is not Phase.IDENTIFYING:
            return
        identity = stand.identity
        self._note(
            "identified",
            board=identity.board,
            stand_id=identity.stand_id,
            boot=identity.boot,
            firmware=f"{identity.firmware_major}.{identity.firmware_minor}",
            abilities=[a.name for a in m.Ability if a in identity.abilities],
            channels=[page.name for page in stand.channels],
        )
        self._scales = Scales(stand, self.task.limits)
        needed = m.Ability.LEASE | m.Ability.LIMITS
        if needed not in identity.abilities:
            self._give_up(
                "This stand cannot protect itself: it has no lease or limits."
            )
        elif NEEDED in self._scales.missing:
            self._give_up(
                f"This stand has no {NEEDED} channel: nothing would limit it."
            )
        else:
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
            self._note("latched", latch=self._latch)
        else:
            self._send_limits(now_s)

    def _send_limits(self, now_s: float) -> None:
        if self._scales is None:
            return
        self.phase = Phase.LIMITING
        self._limits_message = self._scales.wire_limits()
        self._send(self._limits_message, now_s)

    def _ready(self) -> None:
        if self.phase is not Phase.LIMITING or self._limits_message is None:
            return
        self.phase = Phase.READY
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
            self._note("ignored", order="go", state=self.interlock.state.name)
            return
        self.phase = Phase.ARMING
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
        self._next_send_s = now_s + RENEW_S

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
            self._lock(now_s)

    def _lock(self, now_s: float) -> None:
        stand = self.session.stand
        self.phase = Phase.LOCKING
        self._next_send_s = float("inf")
        self._phase_end_s = now_s + LOCK_PATIENCE_S
        if stand is not None:
            self._send(m.Lock(stand.identity.boot), now_s)

    # ---------------------------------------------------------- stopping

    def _trip(self, trip: Trip, now_s: float) -> None:
        self._note("trip", **trip.to_dict())
        outcome = explain.ended(Ended.TRIPPED, trip.cause, trip.check, trip.advice)
        self._stop(outcome, m.StopReason.GUARD, now_s)

    def _stop_for(self, outcome: Outcome, now_s: float) -> None:
        """Stop because of a fault, whatever it was."""
        self._stop(outcome, m.StopReason.FAULT, now_s)

    def _stop(self, outcome: Outcome, reason: m.StopReason, now_s: float) -> None:
        """Throttle zero; from here on nothing else is sent."""
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
        elif self.phase in (Phase.ARMING, Phase.RUNNING) and self.interlock.may_drive:
            self._drive(now_s)
        else:
            self._next_send_s = now_s + RENEW_S

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

    def _device_s(self, now_s: float) -> float:
        """This moment on the stand's clock."""
        return now_s - self.session.arrivals.offset_s

    # ---------------------------------------------------------- out

    def _send(self, command: m.ToStand, now_s: float) -> None:
        if not self._link_is_lost:
            self._out.writes.append(self.session.send(command, now_s))

    def _note(self, what: str, /, **fields: object) -> None:
        self._out.notes.append({"note": what, **fields})

    def _take_out(self) -> Outputs:
        taken, self._out = self._out, Outputs()
        return taken

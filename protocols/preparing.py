"""From a stand that was identified to one that may be armed.

Listen, clear what is latched, see the supply off, prove the guards, see the supply
on, take the zeros, send the limits, wait for a person; after their go, see the lease
stop the running motor. ``readiness`` holds the order. Nothing here follows the plan.
"""

import math
from typing import Final

from daq.link import messages as m
from daq.link import session as s
from protocols import explain, unprotected
from protocols.caps import blind_hold
from protocols.course import Course
from protocols.ending import Ending
from protocols.guard.now import REST_SPEED_RAD_S
from protocols.interlock import Input
from protocols.phases import ON_TRIAL, OVER, Phase
from protocols.proof.proof import Part, Proof, can_prove_pulses
from protocols.readiness import Readiness
from protocols.readings import ZEROING_S, Scales
from protocols.supply import SupplyWatch

LISTEN_S: Final = 0.5  # counters tell the state every 200 ms
DEAF_S: Final = 3.0  # a stand that says nothing for so long is not waited for
PERSON_PATIENCE_S: Final = 600.0  # a stand is not left ready for longer than this
_PATIENCE_S: Final = {
    Phase.LISTENING: LISTEN_S,
    Phase.ZEROING: ZEROING_S,
    Phase.LATCHED: PERSON_PATIENCE_S,
    Phase.UNPLUGGING: PERSON_PATIENCE_S,
    Phase.PLUGGING: PERSON_PATIENCE_S,
}
# Where a person or the time is waited for, with nothing else that notices silence.
_WAITING: Final = (
    Phase.LISTENING,
    Phase.LATCHED,
    Phase.UNPLUGGING,
    Phase.PROVING,
    Phase.PLUGGING,
    Phase.ZEROING,
    Phase.READY,
)


class Preparing:
    """Gets one stand ready for one task.

    Attributes:
        readiness: how far that has come.
        scales: what the guarded channels' counts mean; None before the stand is known.
        limits: the set as it was last sent, None before.
        simulated: the stand says that nothing turns; labels data, waives nothing.
        latch: number of the event that latched the stand, 0 for none.
    """

    def __init__(self, course: Course, ending: Ending) -> None:
        self._course = course
        self._ending = ending
        self.readiness = Readiness()
        self.scales: Scales | None = None
        self.limits: m.Limits | None = None
        self._proof: Proof | None = None
        self.simulated = False
        self.latch = 0
        self._supply: SupplyWatch | None = None
        self._heard_s = math.inf

    @property
    def proof(self) -> Proof | None:
        """The part of the proof that is under way; a stop ends it too."""
        return self._proof if self._course.phase in ON_TRIAL else None

    # ------------------------------------------------------------ what came in

    def identified(self, stand: s.Stand, now_s: float) -> None:
        """The stand said who it is."""
        course = self._course
        if course.phase is not Phase.IDENTIFYING:
            return
        self._heard_s = now_s
        identity = stand.identity
        self.simulated = m.Ability.SIMULATED in identity.abilities
        course.note(
            "identified",
            simulated=self.simulated,
            board=identity.board,
            stand_id=identity.stand_id,
            boot=identity.boot,
            firmware=f"{identity.firmware_major}.{identity.firmware_minor}",
            abilities=[a.name for a in m.Ability if a in identity.abilities],
            channels=[page.name for page in stand.channels],
        )
        described, limits = course.task.stand, course.task.limits
        supply = SupplyWatch(stand)
        if described is not None:
            course.note("unprotected", lacks=list(unprotected.lacks(described)))
            # Its motor may still turn from before: nothing on it would have stopped it.
            course.send(m.Lock(identity.boot), now_s)
            limits = unprotected.patient(limits, described)
            supply = SupplyWatch(stand, unprotected.silence_s(described))
            self.readiness.guards_provable = False
            self.readiness.plug_awaited = supply.visible
        self.scales = Scales(stand, limits)
        objection = self.scales.objection_to_stand(unprotected=described is not None)
        plan = course.task.plan
        objection = objection or blind_hold(plan, self.scales.missing)
        if objection is None and plan.captures:
            objection = _no_captures(stand)
        if objection is not None:
            self._ending.give_up(objection)
            return
        if self.scales.missing:
            course.note("unguarded", channels=self.scales.missing)
        self._supply = supply
        self.readiness.pulses_provable = can_prove_pulses(stand)
        if course.task.plan.by_hand:  # nothing will turn, so nothing has to stop it
            self.readiness.guards_provable = self.readiness.pulses_provable = False
            self.readiness.plug_awaited = supply.visible
        self._next(now_s)

    def sampled(self, sampled: s.Sampled, now_s: float) -> None:
        """A sample came."""
        self._heard_s = now_s
        if self._supply is not None:
            self._supply.take(sampled, now_s)
        if self.proof is not None:
            self.proof.sampled(sampled)
        if self.scales is not None and self._course.phase is Phase.ZEROING:
            self.scales.collect(sampled)

    def expects(self, message: m.Event | m.Counters) -> bool:
        """Whether the proof brought this trip about; its word comes as an event.

        Counters that tell of it without one: the proof misses the event, and fails.
        """
        if self.proof is None or message.state is not m.State.TRIPPED:
            return False
        return isinstance(message, m.Counters) or self.proof.expects(message.cause)

    def answered(self, replied: s.Replied) -> None:
        """A command of the proof was answered."""
        if self.proof is not None:
            self.proof.answered(replied)
        if replied.verdict is m.Verdict.DONE:
            given = {
                m.Prove: Input.PROVE_GRANTED,
                m.Arm: Input.ARM_GRANTED,
                m.Acknowledge: Input.ACKNOWLEDGED,
            }.get(type(replied.command))
            if given is not None:
                self._course.interlock.give(given)

    def limits_answered(self, replied: s.Replied, now_s: float) -> bool:
        """The limits were answered; whether the stand is to be armed now."""
        limits = self.limits
        taken = replied.verdict is m.Verdict.DONE
        if limits is None or not taken or replied.value != limits.crc:
            self._ending.stop_for(explain.refused("the limits", replied.verdict), now_s)
            return False
        if self._course.phase is not Phase.LIMITING:
            return False
        if self.readiness.tried:
            return True
        self._course.enter(Phase.READY, now_s, PERSON_PATIENCE_S)
        self._course.note("ready", limits_crc=limits.crc)
        return False

    # -------------------------------------------------------- what a person does

    def may_try(self, now_s: float) -> bool:
        """A person said go: whether the motor may turn for the last of the proof."""
        course = self._course
        if course.phase is not Phase.READY:
            course.note("ignored", order="go", phase=course.phase.value)
            return False
        if not course.interlock.may_arm:
            state = course.interlock.state.name.lower()
            self._ending.give_up(
                f"The stand is not locked but {state}, so it was not armed."
            )
            return False
        if self.readiness.lapsed(now_s):
            course.note("proof lapsed")
            self._next(now_s)
            return False
        self.readiness.went = True
        if course.task.plan.by_hand:
            course.enter(Phase.LOADING, now_s)
            return True
        course.enter(Phase.TRYING, now_s)
        self._begin_proof(Part.RUNNING, now_s)
        return self.proof is not None

    def acknowledge(self, now_s: float) -> None:
        """A person found the cause and removed it."""
        course, stand = self._course, self._course.session.stand
        latched = course.interlock.state is m.State.TRIPPED
        if stand is None or not latched or course.phase in OVER:
            course.note("ignored", order="acknowledge", phase=course.phase.value)
            return
        course.send(m.Acknowledge(stand.identity.boot, self.latch), now_s)

    def still_latched(self) -> None:
        """A person has to clear it, perhaps once more."""
        if self._course.phase is Phase.LATCHED:
            self._course.note("latched", latch=self.latch)

    def acknowledge_answered(self, verdict: m.Verdict, now_s: float) -> None:
        """The stand cleared its latch, or did not."""
        course = self._course
        # Refused because it is not tripped: an earlier one was heard after all.
        cleared = (
            verdict is m.Verdict.WRONG_STATE and course.session.state is m.State.LOCKED
        )
        if verdict is not m.Verdict.DONE and not cleared:
            self.still_latched()
            return
        course.interlock.give(Input.ACKNOWLEDGED)
        course.note("acknowledged")
        if course.phase is Phase.LATCHED:
            self._next(now_s)

    # ------------------------------------------------------------------ time

    def advance(self, now_s: float) -> None:
        """What became possible by what came in, or by the passing of time."""
        if now_s >= self.deadline_s:
            self._ending.stop_for(explain.fell_silent(DEAF_S), now_s)
            return
        if self._course.phase in (Phase.UNPLUGGING, Phase.PLUGGING):
            self._see_supply(now_s)
        if self.proof is not None:
            self._prove(self.proof, now_s)

    @property
    def deadline_s(self) -> float:
        """When a stand that is waited for has been silent for too long."""
        waits = self._course.phase in _WAITING
        return self._heard_s + DEAF_S if waits else math.inf

    def time_is_up(self, now_s: float) -> None:
        """Listening or zeroing has lasted as long as it should."""
        if self._course.phase is Phase.LISTENING:
            self.readiness.listened = True
            self._next(now_s)
        else:
            self._zeroed(now_s)

    def _next(self, now_s: float) -> None:
        """Begin whatever has to be done next before the motor may turn."""
        course = self._course
        latched = course.interlock.state is m.State.TRIPPED
        phase = self.readiness.next_phase(latched=latched)
        course.enter(phase, now_s, _PATIENCE_S.get(phase, math.inf))
        match phase:
            case Phase.LATCHED:
                self.still_latched()
            case Phase.UNPLUGGING | Phase.PLUGGING:
                if not self._see_supply(now_s):
                    out = phase is Phase.UNPLUGGING
                    course.note("wanted", what="plug out" if out else "plug in")
            case Phase.ZEROING if self.scales is not None:
                self.scales.begin()
            case Phase.PROVING:
                self._begin_proof(Part.EVENTS, now_s)
            case Phase.LIMITING:
                self._send_limits(now_s)
            case _:
                pass

    def _see_supply(self, now_s: float) -> bool:
        """Go on once the supply is seen to be as it has to be; whether it is."""
        supply, course = self._supply, self._course
        if supply is None:
            return False
        if course.phase is Phase.UNPLUGGING and supply.seen_off(now_s):
            course.enter(Phase.PROVING, now_s)
            self._begin_proof(Part.PULSE, now_s)
            return True
        if course.phase is Phase.PLUGGING and supply.seen_on(now_s):
            self.readiness.supplied = True
            self._next(now_s)
            return True
        return False

    def _zeroed(self, now_s: float) -> None:
        if self.scales is None:
            return
        means = self.scales.settle()
        found = {n: v if math.isfinite(v) else None for n, v in means.items()}
        self._course.note("zeroed", means=found)
        if self.scales.mute:
            self._course.note("mute", channels=self.scales.mute)
        if means.get("speed", 0.0) > REST_SPEED_RAD_S:
            turning = explain.turns_unasked(means["speed"])
            self._ending.finish(turning, confirmed=False)
            return
        objection = self.scales.objection(means)
        if objection is not None:
            self._ending.give_up(objection)
            return
        self.readiness.zeroed = True
        self._next(now_s)

    def _wire_limits(self) -> m.Limits | None:
        """The set for this stand; None after saying why there can be none."""
        if self.scales is None:
            return None
        try:
            return self.scales.wire_limits()
        except ValueError as fault:
            self._ending.give_up(f"The limits cannot be sent to this stand: {fault}.")
            return None

    def _send_limits(self, now_s: float) -> None:
        self.limits = self._wire_limits()
        if self.limits is not None:
            self._course.send(self.limits, now_s)

    # ------------------------------------------------------------- the proof

    def _begin_proof(self, part: Part, now_s: float) -> None:
        course, stand = self._course, self._course.session.stand
        limits = self._wire_limits()
        if stand is None or limits is None:
            return
        self._proof = Proof(
            part,
            stand,
            limits,
            lease_ms=course.lease_ms,
            nonce=course.task.nonce,
            highest=course.task.plan.max_throttle_frac,
            state=course.session.state,
            now_s=now_s,
        )

    def _prove(self, proof: Proof, now_s: float) -> None:
        """Let the proof go as far as it can."""
        course = self._course
        for ask in proof.step(now_s, course.session.newest_us):
            course.send(ask.command, now_s, damaged=ask.damaged)
        for note in proof.take_notes():
            course.note(str(note.pop("note")), **note, **course.by)
        failure = proof.failure
        if failure is not None:
            self._proof = None
            self._ending.ran_on = failure.runs_on
            self._ending.stop_for(explain.not_proven(failure), now_s)
        elif proof.done:
            self._proof = None
            if proof.part is Part.RUNNING:
                self.readiness.tried = True
            else:
                self.readiness.proven(now_s)
            self._next(now_s)


def _no_captures(stand: s.Stand) -> str | None:
    """Why a plan that asks for captures is not for this stand; None when it is."""
    if m.Ability.CAPTURE in stand.identity.abilities:
        return None
    return (
        f"This stand ({stand.identity.board}) has no fast capture, and the plan asks "
        "for some: take a protocol without, such as punch."
    )

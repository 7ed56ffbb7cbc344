"""Session, interlock, guard and control together, under whatever may happen.

A simulated stand with faults, a client and a person's hands, in virtual time; what
happens next is drawn. What has to hold is looked at in every tick, and at the end the
record has to give the same decisions when it is replayed.
"""

from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import Phase as Stage
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
)
from typing_extensions import override

from daq.link import messages as m
from daq.link.framing import frame
from daq.link.standing import MAY_DRIVE
from daq.records.wirelog import Kind
from daq.stand.device import TICK_S, ZERO_PULSE_S
from daq.stand.faults.board import LockUp
from daq.stand.faults.catalogue import KINDS, draw
from daq.stand.faults.fault import NEVER
from daq.stand.faults.sensors import SensorFault
from daq.stand.faults.stand import FaultyStand
from daq.stand.faults.wire import CableOut, LateChunks
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from protocols.control import Control
from protocols.phases import ON_TRIAL, OVER, Phase
from protocols.proof.exercises import RAISED
from tests.protocols.test_control_laws import QUICK, TASK, Spin, assert_replays

LEASE_S = QUICK.lease_s
SLACK_S = 0.005  # a servo frame, and a tick either side
PROVING_PULSE_S = ZERO_PULSE_S * (1 + RAISED / m.THROTTLE_FULL) + 1e-9
SUPPLY_SEEN_S = 0.1  # how old a voltage may be by which the supply is off
# Throttle 40 times a second, stops 50 times, who 10 times, and a proof's commands.
WRITES_PER_S = 130
WRITES_AT_ONCE = 12
NOTES_AT_ONCE = 40
STARTS = (
    Phase.IDENTIFYING,
    Phase.LATCHED,
    Phase.UNPLUGGING,
    Phase.PROVING,
    Phase.ZEROING,
    Phase.READY,
    *(Phase.TRYING,) * 2,
    *(Phase.RUNNING,) * 3,
    Phase.LOCKING,
    Phase.STOPPING,
)
starts = st.integers(0, 2**16).map(lambda number: STARTS[number % len(STARTS)])


@dataclass
class Observed(Spin):
    """A spin under the laws, every tick of it looked at.

    Attributes:
        renewed_s: when the stand last granted or renewed a lease.
        acknowledged: how often the stand has cleared a latch.
        person_acknowledges: a person has just said so.
        supplied_s: since when the supply is on while the stand is proving.
        tripped_at: how many commands were sent when the host's latch closed.
        broken: laws that did not hold.
    """

    renewed_s: float = 0.0
    acknowledged: int = 0
    person_acknowledges: bool = False
    supplied_s: float = NEVER
    tripped_at: int = 0
    broken: list[str] = field(default_factory=list)

    @property
    def stand(self) -> FaultyStand:
        assert isinstance(self.device, FaultyStand)
        return self.device

    @override
    def begin(self) -> None:
        super().begin()
        self.laws.went = False
        self.went = True  # nobody says go by itself
        stand, acknowledge, arm = (
            self.stand,
            self.stand._acknowledge,
            self.stand._arm,
        )
        throttle = stand._throttle

        def acknowledging(message: m.Acknowledge) -> m.Verdict:
            verdict = acknowledge(message)
            self.acknowledged += verdict is m.Verdict.DONE
            return verdict

        def arming(message: m.Prove | m.Arm, sequence: int) -> m.Verdict:
            verdict = arm(message, sequence)
            if verdict is m.Verdict.DONE:
                self.renewed_s = stand.elapsed_s
            return verdict

        def throttling(message: m.Throttle, sequence: int) -> None:
            ignored = stand._ignored
            throttle(message, sequence)
            if stand._ignored == ignored:
                self.renewed_s = stand.elapsed_s

        stand._acknowledge = acknowledging  # type: ignore[method-assign]
        stand._arm = arming  # type: ignore[method-assign]
        stand._throttle = throttling  # type: ignore[method-assign]

    def hold(self, law: bool, words: str) -> None:
        if not law:
            self.broken.append(f"{words}, at {self.elapsed_s:.3f} s")

    @override
    def _input(self, kind: Kind, data: bytes) -> None:
        control = self.control
        before, latched = control.phase, control.interlock.state
        sent, noted = len(self.laws.sent), len(self.records)
        super()._input(kind, data)
        said = self.laws.sent[sent:]
        self.hold(len(said) <= WRITES_AT_ONCE, f"{len(said)} commands at once")
        self.hold(len(self.records) - noted <= NOTES_AT_ONCE, "notes without end")
        after = control.phase
        self.hold(before not in OVER or after in OVER, f"{before} became {after}")
        self.hold(
            before is not Phase.ENDED or after is Phase.ENDED, f"ended, then {after}"
        )
        clears = any(isinstance(c, m.Acknowledge) for c in said)
        self.hold(
            not clears or before in ON_TRIAL or self.person_acknowledges,
            "a latch was acknowledged that no person had seen",
        )
        now = control.interlock.state
        if latched is not m.State.TRIPPED and now is m.State.TRIPPED:
            self.tripped_at = sent
        elif latched is m.State.TRIPPED and now is not m.State.TRIPPED:
            since = self.laws.sent[self.tripped_at :]
            asked = any(isinstance(c, m.Acknowledge) for c in since)
            self.hold(asked, "the host's latch was left by itself")

    @override
    def step(self, ticks: int = 1) -> None:
        stand = self.stand
        state, boot, cleared = stand.state, stand.boot, self.acknowledged
        super(Spin, self).step(ticks)
        if state is m.State.TRIPPED and stand.state is not state:
            self.hold(
                stand.boot != boot or self.acknowledged > cleared,
                "the stand's latch was left by itself",
            )
        self._look_at_the_pulse()

    def _look_at_the_pulse(self) -> None:
        stand = self.stand
        stuck = any(isinstance(fault, LockUp) for fault in stand.active)
        up = stand.pulse_s > ZERO_PULSE_S
        if up and not stuck:
            away_s = stand.elapsed_s - self.renewed_s
            self.hold(
                away_s <= LEASE_S + SLACK_S, f"a pulse {away_s:.3f} s after its lease"
            )
        most_s = PROVING_PULSE_S
        if self.laws.went:
            most_s = ZERO_PULSE_S * (1 + QUICK.max_throttle_frac) + 1e-9
        self.hold(stand.pulse_s <= most_s, f"a pulse of {1e6 * stand.pulse_s:.0f} us")
        self._look_at_the_supply(up=up, stuck=stuck)

    def _look_at_the_supply(self, *, up: bool, stuck: bool) -> None:
        """Proving with the supply on: the stand has to see it, unless it is lied to."""
        stand = self.stand
        lied_to = any(isinstance(fault, SensorFault) for fault in stand.faults)
        proves = up and stand.state is m.State.PROVING and stand.bench.bus_v > 1.2
        if not proves or lied_to or stuck:
            self.supplied_s = NEVER
            return
        self.supplied_s = min(self.supplied_s, stand.elapsed_s)
        on_s = stand.elapsed_s - self.supplied_s
        self.hold(on_s <= SUPPLY_SEEN_S + SLACK_S, f"proving {on_s:.3f} s with supply")


class Together(RuleBasedStateMachine):
    """What may happen, in any order."""

    run_: Observed
    passed_s: float
    sent: int

    @initialize(start=starts, seed=st.integers(0, 99))
    def begin(self, start: Phase, seed: int) -> None:
        stand = FaultyStand(Plant(shipped_truth(), seed), seed=seed)
        self.run_ = run = Observed(Control(TASK, "test port"), stand)
        run.begin()
        if start is Phase.LATCHED:
            stand.receive(frame(m.encode(m.Stop(m.StopReason.PERSON), 0)))
        run._input(Kind.TICK, b"")
        for _ in range(8000):
            phase = run.control.phase
            if phase is start:
                break
            run.step(2)
            if phase is Phase.READY:
                self.go()
            elif phase is Phase.RUNNING and start is Phase.STOPPING:
                self.stop()
        assert run.control.phase is start

    def _pass(self, spell_s: float) -> None:
        run = self.run_
        before = len(run.laws.sent)
        for _ in range(round(spell_s / TICK_S / 2)):
            run.step(2)
        written = len(run.laws.sent) - before
        most = WRITES_AT_ONCE + WRITES_PER_S * spell_s
        run.hold(written <= most, f"{written} commands in {spell_s:.3f} s")

    # ------------------------------------------------------------------ time

    @rule(spell_s=st.sampled_from((0.004, 0.03, 0.15, 0.25, 0.5, 1.0)))
    def time_passes(self, spell_s: float) -> None:
        self._pass(spell_s)

    @rule(spell_s=st.sampled_from((0.05, 0.15, 0.3, 1.0)))
    def the_host_freezes_and_thaws(self, spell_s: float) -> None:
        self.run_.host_runs = False
        self._pass(spell_s)
        self.run_.host_runs = True

    # ------------------------------------------------------- client and person

    @rule(beats=st.booleans())
    def the_client_beats_or_hangs(self, beats: bool) -> None:
        self.run_.beats = beats
        self._pass(0.05)

    @precondition(lambda self: self.run_.control.phase is Phase.READY)
    @rule()
    def go(self) -> None:
        self.run_.laws.went = True
        self.run_.order(order="go")
        self._pass(0.01)

    @precondition(lambda self: self.run_.control.phase is not Phase.READY)
    @rule()
    def go_at_the_wrong_moment(self) -> None:
        before = self.run_.control.phase
        self.run_.order(order="go")
        # Time alone may have brought about another phase, but not this one.
        assert self.run_.control.phase is not Phase.TRYING or before is Phase.TRYING

    def stop(self) -> None:
        self.run_.order(order="stop")
        assert self.run_.control.phase in OVER

    @rule(gone=st.sampled_from((False, False, True)))
    def it_is_stopped_or_the_port_is_gone(self, gone: bool) -> None:
        if not gone:
            self.stop()
            return
        self.run_.cable = False
        self.run_._input(Kind.LOST, b"The port is gone.")
        assert self.run_.control.phase is Phase.ENDED

    @rule()
    def acknowledge(self) -> None:
        self.run_.person_acknowledges = True
        self.run_.order(order="acknowledge")
        self.run_.person_acknowledges = False
        self._pass(0.01)

    # ------------------------------------------------------------ hands, cable

    @rule(inserted=st.booleans())
    def the_plug_is_moved(self, inserted: bool) -> None:
        self.run_.stand.plug_in = inserted
        self._pass(0.02)

    @rule(is_open=st.booleans())
    def the_stop_loop_is_moved(self, is_open: bool) -> None:
        self.run_.stand.stop_loop_open = is_open
        self._pass(0.02)

    @rule(obliging=st.booleans())
    def the_person_helps_or_not(self, obliging: bool) -> None:
        self.run_.obliging = obliging
        self._pass(0.2)

    @rule(
        direction=st.sampled_from(("to-host", "to-stand", "both")),
        lasts_s=st.sampled_from((0.02, 0.1, 0.15, 0.3, NEVER)),
    )
    def the_cable_comes_out(self, direction: str, lasts_s: float) -> None:
        now_s = self.run_.stand.elapsed_s
        out = CableOut(start_s=now_s, end_s=now_s + lasts_s, direction=direction)
        self.run_.stand.add(out)
        self._pass(0.05)

    @rule(direction=st.sampled_from(("to-host", "to-stand")), delay_s=st.floats(0, 0.6))
    def bytes_come_late(self, direction: str, delay_s: float) -> None:
        now_s = self.run_.stand.elapsed_s
        late = LateChunks(
            start_s=now_s, end_s=now_s + 0.1, direction=direction, delay_s=delay_s
        )
        self.run_.stand.add(late)
        self._pass(0.1)

    @rule(way=st.sampled_from(("to_host", "to_stand")), byte=st.integers(0, 255))
    def a_byte_is_damaged(self, way: str, byte: int) -> None:
        queue = getattr(self.run_, way)
        while not queue and self.run_.control.phase is not Phase.ENDED:
            before = self.run_.host_ns
            self.run_.step(1)
            if self.run_.stand.dark or self.run_.host_ns - before > 10**9:
                break
            if self.run_.stand.elapsed_s > 600:
                break
            if way == "to_stand":
                break  # the host may say nothing for long
        if queue:
            when_ns, data = queue.pop()
            place = byte % len(data)
            broken = data[:place] + bytes([byte]) + data[place + 1 :]
            queue.append((when_ns, broken))
        self._pass(0.01)

    @rule(seed=st.integers(0, 2**32 - 1))
    def something_goes_wrong(self, seed: int) -> None:
        now_s = self.run_.stand.elapsed_s
        rng = np.random.default_rng(seed)
        self.run_.stand.add(draw(rng, tuple(KINDS), (now_s, now_s + 0.3)))
        self._pass(0.1)

    # -------------------------------------------------------------------- laws

    @invariant()
    def the_laws_hold(self) -> None:
        if hasattr(self, "run_"):
            assert self.run_.broken == []

    @override
    def teardown(self) -> None:
        if not hasattr(self, "run_"):
            return
        run = self.run_
        run.host_runs = True
        run.order(order="stop")
        assert run.control.phase in OVER
        for _ in range(4000):  # 8 s: stopping, lingering, and both again
            if run.control.phase is Phase.ENDED:
                break
            run.step(2)
        assert run.control.phase is Phase.ENDED
        assert run.control.outcome is not None
        locked_s = max(
            [f.watchdog_s for f in run.stand.faults if isinstance(f, LockUp)], default=0
        )
        run.cable = run.host_runs = False
        for _ in range(round((LEASE_S + SLACK_S + locked_s) / TICK_S)):
            run.step(1)
        assert run.stand.pulse_s <= ZERO_PULSE_S
        assert run.stand.state not in MAY_DRIVE
        assert run.broken == []
        assert_replays(run.records, TASK)


TestTogether = pytest.mark.slow(Together.TestCase)
TestTogether.settings = settings(
    max_examples=settings().max_examples,
    stateful_step_count=18,
    phases=(Stage.explicit, Stage.reuse, Stage.generate, Stage.shrink),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)

"""The faulty stand as a device: nothing without faults, several at once, by seed."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.link import messages as m
from daq.stand.device import Device
from daq.stand.faults.article import (
    DesynchronisedMotor,
    EscIgnoringZero,
    EscNotArming,
    HotMotor,
    LoosePlug,
    PlugOut,
    StalledMotor,
    StopLoopOpen,
    ThrownPropeller,
    WeakPack,
)
from daq.stand.faults.board import Hang, LockUp, Reset
from daq.stand.faults.catalogue import KINDS, draw
from daq.stand.faults.fault import Fault
from daq.stand.faults.sensors import FrozenSensor, NoisySensor, SilentSensor
from daq.stand.faults.stand import FaultyStand
from daq.stand.faults.wire import CableOut, DamagedBytes, LateChunks, LostBytes
from daq.stand.plant.bench import Plant
from tests.daq.stand.faults.rig import Rig, spinning
from tests.daq.stand.plant.builder import changed

TRUTH = changed({})


def said(stand: Device, portions: tuple[int, ...]) -> bytes:
    return b"".join(stand.advance(ticks) for ticks in portions)


WHOLE = said(Device(Plant(TRUTH, 3)), (2000,))
FAR_S = 900.0


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_before_its_start_a_fault_changes_no_byte(kind: type[Fault]) -> None:
    stand = FaultyStand(Plant(TRUTH, 3), [kind(start_s=FAR_S)])
    assert said(stand, (1, 999, 1000)) == WHOLE


def test_without_faults_it_is_the_device_byte_for_byte_while_it_spins() -> None:
    healthy = spinning(until_s=1.5)
    quiet = spinning(Reset(FAR_S), LostBytes(FAR_S), until_s=1.5)
    assert healthy.raw == quiet.raw
    assert len(healthy.messages(m.Samples)) > 500


def test_after_its_end_a_fault_of_a_sensor_or_a_late_line_leaves_no_trace() -> None:
    faults = [NoisySensor(0.5, 1.0), LateChunks(0.5, 1.0, delay_s=0.1)]
    stand = FaultyStand(Plant(TRUTH, 3), faults)
    came = said(stand, (2000,))
    assert len(came) == len(WHOLE)
    assert came != WHOLE
    assert came[-8000:] == WHOLE[-8000:]


EVERYTHING: list[Fault] = [
    NoisySensor(0.2, 1.4, "current", 0.5),
    LostBytes(0.3, 1.2, "to-host", rate_frac=0.01),
    DamagedBytes(0.3, 1.2, rate_frac=0.003),
    LateChunks(0.4, 1.1, rate_frac=0.2, delay_s=0.02, jitter_s=0.01),
    LoosePlug(0.5, 1.5, openings_s=10.0),
    DesynchronisedMotor(0.8, 1.3),
    Reset(1.6),
]


def test_the_same_seed_suffers_the_same_and_another_does_not() -> None:
    runs = [spinning(*EVERYTHING, until_s=2.0, seed=seed) for seed in (3, 3, 4)]
    assert runs[0].raw == runs[1].raw
    assert runs[0].raw != runs[2].raw


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(1, 400), min_size=1, max_size=12))
def test_time_may_pass_in_any_portions(portions: list[int]) -> None:
    faults = [fault for fault in EVERYTHING if not isinstance(fault, LateChunks)]
    ticks = sum(portions)
    plain = FaultyStand(Plant(TRUTH, 3), faults, seed=1)
    cut = FaultyStand(Plant(TRUTH, 3), faults, seed=1)
    assert said(plain, (ticks,)) == said(cut, tuple(portions))


def test_a_fault_draws_the_same_numbers_whatever_comes_after_it_in_the_list() -> None:
    alone = Rig(NoisySensor(0.2, channel="voltage"))
    among = Rig(NoisySensor(0.2, channel="voltage"), ThrownPropeller(), Hang(0.9, 1.0))
    for rig in (alone, among):
        rig.until(0.9)
    assert alone.readings("voltage") == among.readings("voltage")


def test_a_thrown_propeller_behind_a_frozen_speed_shows_in_the_current_alone() -> None:
    rig = spinning(ThrownPropeller(1.5), FrozenSensor(1.4, channel="speed"))
    assert len(set(rig.si("speed", 1.41, 2.0))) == 1
    assert rig.stand.bench.state.speed_rad_s > 2700.0
    before, after = rig.si("current", 1.3, 1.5), rig.si("current", 1.9, 2.0)
    assert max(after) < 0.6 * min(before)


def test_a_stall_on_a_weak_pack_draws_what_both_let_through() -> None:
    rig = spinning(WeakPack(resistance_factor=5.0), StalledMotor(1.0))
    state = rig.stand.bench.state
    source_ohm = 5.0 * TRUTH.pack.resistance_ohm + 0.018
    loop_ohm = TRUTH.motor.resistance_ohm + TRUTH.esc.on_resistance_ohm
    emf_v = state.open_circuit_v - state.slow_v
    draw_a = TRUTH.esc.idle_current_a + TRUTH.esc.electronics_draw_a
    # Kirchhoff at standstill: d (E - R_s (d I + draw)) = I R_loop, d = 0.5.
    motor_a = 0.5 * (emf_v - source_ohm * draw_a) / (loop_ohm + 0.25 * source_ohm)
    assert state.motor_a == pytest.approx(motor_a, rel=1e-6)


def test_a_cable_out_during_a_hang_loses_what_the_buffer_would_have_held() -> None:
    rig = Rig(Hang(0.5, 1.5), CableOut(0.4, 1.4, "to-stand"))
    rig.until(1.0)
    rig.send(m.Stop(m.StopReason.PERSON))
    rig.until(2.0)
    assert rig.state() is m.State.LOCKED


def test_a_sensor_stays_silent_through_a_reset() -> None:
    rig = Rig(SilentSensor(0.5, 2.0, "thrust"), Reset(1.0))
    rig.until(2.2)
    assert rig.si("thrust", 0.51, 2.0) == []
    assert rig.si("thrust", 2.0, 2.2)


def test_the_plug_pulled_while_the_board_is_locked_up_stops_the_motor() -> None:
    rig = spinning(LockUp(1.0, watchdog_s=3.0), PlugOut(1.5), until_s=3.5)
    assert rig.stand.pulse_s > 1.4e-3
    assert rig.stand.bench.state.speed_rad_s == 0.0


def test_two_plugs_out_are_out_until_both_are_back() -> None:
    rig = Rig(PlugOut(0.2, 1.0), PlugOut(0.5, 1.5))
    rig.until(1.4)
    assert rig.stand.bench.bus_v < 1.0
    rig.until(1.6)
    assert rig.stand.bench.bus_v > 12.0


def test_a_propeller_that_was_taken_off_stays_off_whatever_begins_and_ends() -> None:
    faults = [HotMotor(0.1, 0.3), ThrownPropeller(0.1, 0.2)]
    for bare in (True, False):
        stand = FaultyStand(Plant(TRUTH, 3), faults, bare=bare)
        thrust_n = []
        for _ in range(5):
            stand.advance(100)  # each fault begins or ends in one of these
            stand.bench.advance(0.5, 1.3e-3)
            assert stand.bench.state.speed_rad_s > 1000.0
            thrust_n.append(stand.bench.state.thrust_n)
        assert bare == (max(thrust_n) == 0.0)


def test_a_fault_can_be_added_while_it_runs_and_starts_at_once_if_it_is_past() -> None:
    rig = spinning(until_s=1.0)
    rig.stand.add(ThrownPropeller(0.5))
    rig.hold(0.5, 1.1)
    assert rig.stand.bench.state.thrust_n == 0.0
    assert rig.stand.active == (ThrownPropeller(0.5),)
    rig.stand.add(CableOut(1.2, 1.3))
    rig.hold(0.5, 1.4)
    heard_s = [at_s for at_s, _ in rig.said]
    gap_s = max(b - a for a, b in pairwise(heard_s))
    assert 0.09 < gap_s < 0.11


def test_a_fault_given_late_with_its_end_past_happens_still() -> None:
    rig = Rig()
    rig.until(1.0)
    rig.stand.add(Reset(0.5))
    rig.until(1.4)
    assert rig.stand.boot == 2


def test_a_fault_given_late_grows_from_when_it_was_given() -> None:
    rig = Rig()
    rig.until(1.0)
    rig.stand.add(LoosePlug(0.5, growth_ohm_s=1.0, openings_s=0.0))
    rig.until(1.1)
    assert rig.stand.bench._condition.plug_ohm == pytest.approx(0.1, abs=0.002)


def test_a_fault_shorter_than_a_tick_is_not_missed() -> None:
    rig = spinning(StopLoopOpen(1.5, 1.5), until_s=1.6)
    assert rig.causes()[-1] is m.Cause.STOP_LOOP_OPEN
    assert not rig.stand.stop_loop_open


def test_nothing_overtakes_what_a_late_line_still_holds_when_it_is_well_again() -> None:
    rig = Rig(LateChunks(0.1, 0.2, "to-stand", delay_s=0.5))
    rig.until(0.15)
    rig.send(m.Stop(m.StopReason.PERSON))
    rig.until(0.3)
    rig.send(m.Lock(rig.stand.boot))
    rig.until(0.8)
    replies = [(r.to_type, r.verdict) for r in rig.messages(m.Reply)]
    assert replies == [
        (m.Stop.TYPE, m.Verdict.DONE),
        (m.Lock.TYPE, m.Verdict.WRONG_STATE),
    ]


def test_a_braking_motor_on_an_unplugged_bus_makes_no_voltage_below_zero() -> None:
    braking = DesynchronisedMotor(1.0, least_grip_frac=-1.0, most_grip_frac=-0.9)
    rig = spinning(braking, PlugOut(1.01), until_s=1.01)
    for _ in range(300):
        rig.hold(0.5, rig.now_s + 0.001)
        assert rig.stand.bench.bus_v >= 0.0


def test_an_esc_that_no_longer_arms_is_silent_though_it_ignores_zero() -> None:
    rig = spinning(EscIgnoringZero(1.0), EscNotArming(1.5), until_s=1.6)
    assert rig.stand.bench.state.duty_frac == 0.0


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(60))
def test_any_three_faults_leave_a_stand_that_is_safe_when_nobody_drives_it(
    seed: int,
) -> None:
    rng = np.random.default_rng(seed)
    faults = [draw(rng, window_s=(0.0, 2.5)) for _ in range(3)]
    rig = Rig(*faults, seed=seed)
    rig.run(25)
    rig.send(rig.limits())
    rig.send(m.Arm(5, rig.stand.boot, rig.limits().crc, 500, rig.stand.time_us))
    rig.hold(0.4, 3.0)
    stuck = max((f.end_s for f in faults if isinstance(f, LockUp)), default=0.0)
    # 0.5 s of the longest lease; a locked-up board is the watchdog's, not ours.
    rig.until(max(3.0, stuck) + 0.6)
    assert rig.stand.pulse_s <= 1e-3
    assert np.isfinite(rig.stand.bench.state.speed_rad_s)
    assert rig.stand.bench.bus_v >= 0.0

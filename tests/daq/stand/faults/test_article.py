"""Each fault of the article: what it does to the physics, and what is heard of it."""

import math

import numpy as np
import pytest

from daq.link import messages as m
from daq.stand.faults.article import (
    DesynchronisedMotor,
    EscIgnoringZero,
    EscNotArming,
    HotMotor,
    LoosePlug,
    NearlyEmptyPack,
    PlugOut,
    StalledMotor,
    StopLoopOpen,
    ThrownPropeller,
    WeakPack,
    WrongPack,
)
from tests.daq.stand.faults.rig import NONCE, Rig, mean, spinning
from tests.daq.stand.plant.builder import changed

TRUTH = changed({})
KT = 60.0 / (2.0 * math.pi * TRUTH.motor.kv_rpm_v)
LOOP_OHM = TRUTH.motor.resistance_ohm + TRUTH.esc.on_resistance_ohm


# --- Propeller ----------------------------------------------------------------------


def test_a_thrown_propeller_takes_thrust_and_torque_with_it() -> None:
    rig = spinning(ThrownPropeller(1.5), until_s=1.5)
    before = rig.stand.bench.state
    rig.hold(0.5, 1.52)
    soon = rig.stand.bench.state
    assert (soon.thrust_n, soon.torque_nm) == (0.0, 0.0)
    rig.hold(0.5, 3.0)
    after = rig.stand.bench.state
    # It races up to where only its own friction holds it: I = I0(omega).
    assert after.speed_rad_s > 1.15 * before.speed_rad_s
    assert after.motor_a == pytest.approx(after.no_load_a, rel=1e-3)
    assert after.bus_a < 0.5 * before.bus_a
    assert mean(rig.si("thrust", 2.5, 3.0)) == pytest.approx(0.0, abs=0.02)


def test_without_its_propeller_the_rotor_is_as_quick_as_its_own_inertia() -> None:
    """The time constant J R/K_t^2 of the first-order motor (Drela, 2007)."""
    rig = spinning(ThrownPropeller(1.0), throttle_frac=0.2, until_s=2.0)
    speeds = []
    for _ in range(100):
        rig.hold(0.25, rig.now_s + 0.001)
        speeds.append(rig.stand.bench.state.speed_rad_s)
    start, end = speeds[10], mean(speeds[-5:])
    growth = TRUTH.motor.no_load_growth_a_s_rad
    duty, source = 0.25, TRUTH.pack.resistance_ohm + 0.018
    loop = LOOP_OHM + duty * duty * source
    tau_s = TRUTH.motor.inertia_kg_m2 / (KT * (KT / loop + growth))
    left = (end - speeds[30]) / (end - start)
    assert left == pytest.approx(math.exp(-0.020 / tau_s), abs=0.03)


def test_a_propeller_that_is_put_back_pulls_as_before() -> None:
    whole = spinning(until_s=4.0)
    back = spinning(ThrownPropeller(1.0, 2.0), until_s=4.0)
    assert back.stand.bench.state.thrust_n == pytest.approx(
        whole.stand.bench.state.thrust_n, rel=0.01
    )


# --- Motor --------------------------------------------------------------------------


def test_a_stalled_motor_stands_still_and_draws_what_the_winding_lets_through() -> None:
    rig = spinning(StalledMotor(1.5), until_s=1.5)
    before = rig.stand.bench.state
    rig.hold(0.5, 1.7)
    state = rig.stand.bench.state
    assert (state.speed_rad_s, state.thrust_n) == (0.0, 0.0)
    # Stalled, I = d V_bus/(R_motor + R_esc): Ohm's law on the averaged bridge.
    assert state.motor_a == pytest.approx(0.5 * state.bus_v / LOOP_OHM, rel=1e-6)
    assert state.motor_a > 4.0 * before.motor_a
    assert rig.si("speed", 1.6, 1.7) == [0.0] * 50
    assert mean(rig.si("current", 1.6, 1.7)) == pytest.approx(state.bus_a, rel=0.01)


def test_a_rotor_that_is_let_go_turns_again() -> None:
    rig = spinning(StalledMotor(1.0, 1.5), until_s=1.5)
    assert rig.stand.bench.state.speed_rad_s == 0.0
    rig.hold(0.5, 2.5)
    assert rig.stand.bench.state.speed_rad_s > 1500.0


def test_a_motor_out_of_step_loses_torque_and_speed_and_draws_rough_current() -> None:
    rig = spinning(DesynchronisedMotor(1.5), until_s=1.5)
    before = rig.stand.bench.state
    calm = rig.si("current", 1.3, 1.5)
    rig.hold(0.5, 2.5)
    state = rig.stand.bench.state
    assert state.speed_rad_s < 0.5 * before.speed_rad_s
    assert state.thrust_n < 0.3 * before.thrust_n
    rough = rig.si("current", 2.0, 2.5)
    assert mean(rough) > 2.0 * mean(calm)
    assert np.std(rough) > 20.0 * np.std(calm)
    assert mean(rig.si("current-high", 2.0, 2.5)) > 1.1 * mean(rough)


def test_the_speed_that_a_motor_out_of_step_reports_means_nothing() -> None:
    rig = spinning(DesynchronisedMotor(1.5), until_s=2.5)
    told = rig.si("speed", 2.0, 2.5)
    assert np.std(told) > 1000.0
    assert max(told) > 2.0 * rig.stand.bench.state.speed_rad_s


def test_out_of_step_at_rest_there_is_no_speed_to_misread() -> None:
    rig = Rig(DesynchronisedMotor())
    rig.arm()
    rig.until(0.4)
    assert set(rig.si("speed", 0.0, 0.4)) == {0.0}
    rig.hold(0.3, 1.0)
    assert np.std(rig.si("speed", 0.6, 1.0)) > 1000.0


def test_out_of_step_no_energy_comes_from_nowhere() -> None:
    """What the bus gives is what the winding, the bridge and the shaft take."""
    rig = spinning(
        DesynchronisedMotor(1.5, least_grip_frac=-0.4, roughness=1.0), until_s=1.6
    )
    bench = rig.stand.bench
    for _ in range(300):
        rig.hold(0.5, rig.now_s + 0.001)
        grip = bench._condition.grip_frac
        state = bench.state
        taken = state.duty_frac * state.bus_v * state.motor_a
        lost = state.motor_a**2 * LOOP_OHM
        turned = grip * KT * state.motor_a * state.speed_rad_s
        assert taken == pytest.approx(lost + turned, rel=1e-6, abs=1e-9)


def test_a_motor_in_step_again_recovers() -> None:
    whole = spinning(until_s=4.0)
    rig = spinning(DesynchronisedMotor(1.0, 1.5), until_s=4.0)
    assert rig.stand.bench.state.speed_rad_s == pytest.approx(
        whole.stand.bench.state.speed_rad_s, rel=0.01
    )
    assert np.std(rig.si("speed", 3.5, 4.0)) < 10.0


def test_a_hot_motor_is_hotter_at_once_and_heats_faster() -> None:
    calm = spinning(until_s=4.0)
    hot = spinning(HotMotor(2.0, rise_k=50.0, heating_factor=4.0), until_s=2.0)
    begin_k = hot.stand.bench.state.winding_k
    hot.hold(0.5, 4.0)
    before = hot.si("winding-temp", 1.9, 2.0)
    assert before == calm.si("winding-temp", 1.9, 2.0)
    assert hot.si("winding-temp", 2.0, 2.1)[-1] - before[-1] == pytest.approx(50, abs=2)
    # The answer of one lump to a steady heat: four times copper and friction.
    lump, state = TRUTH.winding_heat, hot.stand.bench.state
    assert lump is not None
    heat_w = state.motor_a**2 * TRUTH.motor.resistance_ohm
    heat_w += KT * state.no_load_a * state.speed_rad_s
    end_k = 273.15 + 21.0 + 4.0 * heat_w * lump.resistance_k_w
    kept = math.exp(-2.0 / (lump.resistance_k_w * lump.capacity_j_k))
    expected_k = end_k + (begin_k + 50.0 - end_k) * kept
    assert state.winding_k == pytest.approx(expected_k, abs=0.1)
    # Its resistance stays as it was, as the shipped truth asks.
    assert hot.si("current", 3.9, 4.0) == calm.si("current", 3.9, 4.0)


def test_heat_does_not_go_away_with_the_fault() -> None:
    rig = Rig(HotMotor(0.5, 0.6, rise_k=80.0))
    rig.until(1.0)
    air_k = rig.stand.bench.state.esc_k
    assert rig.stand.bench.state.winding_k > air_k + 70.0


# --- Pack ---------------------------------------------------------------------------


def test_a_weak_pack_sags_as_its_resistance_says() -> None:
    whole = spinning(throttle_frac=0.8)
    weak = spinning(WeakPack(resistance_factor=4.0), throttle_frac=0.8)
    state = weak.stand.bench.state
    source_ohm = 4.0 * TRUTH.pack.resistance_ohm + TRUTH.leads.resistance_ohm
    source_ohm += TRUTH.leads.plug_resistance_ohm
    sag_v = state.open_circuit_v - state.slow_v - state.bus_v
    assert sag_v == pytest.approx(source_ohm * state.bus_a, rel=1e-6)
    assert mean(weak.si("voltage", 1.8, 2.0)) < mean(whole.si("voltage", 1.8, 2.0)) - 1
    # At rest nothing is to be seen of it.
    assert mean(weak.si("voltage", 0.0, 0.02)) == pytest.approx(12.56, abs=0.03)


def test_a_weak_packs_slow_part_is_weak_too() -> None:
    whole, weak = spinning(), spinning(WeakPack(resistance_factor=4.0))
    per_a = [
        r.stand.bench.state.slow_v / r.stand.bench.state.bus_a for r in (weak, whole)
    ]
    assert per_a[0] / per_a[1] == pytest.approx(4.0, rel=0.1)


@pytest.mark.parametrize(("cells", "rested_v"), [(2, 8.38), (4, 16.76), (6, 25.14)])
def test_a_wrong_pack_has_its_cells_voltage(cells: int, rested_v: float) -> None:
    rig = Rig(WrongPack(cells=cells))
    rig.until(0.1)
    assert rig.stand.bench.state.open_circuit_v == pytest.approx(rested_v, abs=0.01)
    assert mean(rig.si("voltage", 0.05, 0.1)) == pytest.approx(rested_v, abs=0.02)


def test_each_cell_brings_its_own_resistance() -> None:
    rig = spinning(WrongPack(cells=6))
    state = rig.stand.bench.state
    source_ohm = 2.0 * TRUTH.pack.resistance_ohm + TRUTH.leads.resistance_ohm
    source_ohm += TRUTH.leads.plug_resistance_ohm
    sag_v = state.open_circuit_v - state.slow_v - state.bus_v
    assert sag_v == pytest.approx(source_ohm * state.bus_a, rel=1e-6)


def test_more_cells_turn_it_faster() -> None:
    four = spinning(WrongPack(cells=4))
    assert (
        four.stand.bench.state.speed_rad_s
        > 1.2 * spinning().stand.bench.state.speed_rad_s
    )


def test_a_nearly_empty_pack_has_the_voltage_of_its_charge() -> None:
    rig = Rig(NearlyEmptyPack(1.0, 2.0, charge_frac=0.05))
    rig.until(0.9)
    full = rig.stand.bench.state.charge_frac
    rig.until(1.5)
    assert rig.stand.bench.state.charge_frac == pytest.approx(0.05, abs=1e-4)
    # 3.45 V a cell at a twentieth, by the truth's table.
    assert mean(rig.si("voltage", 1.2, 1.5)) == pytest.approx(3 * 3.45, abs=0.02)
    rig.until(2.5)
    assert rig.stand.bench.state.charge_frac == pytest.approx(full, abs=1e-4)


def test_a_pack_that_has_less_than_the_fault_leaves_is_not_filled_up() -> None:
    rig = Rig(NearlyEmptyPack(charge_frac=0.1), NearlyEmptyPack(0.2, charge_frac=0.9))
    rig.until(0.5)
    assert rig.stand.bench.state.charge_frac == pytest.approx(0.1, abs=1e-3)


# --- Plug ---------------------------------------------------------------------------


def test_a_loose_plug_gains_resistance_up_to_its_end() -> None:
    fault = LoosePlug(1.0, growth_ohm_s=0.4, most_ohm=0.3, openings_s=0.0)
    rig = spinning(fault, until_s=1.0)
    built_ohm = TRUTH.pack.resistance_ohm + TRUTH.leads.resistance_ohm
    built_ohm += TRUTH.leads.plug_resistance_ohm
    for until_s, gained_ohm in ((1.001, 0.0), (1.5, 0.2), (1.9, 0.3), (2.5, 0.3)):
        rig.hold(0.5, until_s)
        state = rig.stand.bench.state
        ohm = (state.open_circuit_v - state.slow_v - state.bus_v) / state.bus_a
        assert ohm - built_ohm == pytest.approx(gained_ohm, abs=0.001)


def test_a_loose_plug_opens_as_often_and_as_long_as_it_says() -> None:
    fault = LoosePlug(growth_ohm_s=0.0, openings_s=5.0, open_s=0.010)
    rig = Rig(fault, seed=3)
    open_ticks = starts = 0
    was_open = False
    for _ in range(20_000):
        rig.stand.advance(1)
        is_open = rig.stand.bench.state.bus_a == 0.0
        open_ticks += is_open
        starts += is_open and not was_open
        was_open = is_open
    # A hundred openings of 10 ms; those that fall together count as one.
    assert abs(starts - 100 * math.exp(-0.05)) < 5 * math.sqrt(100)
    assert 9 <= open_ticks / starts <= 12


def test_an_opening_is_seen_as_a_gap_in_the_current() -> None:
    fault = LoosePlug(1.0, growth_ohm_s=0.0, openings_s=4.0, open_s=0.02)
    rig = spinning(fault, until_s=3.0)
    assert min(rig.si("current", 0.8, 1.0)) > 1.0
    assert min(rig.si("current", 1.0, 3.0)) < 0.01
    assert min(rig.si("voltage-low", 1.0, 3.0)) < 8.0


def test_a_pulled_plug_takes_the_supply_and_a_put_back_one_returns_it() -> None:
    rig = Rig(PlugOut(0.5, 2.0))
    rig.until(3.0)
    assert mean(rig.si("voltage", 0.4, 0.5)) > 12.0
    assert max(rig.si("voltage", 1.0, 2.0)) < 1.0
    assert max(rig.si("current", 0.52, 2.0)) < 0.01
    assert mean(rig.si("voltage", 2.1, 3.0)) > 12.0


def test_a_plug_that_a_person_has_pulled_stays_out_when_the_fault_ends() -> None:
    rig = Rig(PlugOut(0.2, 0.4))
    rig.until(0.3)
    rig.stand.plug_in = False
    rig.until(1.5)
    assert rig.stand.bench.bus_v < 1.0
    rig.stand.plug_in = True
    rig.until(1.6)
    assert rig.stand.bench.bus_v > 12.0


# --- ESC ----------------------------------------------------------------------------


def test_an_esc_that_does_not_arm_is_silent_whatever_the_pulse() -> None:
    rig = spinning(EscNotArming(0.0, 1.5), until_s=1.5)
    assert rig.stand.pulse_s == pytest.approx(1.5e-3)
    assert max(rig.si("current", 0.0, 1.5)) < 0.05
    assert max(rig.si("speed", 0.0, 1.5)) == 0.0
    rig.hold(0.5, 2.0)
    assert rig.si("speed", 1.9, 2.0)[-1] > 1000.0


@pytest.mark.parametrize("how", ["zero throttle", "a stop"])
def test_an_esc_that_ignores_zero_spins_on_after(how: str) -> None:
    rig = spinning(EscIgnoringZero(1.0, 3.0), until_s=1.5)
    before = mean(rig.si("speed", 1.4, 1.5))
    if how == "a stop":
        rig.send(m.Stop(m.StopReason.PERSON))
    rig.hold(0.0, 2.5)
    assert rig.stand.pulse_s == 1e-3
    assert mean(rig.si("speed", 2.4, 2.5)) == pytest.approx(before, rel=0.02)
    rig.hold(0.0, 5.0)
    assert rig.si("speed", 4.9, 5.0)[-1] < 50.0


def test_an_esc_that_ignores_zero_still_takes_a_higher_pulse() -> None:
    rig = spinning(EscIgnoringZero(1.0), until_s=1.5)
    rig.hold(0.8, 2.0)
    assert rig.stand.bench.state.duty_frac == pytest.approx(0.8)
    rig.hold(0.4, 2.5)
    assert rig.stand.bench.state.duty_frac == pytest.approx(0.4)


def test_pulling_the_plug_stops_an_esc_that_ignores_zero() -> None:
    rig = spinning(EscIgnoringZero(1.0), until_s=1.5)
    rig.stand.plug_in = False
    rig.hold(0.0, 4.0)
    assert rig.stand.bench.state.speed_rad_s == 0.0


# --- The stop loop ------------------------------------------------------------------


def test_an_open_stop_loop_trips_a_spinning_stand() -> None:
    rig = spinning(StopLoopOpen(1.5), until_s=1.52)
    assert rig.causes()[-1] is m.Cause.STOP_LOOP_OPEN
    assert rig.state() is m.State.TRIPPED


def test_an_open_stop_loop_refuses_the_arming_until_it_is_closed() -> None:
    rig = Rig(StopLoopOpen(0.0, 1.0))
    rig.until(0.5)
    rig.send(rig.limits())
    for _ in range(2):
        seen_us = rig.stand.time_us
        rig.send(m.Arm(NONCE, rig.stand.boot, rig.limits().crc, 500, seen_us))
        rig.run(5)
        rig.until(1.2)
    verdicts = [reply.verdict for reply in rig.messages(m.Reply)]
    assert verdicts == [m.Verdict.DONE, m.Verdict.STOP_LOOP_OPEN, m.Verdict.DONE]


def test_a_loop_that_a_person_holds_open_is_not_closed_by_a_fault_that_ends() -> None:
    rig = Rig(StopLoopOpen(0.2, 0.4))
    rig.stand.stop_loop_open = True
    rig.until(0.6)
    assert rig.stand.stop_loop_open
    rig.stand.stop_loop_open = False
    assert not rig.stand.stop_loop_open

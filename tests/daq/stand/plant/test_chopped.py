"""A switching bridge against one cycle solved by scipy, and textbook limits."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from daq.stand.plant.bench import Plant
from daq.stand.plant.chopped import ChoppedBus, ripple_share
from daq.stand.plant.esc import Esc
from daq.stand.plant.motor import Motor
from daq.stand.plant.truth_effects import ChoppingTruth
from tests.daq.stand.plant.balance import INSULATED, energy
from tests.daq.stand.plant.builder import QUIET, changed

TRUTH = changed({"esc.bus_capacitance_f": 47e-6})
STEP_S = 1e-3
SOURCE_OHM = 0.084
LOOP_OHM = TRUTH.motor.resistance_ohm + TRUTH.esc.on_resistance_ohm


def bus(frequency_hz: float = 24e3, edge_s: float = 0.0) -> ChoppedBus:
    esc, motor = Esc(TRUTH.esc, STEP_S), Motor(TRUTH.motor)
    truth = ChoppingTruth(frequency_hz=frequency_hz, edge_s=edge_s)
    return ChoppedBus(esc, motor, SOURCE_OHM, STEP_S, truth)


@pytest.mark.parametrize("duty", [0.1, 0.5, 0.8])
def test_without_a_capacitor_it_is_the_rms_of_a_pulse_train(duty: float) -> None:
    # I_rms = I sqrt(d), mean d I (Erickson and Maksimovic, rms of common waveforms).
    assert ripple_share(duty, 1e5) == pytest.approx(duty - duty**2, rel=1e-3)


@pytest.mark.parametrize("duty", [0.1, 0.5, 0.8])
def test_with_a_large_capacitor_the_ripple_is_a_triangle(duty: float) -> None:
    # Straight lines with a swing of d (1 - d) P/tau: variance swing^2/12 (capacitor
    # charge balance, Erickson and Maksimovic ch. 2).
    swing = duty * (1.0 - duty) * 0.01
    assert ripple_share(duty, 0.01) == pytest.approx(swing**2 / 12.0, rel=1e-3)


@pytest.mark.parametrize("duty", [0.15, 0.5, 0.85])
def test_one_cycle_agrees_with_an_adaptive_solver(duty: float) -> None:
    one = bus()
    one.feed(12.0, duty, 600.0)
    one.average(0.0)
    draw, capacitance, cycle_s = 0.08, 47e-6, 1.0 / 24e3
    motor_a = one.motor_a

    def slope(_: float, y: NDArray[np.float64], pulse: float) -> list[float]:
        # Capacitor, and the integrals of v, i, v i and of v while the bridge is on.
        volt = float(y[0])
        source_a = (12.0 - volt) / SOURCE_OHM
        bridge_a = pulse * motor_a + draw
        return [
            (source_a - bridge_a) / capacitance,
            volt,
            source_a,
            volt * source_a,
            pulse * volt,
        ]

    volt, y = 12.0, [0.0] * 5
    for _ in range(60):  # until the cycles repeat themselves
        y = [volt, 0.0, 0.0, 0.0, 0.0]
        for pulse, length in ((1.0, duty), (0.0, 1.0 - duty)):
            answer = solve_ivp(
                slope, (0.0, length * cycle_s), y, args=(pulse,), rtol=1e-9, atol=1e-12
            )
            y = answer.y[:, -1].tolist()
        volt = y[0]
    mean_v, mean_a, power_w, on_v = (each / cycle_s for each in y[1:])
    assert one.volt_v == pytest.approx(mean_v, rel=1e-7)
    assert one.bus_a == pytest.approx(mean_a, rel=1e-6)
    # The mean of the product is below the product of the means.
    covariance = one.volt_v * one.bus_a - one.ripple_w(motor_a) - power_w
    assert covariance == pytest.approx(0.0, abs=1e-5)
    assert one.ripple_w(motor_a) > 1e-3 * power_w
    # And the motor gets the voltage of while it is fed: Kirchhoff in its loop.
    kt = 60.0 / (2.0 * math.pi * 4600.0)
    assert LOOP_OHM * motor_a + kt * 600.0 == pytest.approx(on_v, rel=1e-6)


def test_at_full_duty_nothing_is_chopped() -> None:
    plain, chopped = (
        Plant(changed(QUIET | more), 1)
        for more in ({}, CHOPPED | {"chopping.edge_s": 100e-9})
    )
    for plant in (plain, chopped):
        plant.advance(0.5, 1.0e-3)
        plant.advance(3.0, 2.0e-3)
    assert chopped.state.bus_power_w == chopped.state.bus_v * chopped.state.bus_a
    # The same voltage gives the same current, whatever the ramp took.
    assert chopped.state.thrust_n == pytest.approx(plain.state.thrust_n, rel=1e-5)


CHOPPED: dict[str, object] = {
    "esc.bus_capacitance_f": 22e-6,
    "chopping.frequency_hz": 24e3,
    "chopping.edge_s": 80e-9,
    "fast.chopping_hz": None,
}


def test_the_plants_energy_is_the_mean_of_the_product() -> None:
    plant = Plant(changed(QUIET | CHOPPED), 1)
    plant.advance(2.0, 1.55e-3)
    before = plant.integrals
    plant.advance(0.2, 1.55e-3)
    after, state = plant.integrals, plant.state
    energy_j = after.bus_energy_j - before.bus_energy_j
    assert energy_j / 0.2 == pytest.approx(state.bus_power_w, rel=1e-3)
    product_w = state.bus_v * state.bus_a
    # Variance of the source's current times its resistance, 1 % here.
    assert 1.003 < product_w / state.bus_power_w < 1.03


def test_the_energy_that_comes_in_is_work_and_heat_and_nothing_else() -> None:
    # First law with ripple, switching and heat: no formula of the ripple used.
    found = energy(changed(QUIET | CHOPPED | INSULATED), 1.55e-3)
    assert found.heat_j == pytest.approx(found.left_j, rel=1e-4)


def test_each_edge_costs_half_of_voltage_times_current() -> None:
    # P = V I (t_on + t_off)/2 f (Erickson and Maksimovic ch. 4), all of it in the ESC.
    slow, fast = bus(edge_s=100e-9), bus(edge_s=0.0)
    for each in (slow, fast):
        each.feed(12.0, 0.5, 800.0)
        each.average(0.0)
    assert slow.switched_w == pytest.approx(
        slow.volt_v * slow.motor_a * 100e-9 * 24e3, rel=1e-9
    )
    assert fast.switched_w == 0.0
    assert slow.bus_a == pytest.approx(
        (0.5 + 100e-9 * 24e3) * slow.motor_a + 0.08, rel=1e-9
    )


def test_a_glance_adds_nothing_to_the_sums() -> None:
    one = bus(edge_s=50e-9)
    one.feed(12.0, 0.5, 800.0)
    one.average(0.0)
    held = (one.rippled_w, one.switched_w, one.motor_a, one.volt_v)
    one.at_once(11.0, 0.9, 200.0)
    assert (one.rippled_w, one.switched_w, one.motor_a, one.volt_v) == held
    assert np.isfinite(one.ripple_w(3.0))

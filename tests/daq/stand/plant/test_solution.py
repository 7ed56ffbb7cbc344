"""The plant's answers against solvers that share nothing with it."""

import math
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth
from tests.daq.stand.plant.builder import QUIET, changed
from tests.daq.stand.plant.scheduled import solved, walked

TRUTH = changed(QUIET | {"esc.slew_frac_s": None})


def equations(
    truth: Truth, duty: float, speed: float, charge: float, slow: float
) -> tuple[float, float, float, float, float]:
    """Motor current, bus current, bus voltage, thrust and torque, from scratch."""
    kt = 60.0 / (2.0 * math.pi * truth.motor.kv_rpm_v)
    source = (
        truth.pack.resistance_ohm
        + truth.leads.resistance_ohm
        + truth.leads.plug_resistance_ohm
    )
    loop = truth.motor.resistance_ohm + truth.esc.on_resistance_ohm
    draw = truth.esc.idle_current_a + (truth.esc.electronics_draw_a if duty else 0.0)
    ocv = np.interp(charge, truth.pack.ocv_charge_frac, truth.pack.ocv_cell_v)
    emf = truth.pack.cells * float(ocv) - slow
    matrix = [[loop, 0.0, -duty], [-duty, 1.0, 0.0], [0.0, source, 1.0]]
    motor_a, bus_a, volt = np.linalg.solve(matrix, [-kt * speed, draw, emf])
    if duty == 0.0 or motor_a < 0.0:
        motor_a, bus_a, volt = 0.0, draw, emf - source * draw
    rev_s = speed / (2.0 * math.pi)
    prop = truth.propeller
    ct = np.interp(60.0 * rev_s, prop.speed_rpm, prop.ct)
    cp = np.interp(60.0 * rev_s, prop.speed_rpm, prop.cp)
    thrust = float(ct) * truth.air.density() * rev_s**2 * prop.diameter_m**4
    torque = (
        float(cp)
        * truth.air.density()
        * rev_s**2
        * prop.diameter_m**5
        / (2.0 * math.pi)
    )
    return float(motor_a), float(bus_a), float(volt), thrust, torque


def slopes(truth: Truth, duty: float, y: NDArray[np.float64]) -> list[float]:
    """Derivatives of speed, charge, slow voltage, felt force, its rate, integrals."""
    speed, charge, slow, felt, rate = y[:5]
    motor_a, bus_a, volt, thrust, torque = equations(truth, duty, speed, charge, slow)
    kt = 60.0 / (2.0 * math.pi * truth.motor.kv_rpm_v)
    no_load = truth.motor.no_load_current_a
    no_load += truth.motor.no_load_growth_a_s_rad * speed
    inertia = truth.motor.inertia_kg_m2 + truth.propeller.inertia_kg_m2
    w = 2.0 * math.pi * truth.mount.resonance_hz
    pack = truth.pack
    turning = (kt * (motor_a - no_load) - torque) / inertia
    if speed <= 0.0 and turning < 0.0:
        turning = 0.0
    return [
        turning,
        -bus_a / pack.capacity_c,
        (pack.slow_resistance_ohm * bus_a - slow) / pack.slow_time_s,
        rate,
        w * w * (thrust - felt) - 2.0 * truth.mount.damping_ratio * w * rate,
        thrust,
        bus_a,
        volt * bus_a,
        torque * speed,
    ]


def states(plant: Plant) -> list[float]:
    """The same states of the plant."""
    state, sums = plant.state, plant.integrals
    return [
        state.speed_rad_s,
        state.charge_frac,
        state.slow_v,
        state.felt_n,
        plant._mount.rate_n_s,
        sums.thrust_n_s,
        sums.bus_charge_c,
        sums.bus_energy_j,
        sums.shaft_energy_j,
    ]


TIMES_S = np.arange(1, 141) * 0.01
# Speed, charge, slow voltage, felt force, rate, then the four integrals.
SCALES = np.array([4000.0, 0.01, 0.05, 3.0, 1000.0, 1.0, 5.0, 60.0, 40.0])


@pytest.fixture(scope="module")
def exact() -> NDArray[np.float64]:
    begin = [0.0, TRUTH.pack.charge_frac, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    return solved(partial(slopes, TRUTH), begin, TIMES_S, rtol=1e-9, atol=1e-11)


def test_the_shipped_step_agrees_with_an_adaptive_solver(
    exact: NDArray[np.float64],
) -> None:
    found = walked(Plant(TRUTH, 1, step_s=1e-3), 0.01, states)
    errors = np.abs(found - exact).max(axis=0) / SCALES
    speed, charge, slow, felt, _, *integrals = errors
    assert max(speed, charge, slow, *integrals) < 1e-4
    assert felt < 1e-3  # of full thrust, while the mount rings


def test_halving_the_step_quarters_the_error(exact: NDArray[np.float64]) -> None:
    # Second order, on speed, felt force, thrust and shaft work. (What passes
    # through the pack has a first-order part too, at a millionth.)
    columns = [0, 3, 5, 8]
    coarse, fine = (
        np.abs(walked(Plant(TRUTH, 1, step_s=step), 0.01, states) - exact).max(axis=0)[
            columns
        ]
        for step in (2e-3, 1e-3)
    )
    ratios = coarse / fine
    assert np.all((ratios > 3.2) & (ratios < 4.8)), ratios


@pytest.mark.parametrize("throttle", [0.06, 0.15, 0.3, 0.5, 0.75, 0.9, 1.0])
def test_the_steady_state_is_where_the_equations_balance(throttle: float) -> None:
    # Pack made large and without slow part, so that a steady state exists.
    truth = changed(QUIET | {"pack.capacity_c": 1e12, "pack.slow_resistance_ohm": 0.0})
    plant = Plant(truth, 1)
    plant.advance(3.0, 1e-3 + throttle * 1e-3)
    kt = 60.0 / (2.0 * math.pi * truth.motor.kv_rpm_v)

    def unbalanced(speed: float) -> float:
        motor_a, _, _, _, torque = equations(truth, throttle, speed, 1.0, 0.0)
        return kt * (motor_a - 0.42 - 1.1e-4 * speed) - torque

    speed = float(brentq(unbalanced, 1.0, 12.6 / kt, xtol=1e-9, rtol=1e-13))
    motor_a, bus_a, volt, thrust, torque = equations(truth, throttle, speed, 1.0, 0.0)
    state = plant.state
    assert state.speed_rad_s == pytest.approx(speed, rel=1e-7)
    assert state.motor_a == pytest.approx(motor_a, rel=1e-6)
    assert state.no_load_a == pytest.approx(0.42 + 1.1e-4 * speed, rel=1e-6)
    assert state.bus_a == pytest.approx(bus_a, rel=1e-6)
    assert state.bus_v == pytest.approx(volt, rel=1e-7)
    assert state.thrust_n == pytest.approx(thrust, rel=1e-6)
    assert state.torque_nm == pytest.approx(torque, rel=1e-6)
    assert state.felt_n == pytest.approx(thrust, rel=1e-5)


def test_the_packs_energy_is_shaft_work_and_losses_and_nothing_else() -> None:
    # First law over a whole spin from rest to rest; no formula of the plant but
    # resistances and what flows through them.
    truth = changed(QUIET)
    plant = Plant(truth, 1)
    pack, motor = truth.pack, truth.motor
    kt = 60.0 / (2.0 * math.pi * motor.kv_rpm_v)
    source = 0.066 + 0.012 + 0.006
    chemical = lost = 0.0
    step = 1e-3
    pulses = [1.3e-3] * 400 + [2.0e-3] * 600 + [1.6e-3] * 400 + [0.0] * 1600
    for pulse_s in pulses:
        before = plant.state
        plant.advance(step, pulse_s)
        after = plant.state
        bus_a, motor_a = plant._bus.bus_a, plant._bus.motor_a
        duty = plant._bus._duty
        speed = 0.5 * (before.speed_rad_s + after.speed_rad_s)
        slow = 0.5 * (before.slow_v + after.slow_v)
        ocv = 0.5 * (before.open_circuit_v + after.open_circuit_v)
        chemical += step * ocv * bus_a
        lost += step * (slow * bus_a + source * bus_a**2)
        lost += step * plant._bus.volt_v * (bus_a - duty * motor_a)
        lost += step * (motor.resistance_ohm + 0.016) * motor_a**2
        no_load = motor.no_load_current_a + motor.no_load_growth_a_s_rad * speed
        lost += step * kt * no_load * speed
    state, sums = plant.state, plant.integrals
    assert state.speed_rad_s == 0.0
    assert sums.shaft_energy_j > 50.0
    assert chemical == pytest.approx(lost + sums.shaft_energy_j, rel=1e-4)
    # And what left the pack at its terminals is what the table says it held.
    assert sums.bus_charge_c == pytest.approx(
        (1.0 - state.charge_frac) * pack.capacity_c, rel=1e-9
    )

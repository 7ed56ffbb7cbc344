"""Every effect at once that is not drawn, against an adaptive solver from scratch."""

import math
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray

from daq.stand.plant.bench import Plant
from daq.stand.plant.drawn import without_capacitor
from daq.stand.plant.truth import Truth
from tests.daq.stand.plant.builder import QUIET, changed
from tests.daq.stand.plant.scheduled import solved, walked

TRUTH = without_capacitor(
    changed(
        QUIET
        | {
            "esc.slew_frac_s": None,
            "esc.bus_capacitance_f": 33e-6,
            "gusts.share_frac": 0.0,
            "reference.walk_rel_sqrt_s": 0.0,
            "cell_drift.walk_n_sqrt_s": 0.0,
            "cell_drift.gain_walk_rel_sqrt_s": 0.0,
            "vibration.imbalance_kg_m": 0.0,
            "vibration.blade_pass_frac": 0.0,
            "cell_creep.time_s": 0.7,
            "cell_creep.share_frac": 0.02,
            "cell_warming.time_s": 0.9,
            "mount.damping_ratio": 0.5,
            "current_sensor.filter_s": 0.02,
        },
        "rough",
    )
)


def ripple(duty: float, source: float, motor_a: float, truth: Truth) -> float:
    """Product of the means less mean power, by a Fourier series of the pulses."""
    assert truth.chopping is not None
    tau = source * truth.esc.bus_capacitance_f
    order = np.arange(1, 400)
    w = 2.0 * np.pi * truth.chopping.frequency_hz * order
    pulses = 2.0 * np.sin(np.pi * order * duty) / (np.pi * order)  # amplitudes
    square = 0.5 * np.sum(pulses**2 / (1.0 + (w * tau) ** 2))
    return float(source * square * motor_a**2)


def circuit(truth: Truth, duty: float, y: NDArray[np.float64]) -> tuple[float, ...]:
    """Motor current, bus current, voltage, power; thrust and torque."""
    assert truth.chopping is not None
    speed, charge, slow, winding_k = y[0], y[1], y[2], y[5]
    over_k = winding_k - 293.15
    kt = 60.0 / (2.0 * math.pi * truth.motor.kv_rpm_v) * (1.0 - 0.0011 * over_k)
    loop = truth.motor.resistance_ohm * (1.0 + 0.00393 * over_k)
    loop += truth.esc.on_resistance_ohm
    source = (
        truth.pack.resistance_ohm
        + truth.leads.resistance_ohm
        + truth.leads.plug_resistance_ohm
    )
    draw = truth.esc.idle_current_a + (truth.esc.electronics_draw_a if duty else 0.0)
    ocv = np.interp(charge, truth.pack.ocv_charge_frac, truth.pack.ocv_cell_v)
    emf = truth.pack.cells * float(ocv) - slow
    edges = 60e-9 * 48e3 if 0.0 < duty < 1.0 else 0.0
    share = ripple(duty, source, 1.0, truth) if 0.0 < duty < 1.0 else 0.0
    matrix = [
        [loop + share, 0.0, -duty],
        [-(duty + edges), 1.0, 0.0],
        [0.0, source, 1.0],
    ]
    motor_a, bus_a, volt = np.linalg.solve(matrix, [-kt * speed, draw, emf])
    if duty == 0.0 or motor_a < 0.0:
        motor_a, bus_a, volt = 0.0, draw, emf - source * draw
    power = volt * bus_a - share * motor_a**2
    rev_s = speed / (2.0 * math.pi)
    prop = truth.propeller
    tip = (rev_s * prop.diameter_m) ** 2
    ct = float(np.interp(60.0 * rev_s, prop.speed_rpm, prop.ct))
    cp = float(np.interp(60.0 * rev_s, prop.speed_rpm, prop.cp))
    half = truth.air.density() * rev_s**2 * prop.diameter_m**4
    thrust = ct * math.exp(-1.0e-5 * tip) * half
    torque = cp * math.exp(-0.5e-5 * tip) * half * prop.diameter_m / (2.0 * math.pi)
    return float(motor_a), float(bus_a), float(volt), power, thrust, torque, kt


def slopes(truth: Truth, throttle: float, y: NDArray[np.float64]) -> list[float]:
    """Speed, charge, slow voltage, felt force, its rate, winding and ESC, warmth of
    the cell, filtered current, energy."""
    assert truth.arm is not None
    assert truth.cell_warming is not None
    duty = throttle + 4.0 * 0.03 * throttle * (1.0 - throttle)
    speed, _, slow, felt, rate, winding_k, esc_k, rise_k, amps, _ = y
    motor_a, bus_a, volt, power, thrust, torque, kt = circuit(truth, duty, y)
    motor, arm, pack = truth.motor, truth.arm, truth.pack
    kt_cold = 60.0 / (2.0 * math.pi * motor.kv_rpm_v)
    friction = kt_cold * (
        motor.no_load_current_a + motor.no_load_growth_a_s_rad * speed
    )
    inertia = motor.inertia_kg_m2 + truth.propeller.inertia_kg_m2
    turning = (kt * motor_a - friction - torque) / inertia
    if speed <= 0.0 and turning < 0.0:
        turning = 0.0
    pressing = (
        thrust
        * (1.0 - 0.015 - 0.002 * thrust)
        * math.cos(0.03)
        * arm.thrust_arm_m
        / arm.cell_arm_m
        + 0.4 * torque
    )
    w = 2.0 * math.pi * truth.mount.resonance_hz
    air_k = 273.15 + 21.0
    copper = motor.resistance_ohm * (1.0 + 0.00393 * (winding_k - 293.15))
    draw = truth.esc.idle_current_a + (truth.esc.electronics_draw_a if duty else 0.0)
    edges = 60e-9 * 48e3 if 0.0 < duty < 1.0 else 0.0
    end_k = -0.3 * thrust + 0.04 * (winding_k - air_k) + 0.03 * (esc_k - air_k)
    winding_w = copper * motor_a**2 + friction * speed
    esc_w = truth.esc.on_resistance_ohm * motor_a**2 + volt * (draw + edges * motor_a)
    return [
        turning,
        -bus_a / pack.capacity_c,
        (pack.slow_resistance_ohm * bus_a - slow) / pack.slow_time_s,
        rate,
        w * w * (pressing - felt) - 2.0 * truth.mount.damping_ratio * w * rate,
        (winding_w - (winding_k - air_k) / 2.5) / 4.0,
        (esc_w - (esc_k - air_k) / 12.0) / 2.5,
        (end_k - rise_k) / truth.cell_warming.time_s,
        (bus_a - amps) / 0.02,
        power,
    ]


def states(plant: Plant) -> list[float]:
    state = plant.state
    return [
        state.speed_rad_s,
        state.charge_frac,
        state.slow_v,
        state.felt_n,
        plant._mount.rate_n_s,
        state.winding_k,
        state.esc_k,
        state.cell_rise_k,
        plant._current._filtered,  # type: ignore[attr-defined]
        plant.integrals.bus_energy_j,
    ]


SCALES = np.array([4000.0, 0.01, 0.05, 3.0, 1000.0, 30.0, 5.0, 0.5, 12.0, 60.0])


def test_all_that_is_not_drawn_agrees_with_an_adaptive_solver() -> None:
    assert TRUTH.esc.duty_bow_frac == 0.03
    air_k = 273.15 + 21.0
    exact = solved(
        partial(slopes, TRUTH),
        [0.0, 1.0, 0.0, 0.0, 0.0, air_k, air_k, 0.0, 0.035, 0.0],
        np.arange(1, 71) * 0.02,
        rtol=1e-8,
        atol=1e-10,
    )
    found = walked(Plant(TRUTH, 1), 0.02, states)
    errors = np.abs(found - exact).max(axis=0) / SCALES
    speed, charge, slow, felt, _, winding, esc, rise, amps, energy = errors
    # More than the plain plant's error: heat moves at the end of spans of 20 ms, and
    # resistance and magnets with it.
    assert speed < 5e-4
    assert max(charge, slow, energy) < 1e-4
    assert felt < 2e-3
    assert max(winding, esc) < 2e-3
    assert rise < 0.03
    # The filter is fed with the mean of a step: half a step of its 20 ms.
    assert amps < 0.03


def test_the_converter_adds_creep_and_nonlinearity_to_what_is_felt() -> None:
    # At held throttle: F from the state, then the laws of the cell by hand.
    truth = changed(
        {
            f"{table}.{key}": value
            for table, key, value in (
                ("cell_hysteresis", "width_frac", 0.0),
                ("cell_warming", "thrust_k_n", 0.0),
                ("cell_warming", "winding_share_frac", 0.0),
                ("cell_warming", "esc_share_frac", 0.0),
                ("vibration", "imbalance_kg_m", 0.0),
                ("vibration", "blade_pass_frac", 0.0),
                ("cell_drift", "walk_n_sqrt_s", 0.0),
                ("cell_drift", "gain_walk_rel_sqrt_s", 0.0),
                ("cell_creep", "time_s", 0.1),
                ("cell_creep", "share_frac", 0.01),
                ("cell_curve", "bow_frac", 0.02),
                ("cell_curve", "wave_frac", 0.0),
                ("gusts", "share_frac", 0.0),
                ("pack", "capacity_c", 1e12),
                ("pack", "slow_resistance_ohm", 0.0),
            )
        }
        | QUIET,
        "rough",
    )
    plant = Plant(truth, 1)
    plant.advance(60.0, 1.7e-3)
    count = plant.take_conversion()
    assert count is not None
    crept = 1.01 * plant.state.felt_n
    load = crept / 9.8
    read = crept + 9.8 * 4.0 * 0.02 * load * (1.0 - load)
    assert count / 43800.0 == pytest.approx(read, rel=3e-5)

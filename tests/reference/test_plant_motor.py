"""The plant's motor against the first-order motor model's own figures.

Source of the formulas: M. Drela, First-Order DC Electric Motor Model, MIT Aero
and Astro, February 2007: Q = (i - i_o)/K_v, Omega = (v - i R) K_v. The figures
are that model's arithmetic for Kv 7500 rpm/V, R 0.25 ohm, i_o 0.35 A on 3.7 V.
"""

import math

import pytest

from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth
from tests.daq.stand.plant.builder import bench_supply, changed

DIAMETER_M = 0.05
DENSITY_KG_M3 = 1.2


def truth(torque_nm: float, speed_rad_s: float) -> Truth:
    """The motor on 3.7 V with a propeller that takes that torque at that speed."""
    rev_s = speed_rad_s / (2.0 * math.pi)
    cp = torque_nm * 2.0 * math.pi / (DENSITY_KG_M3 * rev_s**2 * DIAMETER_M**5)
    return changed(
        bench_supply(3.7)
        | {
            "motor.kv_rpm_v": 7500.0,
            "motor.resistance_ohm": 0.25,
            "motor.no_load_current_a": 0.35,
            "motor.no_load_growth_a_s_rad": 0.0,
            "propeller.diameter_m": DIAMETER_M,
            "propeller.speed_rpm": None,
            "propeller.cp": cp,
            "propeller.ct": 1e-3 * cp,
            "air.temperature_c": None,
            "air.pressure_pa": None,
            "air.relative_humidity_frac": None,
            "air.density_kg_m3": DENSITY_KG_M3,
        }
    )


def test_at_four_amperes_it_turns_and_pulls_as_published() -> None:
    plant = Plant(truth(0.004647324, 2120.575041), 1)
    plant.advance(3.0, 2.0e-3)
    state = plant.state
    assert state.motor_a == pytest.approx(4.0, rel=1e-6)
    assert state.speed_rad_s * 60.0 / (2.0 * math.pi) == pytest.approx(
        20250.0, rel=1e-6
    )
    assert state.torque_nm == pytest.approx(0.004647324, rel=1e-6)
    assert state.shaft_power_w == pytest.approx(9.855, rel=1e-6)
    assert state.bus_v * state.bus_a == pytest.approx(14.8, rel=1e-6)
    efficiency = state.shaft_power_w / (state.bus_v * state.bus_a)
    assert efficiency == pytest.approx(0.665878378, rel=1e-6)


def test_at_its_best_efficiency_the_current_is_the_published_one() -> None:
    # i = sqrt(v i_o/R), eta = (1 - sqrt(i_o R/v))^2.
    kt = 0.001273240
    best_a = 2.275961
    speed = (3.7 - best_a * 0.25) / kt
    plant = Plant(truth(kt * (best_a - 0.35), speed), 1)
    plant.advance(3.0, 2.0e-3)
    state = plant.state
    assert state.motor_a == pytest.approx(best_a, rel=1e-5)
    efficiency = state.shaft_power_w / (state.bus_v * state.bus_a)
    assert efficiency == pytest.approx(0.716086306, rel=1e-5)


def test_unloaded_it_reaches_the_no_load_speed() -> None:
    plant = Plant(truth(1e-12, 2000.0), 1)
    plant.advance(5.0, 2.0e-3)
    rpm = plant.state.speed_rad_s * 60.0 / (2.0 * math.pi)
    assert rpm == pytest.approx(27093.75, rel=1e-6)
    assert plant.state.motor_a == pytest.approx(0.35, rel=1e-5)


def test_stalled_it_draws_v_over_r() -> None:
    # 14.8 A and 0.018398311 N m at standstill, from the same arithmetic.
    held = truth(0.004647324, 2120.575041)
    heavy = held.model_copy(
        update={"motor": held.motor.model_copy(update={"inertia_kg_m2": 1e6})}
    )
    plant = Plant(heavy, 1)
    plant.advance(1e-3, 2.0e-3)
    state = plant.state
    assert state.motor_a == pytest.approx(14.8, rel=1e-6)
    turning = 1e6 * state.speed_rad_s / 1e-3
    assert turning == pytest.approx(0.018398311, rel=1e-5)


def test_a_published_kv_gives_its_published_no_load_speed() -> None:
    # Encyclopedia article on motor constants: 5700 rpm/V at 11.1 V turns
    # 63270 rpm unloaded, losses neglected.
    plant = Plant(
        changed(
            bench_supply(11.1)
            | {
                "motor.kv_rpm_v": 5700.0,
                "motor.no_load_current_a": 0.0,
                "motor.no_load_growth_a_s_rad": 0.0,
                "propeller.speed_rpm": None,
                "propeller.ct": 1e-9,
                "propeller.cp": 1e-9,
            }
        ),
        1,
    )
    plant.advance(5.0, 2.0e-3)
    rpm = plant.state.speed_rad_s * 60.0 / (2.0 * math.pi)
    assert rpm == pytest.approx(63270.0, rel=1e-4)

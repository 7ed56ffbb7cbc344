import math

import pytest

from daq.stand.plant.motor import Motor
from daq.stand.plant.propeller import Propeller
from daq.stand.plant.rotor import Rotor
from tests.daq.stand.plant.builder import changed

STEP_S = 1e-3


def rotor(changes: dict[str, object]) -> Rotor:
    truth = changed(changes)
    return Rotor(Motor(truth.motor), Propeller(truth.propeller, 1.2), STEP_S)


NO_AIR: dict[str, object] = {
    "propeller.ct": 1e-12,
    "propeller.cp": 1e-12,
    "propeller.speed_rpm": None,
}


def test_without_air_a_constant_current_speeds_up_as_torque_over_inertia() -> None:
    one = rotor(NO_AIR | {"motor.no_load_growth_a_s_rad": 0.0})
    for _ in range(50):
        one.advance(3.0, 0.0)
    kt = 60.0 / (2.0 * math.pi * 4600.0)
    expected = kt * (3.0 - 0.42) / (2.6e-7 + 4.4e-7) * 0.05
    assert one.speed_rad_s == pytest.approx(expected, rel=1e-9)


def test_growing_friction_gives_the_closed_form_of_a_linear_coast() -> None:
    # J w' = -kt (i0 + g w): w = (w0 + i0/g) exp(-kt g t/J) - i0/g.
    one = rotor(NO_AIR)
    one.speed_rad_s = 3000.0
    one._propeller.turn_at(3000.0)
    for _ in range(200):
        one.advance(0.0, 0.0)
    kt, inertia, offset = 60.0 / (2.0 * math.pi * 4600.0), 7.0e-7, 0.42 / 1.1e-4
    expected = (3000.0 + offset) * math.exp(-kt * 1.1e-4 * 0.2 / inertia) - offset
    assert one.speed_rad_s == pytest.approx(expected, rel=1e-7)


def test_air_alone_slows_it_hyperbolically() -> None:
    # J w' = -c w^2: w = w0/(1 + c w0 t/J).
    one = rotor(
        {
            "motor.no_load_current_a": 0.0,
            "motor.no_load_growth_a_s_rad": 0.0,
            "propeller.ct": 0.15,
            "propeller.cp": 0.09,
            "propeller.speed_rpm": None,
        }
    )
    one.speed_rad_s = 4000.0
    one._propeller.turn_at(4000.0)
    for _ in range(300):
        one.advance(0.0, 0.0)
    drag = 0.09 * 1.2 * 0.0762**5 / (2.0 * math.pi) ** 3
    expected = 4000.0 / (1.0 + drag * 4000.0 * 0.3 / 7.0e-7)
    assert one.speed_rad_s == pytest.approx(expected, rel=1e-4)


def test_friction_holds_it_at_rest_and_it_never_turns_backwards() -> None:
    one = rotor({})
    for _ in range(10):
        assert one.advance(0.41, 0.0) == 0.0
    one.speed_rad_s = 1.0
    for _ in range(10):
        one.advance(0.0, 0.0)
    assert one.speed_rad_s == 0.0


def test_a_rotor_too_light_for_the_step_still_settles() -> None:
    # Time constant far below the step: an explicit method would blow up here.
    one = rotor({"motor.inertia_kg_m2": 1e-12, "propeller.inertia_kg_m2": 1e-12})
    kt = 60.0 / (2.0 * math.pi * 4600.0)
    for _ in range(400):
        current = max(0.0, (12.0 - kt * one.speed_rad_s) / 0.3)
        one.advance(current, -kt / 0.3)
    assert 1000.0 < one.speed_rad_s < 12.0 / kt

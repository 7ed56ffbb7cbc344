import math

import pytest

from daq.stand.plant.propeller import Propeller
from daq.stand.plant.truth_parts import PropellerTruth

FIGURES: dict[str, object] = {
    "diameter_m": 0.0762,
    "inertia_kg_m2": 4e-7,
    "speed_rpm": [6000, 30000],
    "ct": [0.14, 0.16],
    "cp": [0.080, 0.092],
}


def propeller(**changes: object) -> Propeller:
    return Propeller(PropellerTruth.model_validate(FIGURES | changes), 1.2)


def test_thrust_and_torque_follow_the_coefficients_at_n() -> None:
    # T = C_T rho n^2 D^4, Q = C_P rho n^2 D^5/(2 pi), n in rev/s.
    one = propeller()
    one.turn_at(2.0 * math.pi * 300.0)  # 18000 rpm: half way in the table
    assert one.thrust_n == pytest.approx(0.15 * 1.2 * 300.0**2 * 0.0762**4, rel=1e-12)
    power_w = 0.086 * 1.2 * 300.0**3 * 0.0762**5
    assert one.torque_nm * 2.0 * math.pi * 300.0 == pytest.approx(power_w, rel=1e-12)


@pytest.mark.parametrize("rpm", [100.0, 6001.0, 18000.0, 29999.0, 50000.0])
def test_the_torque_slope_is_the_derivative(rpm: float) -> None:
    one = propeller()
    speed = rpm * 2.0 * math.pi / 60.0

    def torque(speed_rad_s: float) -> float:
        one.turn_at(speed_rad_s)
        return one.torque_nm

    # Below the width that would straddle a corner of the table.
    numeric = (torque(speed + 0.05) - torque(speed - 0.05)) / 0.1
    one.turn_at(speed)
    assert one.torque_slope_nm_s == pytest.approx(numeric, rel=1e-5)


def test_beyond_its_ends_the_table_is_held() -> None:
    one = propeller()
    one.turn_at(2.0 * math.pi * 1000.0)
    assert one.thrust_n == pytest.approx(0.16 * 1.2 * 1000.0**2 * 0.0762**4)
    one.turn_at(2.0 * math.pi * 10.0)
    assert one.thrust_n == pytest.approx(0.14 * 1.2 * 10.0**2 * 0.0762**4)


def test_one_coefficient_may_be_constant_and_the_other_a_table() -> None:
    one = propeller(cp=0.09)
    one.turn_at(2.0 * math.pi * 300.0)
    power_w = 0.09 * 1.2 * 300.0**3 * 0.0762**5
    assert one.torque_nm * 2.0 * math.pi * 300.0 == pytest.approx(power_w)


def test_at_rest_there_is_neither_thrust_nor_torque() -> None:
    one = propeller()
    one.turn_at(500.0)
    one.turn_at(0.0)
    assert (one.thrust_n, one.torque_nm) == (0.0, 0.0)

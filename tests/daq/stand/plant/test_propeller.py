import math

import pytest

from daq.stand.plant.propeller import FlexingPropeller, Propeller
from daq.stand.plant.propeller import propeller as make
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


def assert_slope(one: Propeller, speed: float) -> None:
    """The slope is the torque's difference quotient."""

    def torque(speed_rad_s: float) -> float:
        one.turn_at(speed_rad_s)
        return one.torque_nm

    # Below the width that would straddle a corner of the table.
    numeric = (torque(speed + 0.05) - torque(speed - 0.05)) / 0.1
    one.turn_at(speed)
    assert one.torque_slope_nm_s == pytest.approx(numeric, rel=1e-5)


@pytest.mark.parametrize("rpm", [100.0, 6001.0, 18000.0, 29999.0, 50000.0])
def test_the_torque_slope_is_the_derivative(rpm: float) -> None:
    one = propeller()
    speed = rpm * 2.0 * math.pi / 60.0

    assert_slope(one, speed)


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


FLEX: dict[str, object] = {"flex_ct_s2_m2": -4e-5, "flex_cp_s2_m2": 1.5e-5}


def test_flexing_blades_have_a_factor_that_grows_with_the_square_of_the_tip() -> None:
    stiff, soft = propeller(), propeller_of(FIGURES | FLEX)
    for rev_s in (100.0, 500.0):
        tip = (rev_s * 0.0762) ** 2
        for each in (stiff, soft):
            each.turn_at(2.0 * math.pi * rev_s)
        assert soft.thrust_n / stiff.thrust_n == pytest.approx(math.exp(-4e-5 * tip))
        assert soft.torque_nm / stiff.torque_nm == pytest.approx(math.exp(1.5e-5 * tip))
        ct, cp = soft.coefficients(2.0 * math.pi * rev_s)
        calm_ct, calm_cp = stiff.coefficients(2.0 * math.pi * rev_s)
        assert ct == pytest.approx(calm_ct * math.exp(-4e-5 * tip))
        assert cp == pytest.approx(calm_cp * math.exp(1.5e-5 * tip))


def test_the_torque_slope_of_flexing_blades_is_the_derivative() -> None:
    one = propeller_of(FIGURES | FLEX)
    speed = 2.0 * math.pi * 400.0

    assert_slope(one, speed)


def test_thrust_and_power_need_not_go_with_the_square_and_the_cube() -> None:
    # 30,000 to 60,000 rpm: rising Reynolds number lifts C_T (the table), flexing blades
    # take it away. Exponents fitted over that span must come out on either side of 2;
    # published static runs of small propellers range from 2.0 to 2.2 (the rows of
    # tests/reference, whose C_T rises with speed).
    speeds = [2.0 * math.pi * rpm / 60.0 for rpm in (30e3, 40e3, 50e3, 60e3)]

    def exponent(one: Propeller) -> float:
        logs = []
        for speed in speeds:
            one.turn_at(speed)
            logs.append(math.log(one.thrust_n))
        top = math.log(speeds[-1] / speeds[0])
        return (logs[-1] - logs[0]) / top

    table = {"speed_rpm": [20e3, 70e3], "ct": [0.14, 0.17], "cp": [0.08, 0.10]}
    small = FIGURES | {"diameter_m": 0.04}
    rising = exponent(propeller_of(small | table))
    falling = exponent(propeller_of(small | {"speed_rpm": []} | FLAT | FLEX))
    flat = exponent(propeller_of(small | {"speed_rpm": []} | FLAT))
    assert flat == pytest.approx(2.0, abs=1e-12)
    assert rising > 2.1
    assert falling < 1.95


FLAT: dict[str, object] = {"ct": 0.15, "cp": 0.09}


def propeller_of(figures: dict[str, object]) -> Propeller:
    return make(PropellerTruth.model_validate(figures), 1.2)


def test_what_never_flexes_is_the_plain_propeller() -> None:
    assert type(propeller_of(FIGURES)) is Propeller
    assert isinstance(propeller_of(FIGURES | FLEX), FlexingPropeller)


def test_flexing_blades_that_would_beat_the_ideal_rotor_are_refused() -> None:
    # Figure of merit above 1 (actuator-disc theory) at the top of the table.
    with pytest.raises(ValueError, match="figure of merit"):
        propeller_of(FIGURES | {"flex_ct_s2_m2": 5e-4})

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.stand.plant.bus import Bus
from daq.stand.plant.esc import Esc
from daq.stand.plant.motor import Motor
from tests.daq.stand.plant.builder import changed

STEP_S = 1e-3
TRUTH = changed({})
SOURCE_OHM = 0.084
LOOP_OHM = TRUTH.motor.resistance_ohm + TRUTH.esc.on_resistance_ohm
KT = 60.0 / (2.0 * math.pi * 4600.0)


def bus() -> Bus:
    esc, motor = Esc(TRUTH.esc, STEP_S), Motor(TRUTH.motor)
    return Bus(esc, motor, SOURCE_OHM, STEP_S)


@given(
    emf_v=st.floats(1.0, 60.0),
    duty=st.floats(0.01, 1.0),
    speed_rad_s=st.floats(0.0, 6000.0),
)
def test_the_closed_form_solves_kirchhoffs_equations(
    emf_v: float, duty: float, speed_rad_s: float
) -> None:
    one = bus()
    one.feed(emf_v, duty, speed_rad_s)
    one.average(0.0)
    draw = 0.08
    # Unknowns I_motor, I_bus, V_bus as a linear system, solved by numpy.
    matrix = [[LOOP_OHM, 0.0, -duty], [-duty, 1.0, 0.0], [0.0, SOURCE_OHM, 1.0]]
    motor_a, bus_a, volt = np.linalg.solve(matrix, [-KT * speed_rad_s, draw, emf_v])
    if motor_a < 0.0:  # no active braking: the bridge lets nothing back
        motor_a, bus_a, volt = 0.0, draw, emf_v - SOURCE_OHM * draw
    assert one.motor_a == pytest.approx(motor_a, abs=1e-9)
    assert one.bus_a == pytest.approx(bus_a, abs=1e-9)
    assert one.volt_v == pytest.approx(volt, abs=1e-9)


def test_the_slope_is_the_derivative_of_the_motor_current() -> None:
    one = bus()

    def current(speed_rad_s: float) -> float:
        one.feed(12.0, 0.7, speed_rad_s)
        return one.motor_a

    numeric = (current(1000.5) - current(999.5)) / 1.0
    assert one.slope_a_s == pytest.approx(numeric, rel=1e-9)


def test_a_glance_leaves_the_bus_as_it_was() -> None:
    one, other = bus(), bus()
    for each in (one, other):
        each.feed(12.0, 0.7, 1000.0)
    one.at_once(10.0, 0.2, 50.0)
    for each in (one, other):
        each.average(30.0)
    assert (one.motor_a, one.bus_a, one.volt_v) == (
        other.motor_a,
        other.bus_a,
        other.volt_v,
    )


def test_a_source_that_cannot_carry_the_draw_gives_zero_volts_not_less() -> None:
    one = bus()
    one.feed(0.001, 0.0, 0.0)
    one.average(0.0)
    assert one.volt_v == 0.0
    assert one.bus_a == pytest.approx(0.001 / SOURCE_OHM)


def test_unplugged_the_capacitor_falls_in_a_line_and_then_fades() -> None:
    # C dV/dt = -I above the drop-out voltage (4 V), -I V/4 V below it.
    one = bus()
    one.volt_v = 12.0
    seen = []
    for _ in range(150):
        one.drain(0.0, 0.0)
        seen.append(one.volt_v)
    line_s = (12.0 - 4.0) * 220e-6 / 0.035
    for index, volt in enumerate(seen):
        time_s = (index + 1) * STEP_S
        if time_s <= line_s:
            expected = 12.0 - 0.035 * time_s / 220e-6
        else:
            expected = 4.0 * math.exp(-(time_s - line_s) * 0.035 / (220e-6 * 4.0))
        assert volt == pytest.approx(expected, rel=1e-9)
    assert one.bus_a == 0.0
    assert seen[-1] < 0.1


def test_unplugged_the_capacitor_empties_into_a_driven_motor() -> None:
    one = bus()
    one.volt_v = 12.0
    one.drain(0.5, 0.0)
    # An RC circuit of 220 uF and 0.944 ohm (0.236 ohm seen through half duty)
    # keeps exp(-4.8) of its voltage after 1 ms; the charge went to the motor
    # at half the voltage and twice the current. The draw is small beside it.
    kept = 12.0 * math.exp(-1e-3 * 0.25 / (LOOP_OHM * 220e-6))
    assert one.motor_a == pytest.approx(220e-6 * (12.0 - kept) / (1e-3 * 0.5), rel=1e-9)
    assert one.volt_v < kept
    assert one.bus_a == 0.0


def test_unplugged_a_turning_motor_gives_nothing_back() -> None:
    one = bus()
    one.volt_v = 5.0
    one.drain(1.0, 3000.0)  # back-EMF 6.2 V
    assert one.motor_a == 0.0
    assert one.volt_v == pytest.approx(5.0 - 0.08 * 1e-3 / 220e-6)

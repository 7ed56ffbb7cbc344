"""Specimens, mountings and shared packs: pure, repeatable, and as wide as stated."""

import math

import numpy as np
import pytest

from daq.errors import InputFault
from daq.stand.plant.bench import Plant
from daq.stand.plant.drawn import drawn, one_of
from tests.daq.stand.plant.builder import QUIET, changed

BASE = changed(
    {
        "scatter.specimen_blade_rel": 0.03,
        "scatter.specimen_kv_rel": 0.02,
        "scatter.specimen_drag_rel": 0.01,
        "scatter.mounting_air_rel": 0.01,
        "scatter.mounting_arm_rel": 0.02,
        "scatter.mounting_angle_rad": 0.03,
        "scatter.mounting_zero_n": 0.05,
    }
)


def test_the_same_numbers_give_the_same_truth_and_others_another() -> None:
    assert drawn(BASE, 1, 2, 7) == drawn(BASE, 1, 2, 7)
    assert drawn(BASE, 1, 2, 7) != drawn(BASE, 1, 3, 7)
    assert drawn(BASE, 1, 2, 7) != drawn(BASE, 2, 2, 7)
    assert drawn(BASE, 1, 2, 7) != drawn(BASE, 1, 2, 8)


def test_a_specimen_is_the_same_in_every_mounting() -> None:
    mounted = [drawn(BASE, 4, mounting, 1) for mounting in range(5)]
    assert len({truth.motor for truth in mounted}) == 1
    assert len({truth.arm for truth in mounted}) == 5
    # And alone it differs from the base in motor and propeller only.
    alone = drawn(BASE, 4, None, 1)
    assert alone.motor == mounted[0].motor
    assert alone.load_cell == BASE.load_cell
    assert alone.arm is None


def test_a_mounting_does_the_same_to_every_specimen() -> None:
    one, other = drawn(BASE, 1, 9, 3), drawn(BASE, 2, 9, 3)
    assert one.arm == other.arm
    assert one.load_cell == other.load_cell


def test_draws_scatter_as_far_as_the_base_says() -> None:
    truths = [drawn(BASE, number, number, 11) for number in range(400)]
    five = 5.0 / math.sqrt(800)
    kv = np.array([truth.motor.kv_rpm_v for truth in truths]) / 4600.0
    assert kv.std() == pytest.approx(0.02, rel=five)
    assert kv.mean() == pytest.approx(1.0, abs=5.0 * 0.02 / 20.0)
    ct = np.array([truth.propeller.ct[3] for truth in truths]) / 0.153
    assert ct.std() == pytest.approx(math.hypot(0.03, 0.01), rel=five)
    zero = np.array([truth.load_cell.zero_counts for truth in truths]) - 51234.0
    assert zero.std() == pytest.approx(0.05 * 43800.0, rel=five)
    angles = [truth.arm.misalignment_rad for truth in truths if truth.arm is not None]
    # The mean of |z| of a normal number is sqrt(2/pi) of its standard deviation.
    assert np.mean(angles) == pytest.approx(0.03 * math.sqrt(2.0 / math.pi), rel=0.15)


def test_thrust_and_power_coefficient_go_together_in_a_specimen() -> None:
    truths = [drawn(BASE, number, None, 2) for number in range(200)]
    pairs = [(truth.propeller.ct[0], truth.propeller.cp[0]) for truth in truths]
    # 3 % in common, 1 % of drag alone: correlation 3/sqrt(10).
    found = np.corrcoef(np.array(pairs).T)[0, 1]
    assert found == pytest.approx(3.0 / math.sqrt(10.0), abs=0.04)


def test_a_drawn_truth_cannot_be_drawn_again() -> None:
    with pytest.raises(InputFault, match=r"has no \[scatter\]"):
        drawn(drawn(BASE, 1, 1, 1), 1, 1, 1)
    with pytest.raises(InputFault, match="whole numbers of 0 or more"):
        drawn(BASE, -1, 1, 1)


def test_nothing_is_drawn_where_nothing_is_asked_for() -> None:
    bare = drawn(BASE, None, None, 5)
    assert bare == BASE.model_copy(update={"scatter": None})


@pytest.mark.parametrize("motors", [1, 4])
def test_one_of_several_motors_meets_the_voltage_that_all_of_them_leave(
    motors: int,
) -> None:
    # The aircraft as one circuit, N motors in parallel on the whole pack: V = E -
    # R_source (N I + electronics); here from what the plant of one motor says.
    base = changed(QUIET | {"pack.slow_resistance_ohm": 0.0})
    electronics_a = 0.6
    plant = Plant(one_of(base, motors, electronics_a), 1)
    plant.advance(1.0, 1.5e-3)
    state = plant.state
    whole_a = motors * (state.bus_a - electronics_a / motors) + electronics_a
    source_ohm = 0.066 + 0.012 + 0.006
    assert state.bus_v == pytest.approx(
        state.open_circuit_v - source_ohm * whole_a, rel=1e-9
    )
    gone_c = (1.0 - state.charge_frac) * 1620.0
    assert gone_c == pytest.approx(motors * plant.integrals.bus_charge_c, rel=1e-9)


def test_no_motors_at_all_are_refused() -> None:
    with pytest.raises(InputFault, match="0 motors"):
        one_of(BASE, 0, 0.0)

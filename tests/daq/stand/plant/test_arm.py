"""What reaches the load cell of thrust, weight and torque: the law of the lever."""

import math

import pytest

from daq.stand.plant.bench import Plant
from daq.stand.plant.drawn import opposite_rotation, reversed_mount
from daq.stand.plant.truth import Truth
from tests.daq.stand.plant.builder import QUIET, changed

LEVER: dict[str, object] = {
    "arm.thrust_arm_m": 0.120,
    "arm.mass_arm_m": 0.090,
    "arm.cell_arm_m": 0.060,
}


def spun(truth: Truth, throttle: float = 0.7) -> Plant:
    plant = Plant(truth, 1)
    plant.advance(2.0, 1e-3 + throttle * 1e-3)
    return plant


def felt_share(truth: Truth, throttle: float = 0.7) -> float:
    state = spun(truth, throttle).state
    return state.felt_n / state.thrust_n


def test_a_check_mass_and_a_thrust_press_by_their_own_arms() -> None:
    # Moments about the pivot: 0.090/0.060 of the weight, 0.120/0.060 of the thrust.
    truth = changed(QUIET | LEVER)
    plant = Plant(truth, 1)
    plant.placed_load_n = 0.1 * 9.80665
    plant.advance(2.0, 0.0)
    count = plant.take_conversion()
    assert count == pytest.approx(43800.0 * 1.5 * 0.980665, abs=1)
    assert felt_share(truth) == pytest.approx(2.0, rel=1e-5)


def test_a_crooked_axis_shows_the_cosine() -> None:
    # 41.4 degrees: three quarters of it.
    truth = changed(QUIET | LEVER | {"arm.misalignment_rad": math.acos(0.75)})
    assert felt_share(truth) == pytest.approx(1.5, rel=1e-5)


def test_the_thrust_itself_is_none_of_the_arms_business() -> None:
    truth = changed(
        QUIET | LEVER | {"arm.wash_drag_frac": 0.1, "arm.torque_leak_n_nm": 5.0}
    )
    assert spun(truth).state.thrust_n == spun(changed(QUIET)).state.thrust_n
    assert spun(truth).integrals == spun(changed(QUIET)).integrals


def test_wash_takes_a_share_that_grows_with_thrust() -> None:
    truth = changed(
        QUIET
        | {
            "arm.thrust_arm_m": 0.1,
            "arm.mass_arm_m": 0.1,
            "arm.cell_arm_m": 0.1,
            "arm.wash_drag_frac": 0.02,
            "arm.wash_drag_per_n": 0.01,
        }
    )
    for throttle in (0.3, 1.0):
        thrust = spun(truth, throttle).state.thrust_n
        lost = 0.02 + 0.01 * thrust
        assert felt_share(truth, throttle) == pytest.approx(1.0 - lost, rel=1e-5)


def test_the_mean_of_both_rotations_is_free_of_the_leaking_torque() -> None:
    # The reason for spinning a mirrored propeller: torque changes its sign.
    truth = changed(QUIET | LEVER | {"arm.torque_leak_n_nm": 8.0})
    one, other = spun(truth).state, spun(opposite_rotation(truth)).state
    assert one.felt_n - other.felt_n == pytest.approx(16.0 * one.torque_nm, rel=1e-5)
    assert 0.5 * (one.felt_n + other.felt_n) == pytest.approx(
        2.0 * one.thrust_n, rel=1e-5
    )


def test_a_reversed_mount_pulls_the_other_way_and_shows_what_the_wash_took() -> None:
    truth = changed(
        QUIET
        | LEVER
        | {"arm.wash_drag_frac": 0.03, "arm.wash_drag_reversed_frac": 0.01}
    )
    one, other = felt_share(truth), felt_share(reversed_mount(truth))
    assert one == pytest.approx(2.0 * 0.97, rel=1e-5)
    assert other == pytest.approx(-2.0 * 0.99, rel=1e-5)
    assert reversed_mount(reversed_mount(truth)) == truth


def test_an_arm_of_equal_levers_changes_no_count() -> None:
    same = dict.fromkeys(LEVER, 0.05)
    plain, levered = Plant(changed({}), 4), Plant(changed(same), 4)
    counts = []
    for plant in (plain, levered):
        seen = []
        for _ in range(1500):
            plant.advance(1e-3, 1.7e-3)
            seen.append(plant.take_conversion())
        counts.append(seen)
    assert counts[0] == counts[1]

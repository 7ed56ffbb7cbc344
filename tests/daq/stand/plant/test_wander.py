"""Air, reference and warmth that wander: their laws, and what they take along."""

import math

import numpy as np
import pytest

from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth
from tests.daq.stand.plant.builder import QUIET, changed

STEADY: dict[str, object] = {
    "pack.capacity_c": 1e12,
    "pack.slow_resistance_ohm": 0.0,
}
GUSTY: dict[str, object] = {
    "gusts.share_frac": 0.05,
    "gusts.time_s": 0.5,
    "gusts.zero_thrust_advance": 0.8,
    "gusts.zero_power_advance": 1.6,
}


def history(truth: Truth, throttle: float, spans: int) -> np.ndarray:
    """C_T over its still value, C_P over it, thrust, power, speed; every 20 ms."""
    plant = Plant(truth, 2)
    plant.advance(2.0, 1e-3 + throttle * 1e-3)
    rows = []
    for _ in range(spans):
        plant.advance(20e-3, 1e-3 + throttle * 1e-3)
        s = plant.state
        rows.append(
            (
                s.ct / s.still_ct,
                s.cp / s.still_cp,
                s.thrust_n,
                s.shaft_power_w,
                s.speed_rad_s,
            )
        )
    return np.array(rows)


def test_gusts_are_an_ornstein_uhlenbeck_process() -> None:
    # Stationary variance 1 and correlation exp(-t/tau): Uhlenbeck and Ornstein, Phys.
    # Rev. 36 (1930) 823.
    rows = history(changed(QUIET | STEADY | GUSTY), 0.5, 6000)
    swing = rows[:, 0] - 1.0
    # s sqrt(2 C_T/pi)/J_0: an inflow of 5 % of the induced velocity.
    ct = 0.1553
    expected = 0.05 * math.sqrt(2.0 * ct / math.pi) / 0.8
    independent = 6000 * 0.02 / (2.0 * 0.5)
    assert swing.std() == pytest.approx(expected, rel=4.0 / math.sqrt(2 * independent))
    assert abs(swing.mean()) < 4.0 * expected / math.sqrt(independent)
    for lag in (10, 25):
        found = np.corrcoef(swing[:-lag], swing[lag:])[0, 1]
        assert found == pytest.approx(math.exp(-lag * 0.02 / 0.5), abs=0.12)


def test_power_swings_by_the_ratio_of_the_advance_ratios() -> None:
    rows = history(changed(QUIET | STEADY | GUSTY), 0.5, 200)
    assert rows[:, 1] - 1.0 == pytest.approx((rows[:, 0] - 1.0) / 2.0, rel=1e-9)


def test_the_inflow_grows_with_the_root_of_thrust() -> None:
    # Momentum theory, v = sqrt(T/(2 rho A)): the advance ratio of the gusts is the same
    # at any speed but for C_T, so that V = J n D goes with the root of T.
    sizes = []
    for throttle in (0.3, 0.9):
        rows = history(changed(QUIET | STEADY | GUSTY), throttle, 400)
        rev_s = rows[:, 4] / (2.0 * math.pi)
        inflow = (1.0 - rows[:, 0]) * 0.8 * rev_s * 0.0762
        sizes.append(inflow.std() / math.sqrt(rows[:, 2].mean()))
    assert sizes[0] == pytest.approx(sizes[1], rel=0.02)


def test_thrust_and_power_wander_at_held_throttle_and_the_air_stays_true() -> None:
    truth = changed(QUIET | STEADY | GUSTY)
    plant = Plant(truth, 2)
    plant.advance(3.01, 1.7e-3)  # within a span: a gust begins with it
    state = plant.state
    rev_s = state.speed_rad_s / (2.0 * math.pi)
    density = truth.air.density()
    assert state.density_kg_m3 == density
    # What the state tells of C_T is what thrust, speed and density make of it.
    ct = state.thrust_n / (density * rev_s**2 * 0.0762**4)
    cp = state.shaft_power_w / (density * rev_s**3 * 0.0762**5)
    assert state.ct == pytest.approx(ct, rel=1e-9)
    assert state.cp == pytest.approx(cp, rel=1e-9)
    rows = history(truth, 0.7, 400)
    assert rows[:, 2].std() > 0.003 * rows[:, 2].mean()


def test_the_reference_takes_current_and_voltage_along_and_not_the_cell() -> None:
    plain = changed(QUIET | STEADY)
    truth = changed(
        QUIET | STEADY | {"reference.warm_up_rel": 0.01, "reference.warm_up_s": 2.0}
    )
    frames = []
    for each in (plain, truth):
        plant = Plant(each, 1)
        plant.advance(6.0, 1.6e-3)
        plant.fast_frame()
        plant.advance(20e-3, 1.6e-3)
        frames.append((plant.fast_frame(), plant.take_conversion()))
    (was, was_cell), (now, now_cell) = frames
    grown = 1.0 + 0.01 * (1.0 - math.exp(-3.0))
    assert now.current_mean_counts / was.current_mean_counts == pytest.approx(
        grown, abs=4e-4
    )
    assert now.voltage_mean_counts / was.voltage_mean_counts == pytest.approx(
        grown, abs=1e-4
    )
    assert now_cell == was_cell


def test_a_cell_on_a_reference_of_its_own_follows_by_its_share() -> None:
    truth = changed(
        QUIET
        | {
            "reference.warm_up_rel": 0.01,
            "reference.warm_up_s": 0.1,
            "reference.cell_share_frac": 0.5,
        }
    )
    plant = Plant(truth, 1)
    plant.placed_load_n = 2.0
    plant.advance(3.0, 0.0)
    assert plant.take_conversion() == pytest.approx(43800.0 * 2.0 * 1.005, abs=1)


def test_a_reference_walks_with_the_root_of_time() -> None:
    ends = []
    for seed in range(60):
        truth = changed(QUIET | {"reference.walk_rel_sqrt_s": 1e-3})
        plant = Plant(truth, seed)
        plant.advance(1.0, 0.0)
        plant.fast_frame()
        plant.advance(20e-3, 0.0)
        ends.append(plant.fast_frame().voltage_mean_counts / 12567.0 - 1.0)
    # Sixty walks of one second: rms 0.001 within 5 of its own standard deviations.
    assert np.std(ends) == pytest.approx(1e-3, rel=5.0 / math.sqrt(120))


def test_wandering_takes_nothing_from_the_other_channels_noise() -> None:
    # Each purpose has a stream of its own: only what is meant to move moves.
    more: dict[str, object] = {
        "cell_drift.walk_n_sqrt_s": 1e-3,
        "cell_creep.share_frac": 0.01,
        "cell_creep.time_s": 10.0,
    }
    plain, drifting = Plant(changed({}), 5), Plant(changed(more), 5)
    cells = []
    for _ in range(500):
        for plant in (plain, drifting):
            plant.advance(2e-3, 1.5e-3)
        assert plain.fast_frame() == drifting.fast_frame()
        cells.append((plain.take_conversion(), drifting.take_conversion()))
    assert plain.state.thrust_n == drifting.state.thrust_n
    assert any(one != other for one, other in cells)

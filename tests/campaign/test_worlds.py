"""Random worlds are repeatable, cover their ranges, and are stands that spin."""

import math
from functools import cache

import pytest

from daq.stand.plant.bench import Plant
from daq.stand.plant.drawn import drawn
from daq.stand.plant.told import PlantState
from daq.stand.plant.truth import Truth
from tests.campaign.worlds import World, draw_world

SEEDS = range(200)


@cache
def worlds() -> tuple[World, ...]:
    return tuple(draw_world(seed) for seed in SEEDS)


@cache
def flat_out() -> tuple[tuple[PlantState, Plant], ...]:
    """Each after half a second of half and half a second of full throttle."""
    out = []
    for world in worlds():
        plant = Plant(world.truth, world.seed)
        plant.advance(0.5, 1.5e-3)
        plant.advance(0.5, 2.0e-3)
        out.append((plant.state, plant))
    return tuple(out)


def test_a_number_gives_the_same_world_and_the_next_another() -> None:
    assert [draw_world(seed) for seed in range(5)] == list(worlds()[:5])
    assert len({world.truth.motor for world in worlds()}) == len(SEEDS)


def test_every_world_has_every_effect() -> None:
    # Sensors, not effects: none of the questions to a world needs them.
    may_lack = {
        "winding_sensor",
        "esc_sensor",
        "plug_sensor",
        "pack_voltage_sensor",
        "cell_taps",
    }
    for world in worlds():
        for name in set(Truth.model_fields) - may_lack:
            assert getattr(world.truth, name) is not None, name


def test_the_worlds_cover_what_people_build() -> None:
    truths = [world.truth for world in worlds()]
    assert {truth.pack.cells for truth in truths} == {1, 2, 3, 4}
    assert {truth.propeller.blades for truth in truths} == {2, 3, 4}
    kv = [truth.motor.kv_rpm_v for truth in truths]
    assert 2000.0 <= min(kv) < 4000.0
    assert 15_000.0 < max(kv) <= 20_000.0
    size_mm = [1e3 * truth.propeller.diameter_m for truth in truths]
    assert 31.0 <= min(size_mm) < 36.0
    assert 84.0 < max(size_mm) <= 89.001
    named = {world.motor_size for world in worlds()}
    assert {"1103", "1404", "1507"} <= named
    poor = [world.poorness for world in worlds()]
    assert min(poor) < 0.05
    assert max(poor) > 0.95


def test_every_world_reaches_a_full_throttle_that_could_be() -> None:
    for world, (state, _) in zip(worlds(), flat_out(), strict=True):
        what = str(world)
        rpm = state.speed_rad_s * 60.0 / (2.0 * math.pi)
        assert 18e3 < rpm < 90e3, what
        assert 0.05 < state.thrust_n < 12.0, what
        assert 0.5 < state.bus_a < 60.0, what
        assert state.duty_frac == 1.0, what
        per_cell = state.bus_v / world.truth.pack.cells
        assert 3.0 < per_cell < 4.2, what
        assert state.winding_k < 273.15 + 150.0, what
        # From memory of published bench tests of such motors: 1 to 6 gf/W flat out.
        gf_w = state.thrust_n / 9.80665e-3 / state.bus_power_w
        assert 0.8 < gf_w < 8.0, what


def test_no_world_beats_the_ideal_rotor_or_runs_for_nothing() -> None:
    # Actuator-disc theory; small rotors reach 0.35 to 0.65.
    for world, (state, _) in zip(worlds(), flat_out(), strict=True):
        area = math.pi * world.truth.propeller.diameter_m**2 / 4.0
        ideal_w = math.sqrt(state.thrust_n**3 / (2.0 * state.density_kg_m3 * area))
        assert 0.35 < ideal_w / state.shaft_power_w < 0.70, world
        assert 0.35 < state.shaft_power_w / state.bus_power_w < 0.92, world


def test_no_sensor_of_any_world_is_at_its_end() -> None:
    for world, (_, plant) in zip(worlds(), flat_out(), strict=True):
        frame = plant.fast_frame()
        assert 0 < frame.current_high_counts < 32_767, world
        assert 0 < frame.voltage_low_counts < 32_767, world
        count = plant.take_conversion()
        assert count is not None
        assert abs(count) < 2**23 - 1, world
        assert world.truth.cell_curve is not None
        assert abs(plant.state.felt_n) < world.truth.cell_curve.rated_n, world


@pytest.mark.parametrize("seed", [0, 17, 111])
def test_specimens_and_mountings_of_a_world_are_worlds_too(seed: int) -> None:
    base = worlds()[seed].truth
    thrusts = []
    for specimen in range(6):
        plant = Plant(drawn(base, specimen, 0, seed), 1)
        plant.advance(0.5, 2.0e-3)
        thrusts.append(plant.state.thrust_n)
    spread = max(thrusts) / min(thrusts)
    assert 1.005 < spread < 1.6


def test_what_the_owner_measured_is_near_the_truth_and_not_it() -> None:
    for world in worlds():
        arm = world.truth.arm
        assert arm is not None
        assert 0.0 < abs(world.thrust_arm_m - arm.thrust_arm_m) < 0.003
        assert 0.0 < abs(world.diameter_m - world.truth.propeller.diameter_m) < 0.002

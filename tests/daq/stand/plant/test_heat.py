"""Temperatures of winding and ESC: closed forms, copper's tables, the solver."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from daq.errors import InputFault
from daq.stand.plant.bench import WARM_STEPS, Plant
from daq.stand.plant.condition import Condition
from daq.stand.plant.heat import Lump, copper_factor
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_parts import HeatTruth
from daq.typed_toml import check_typed
from tests.daq.stand.plant.balance import INSULATED, energy
from tests.daq.stand.plant.builder import QUIET, bench_supply, changed, shipped_tables

AIR_K = 273.15 + 21.0
CALM: dict[str, object] = {
    f"{part}.{key}": 0.0
    for part in ("winding_sensor", "esc_sensor")
    for key in ("gain_u", "zero_error_counts", "noise_counts_rms")
}


def test_copper_follows_the_published_figures() -> None:
    # IEC 60028 (1925): alpha at 20 degC is 0.00393/K; R75/R20 = 1.216150 and
    # R0/R20 = 0.921400 by it.
    assert copper_factor(293.15) == pytest.approx(1.0)
    assert copper_factor(348.15) == pytest.approx(1.216150, rel=1e-9)
    assert copper_factor(273.15) == pytest.approx(0.921400, rel=1e-9)


def test_a_lump_answers_a_steady_heat_as_its_closed_form() -> None:
    lump = Lump(HeatTruth(capacity_j_k=4.0, resistance_k_w=2.5), 300.0, 0.02)
    for _ in range(500):
        lump.take(8.0)
    # 8 W through 2.5 K/W end 20 K above the air; the time constant is 10 s.
    assert lump.temperature_k == pytest.approx(300.0 + 20.0 * (1 - math.exp(-1.0)))
    for _ in range(250):
        lump.take(0.0)
    gone = 20.0 * (1 - math.exp(-1.0)) * math.exp(-0.5)
    assert lump.temperature_k == pytest.approx(300.0 + gone)


def test_a_lump_without_figures_stays_as_warm_as_the_air() -> None:
    lump = Lump(None, 290.0, 0.02)
    lump.take(1000.0)
    assert lump.temperature_k == 290.0


def test_a_lump_may_start_warm() -> None:
    truth = HeatTruth(capacity_j_k=4.0, resistance_k_w=2.5, start_c=60.0)
    assert Lump(truth, 290.0, 0.02).temperature_k == pytest.approx(333.15)


def stalled(follows: bool) -> Truth:
    """A blocked motor on 3 V: I = V/R, all of it heat."""
    return changed(
        bench_supply(3.0) | {"winding_heat.resistance_follows": follows} | QUIET | CALM
    )


def test_a_stalled_winding_warms_by_i_squared_r() -> None:
    plant = Plant(stalled(follows=False), 1)
    plant.suffer(Condition(rotor_free=False))
    plant.advance(4.0, 2.0e-3)
    heat_w = 3.0**2 / 0.220
    rise_k = heat_w * 2.5 * (1.0 - math.exp(-4.0 / 10.0))
    assert plant.state.winding_k - AIR_K == pytest.approx(rise_k, rel=1e-6)
    assert plant.state.motor_a == pytest.approx(3.0 / 0.220, rel=1e-6)


def test_a_winding_whose_resistance_follows_agrees_with_a_solver() -> None:
    plant = Plant(stalled(follows=True), 1)
    plant.suffer(Condition(rotor_free=False))

    def slope(_: float, y: NDArray[np.float64]) -> list[float]:
        ohm = 0.220 * (1.0 + 0.00393 * (y[0] - 293.15))
        return [float((9.0 / ohm - (y[0] - AIR_K) / 2.5) / 4.0)]

    answer = solve_ivp(slope, (0.0, 4.0), [AIR_K], rtol=1e-10, atol=1e-9)
    plant.advance(4.0, 2.0e-3)
    state = plant.state
    # First order in 20 ms of 10 s.
    assert state.winding_k == pytest.approx(answer.y[0, -1], abs=0.05)
    ohm = 0.220 * (1.0 + 0.00393 * (state.winding_k - 293.15))
    assert state.motor_a == pytest.approx(3.0 / ohm, rel=1e-3)


def test_the_shipped_truths_resistance_does_not_follow() -> None:
    plant = Plant(changed(QUIET), 1)
    plant.advance(8.0, 1.8e-3)
    assert plant.state.winding_k > AIR_K + 25.0
    assert plant._bus.loop_ohm == 0.220 + 0.016


def test_losses_of_a_spinning_motor_are_what_bus_and_shaft_do_not_share() -> None:
    """Energy: what the bus gave, less the shaft's work, is the heat of both parts."""
    found = energy(changed(QUIET | INSULATED), 1.6e-3)
    assert found.heat_j == pytest.approx(found.left_j, rel=1e-3)
    assert found.winding_j > 5.0 * found.esc_j


def test_how_time_is_cut_changes_no_temperature() -> None:
    truth = changed(QUIET)
    one, other = Plant(truth, 1), Plant(truth, 1)
    one.advance(1.0, 1.7e-3)
    for ticks in (1, 19, 20, 21, 400, 7, 532):
        other.advance(ticks * 1e-3, 1.7e-3)
    assert one.state == other.state
    assert WARM_STEPS == 20


def test_the_channels_read_kelvin_and_are_declared_so() -> None:
    plant = Plant(changed(QUIET | CALM), 1)
    winding, esc = plant.slow_specs
    assert (winding.name, esc.name) == ("winding-temp", "esc-temp")
    assert winding.quantity == esc.quantity == "temperature"
    assert winding.counts_per_unit == 50.0
    plant.advance(3.0, 1.9e-3)
    counts = plant.slow_frame()
    assert counts[0] / 50.0 == pytest.approx(plant.state.winding_k, abs=0.01)
    assert counts[1] / 50.0 == pytest.approx(plant.state.esc_k, abs=0.01)
    # From -40 to 200 degrees Celsius, as a thermistor reads (common practice).
    assert winding.low_counts / 50.0 == pytest.approx(233.16, abs=0.01)
    assert winding.high_counts / 50.0 == pytest.approx(473.16, abs=0.01)


def test_a_temperature_beyond_the_sensors_range_reads_its_end() -> None:
    plant = Plant(changed(QUIET | {"winding_heat.start_c": 250.0}), 1)
    assert plant.slow_frame()[0] == plant.slow_specs[0].high_counts


def test_a_truth_may_have_one_temperature_or_none() -> None:
    tables = shipped_tables()
    del tables["esc_sensor"]
    one = Plant(check_typed(tables, Truth, "a test's truth"), 1)
    assert [spec.name for spec in one.slow_specs] == ["winding-temp"]
    assert len(one.slow_frame()) == 1
    for name in ("winding_sensor", "winding_heat", "esc_heat"):
        del tables[name]
    none = Plant(check_typed(tables, Truth, "a test's truth"), 1)
    none.advance(2.0, 2.0e-3)
    assert none.slow_frame() == ()
    assert none.slow_specs == ()
    assert none.state.winding_k == AIR_K


def test_a_sensor_needs_something_that_warms() -> None:
    tables = shipped_tables()
    del tables["winding_heat"]
    with pytest.raises(InputFault, match=r"with \[winding_sensor\] give \[winding_hea"):
        check_typed(tables, Truth, "a test's truth")


def test_temperatures_take_nothing_from_the_other_channels_noise() -> None:
    tables = shipped_tables()
    for name in ("winding_sensor", "esc_sensor", "winding_heat", "esc_heat"):
        del tables[name]
    bare = Plant(check_typed(tables, Truth, "a test's truth"), 7)
    warm = Plant(changed({}), 7)
    for tick in range(1000):
        for plant in (bare, warm):
            plant.advance(1e-3, 1.6e-3)
            plant.slow_frame()
        if tick % 2:
            assert bare.fast_frame() == warm.fast_frame()
        assert bare.take_conversion() == warm.take_conversion()


def test_warm_magnets_turn_faster_unloaded_and_pull_less_a_ampere() -> None:
    # NdFeB loses about 0.11 % of its flux a kelvin (reversible temperature coefficient
    # of remanence, from memory): 80 K above 20 degrees leave 91.2 % of K_t and give
    # 1/0.912 of the no-load speed.
    hot: dict[str, object] = {
        "winding_heat.start_c": 100.0,
        "winding_heat.capacity_j_k": 1e9,
        "motor.no_load_current_a": 0.0,
        "motor.no_load_growth_a_s_rad": 0.0,
        "propeller.speed_rpm": None,
        "propeller.ct": 1e-9,
        "propeller.cp": 1e-9,
    }
    speeds = []
    for magnet_rel_k in (0.0, -0.0011):
        truth = changed(
            QUIET
            | bench_supply(6.0)
            | hot
            | {"winding_heat.magnet_rel_k": magnet_rel_k}
        )
        plant = Plant(truth, 1)
        plant.advance(5.0, 2.0e-3)
        speeds.append(plant.state.speed_rad_s)
        kt = 60.0 / (2.0 * math.pi * 4600.0)
        kept = 1.0 + 80.0 * magnet_rel_k
        assert plant.state.kt_v_s == pytest.approx(kt * kept)
    assert speeds[1] / speeds[0] == pytest.approx(1.0 / 0.912, rel=1e-5)


def test_weak_magnets_still_keep_the_books() -> None:
    """Energy with hot winding and weak magnets: torque and back-EMF fall alike."""
    follows = {
        "winding_heat.resistance_follows": True,
        "winding_heat.magnet_rel_k": -0.0011,
    }
    found = energy(changed(QUIET | INSULATED | follows), 1.6e-3)
    assert found.end.kt_v_s < 0.99 * found.begin.kt_v_s
    assert found.heat_j == pytest.approx(found.left_j, rel=1e-3)

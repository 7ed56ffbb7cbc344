"""The switches of the plant: at work at once, and gone without a trace."""

from dataclasses import replace

import pytest

from daq.stand.plant.bench import Plant
from daq.stand.plant.condition import Condition
from tests.daq.stand.plant.builder import changed

TRUTH = changed({})


def spun() -> Plant:
    plant = Plant(TRUTH, 1)
    plant.advance(1.0, 1.6e-3)
    return plant


def test_a_healthy_condition_changes_nothing() -> None:
    one, other = spun(), spun()
    other.suffer(Condition())
    for plant in (one, other):
        plant.advance(0.5, 1.6e-3)
    assert one.state == other.state


@pytest.mark.parametrize(
    "sick",
    [
        Condition(plug_in=False),
        Condition(propeller_on=False),
        Condition(grip_frac=0.3),
        Condition(loop_factor=2.0),
        Condition(heating_factor=3.0),
        Condition(cells=4),
        Condition(pack_resistance_factor=4.0),
        Condition(charge_frac=0.1),
        Condition(plug_ohm=0.4),
        Condition(esc_arms=False),
        Condition(esc_heeds_zero=False),
    ],
    ids=str,
)
def test_a_mended_plant_answers_as_one_that_was_never_sick(sick: Condition) -> None:
    """Sick and well again before time moves."""
    one, other = spun(), spun()
    other.suffer(sick)
    other.suffer(Condition())
    for plant in (one, other):
        plant.advance(0.5, 1.2e-3)
    assert one.state.speed_rad_s == pytest.approx(other.state.speed_rad_s, rel=1e-12)
    assert one.state.bus_v == pytest.approx(other.state.bus_v, rel=1e-12)
    assert one.state.winding_k == pytest.approx(other.state.winding_k, rel=1e-12)


def test_a_propeller_is_gone_at_once() -> None:
    plant = spun()
    plant.suffer(Condition(propeller_on=False))
    assert (plant.state.thrust_n, plant.state.torque_nm) == (0.0, 0.0)
    plant.suffer(Condition())
    assert plant.state.thrust_n == spun().state.thrust_n


def test_a_rotor_is_blocked_at_once() -> None:
    plant = spun()
    plant.suffer(Condition(rotor_free=False))
    assert (plant.state.speed_rad_s, plant.state.thrust_n) == (0.0, 0.0)


def test_a_condition_that_is_changed_afterwards_is_not_the_plants() -> None:
    plant, condition = spun(), Condition(esc_arms=False)
    plant.suffer(condition)
    condition.esc_arms = True
    plant.advance(0.01, 1.6e-3)
    assert plant.state.duty_frac == 0.0
    plant.suffer(replace(condition))
    plant.advance(0.01, 1.6e-3)
    assert plant.state.duty_frac > 0.0


def test_the_free_speed_is_kv_times_the_voltage() -> None:
    # 4600 rpm/V on 12.57 V: the definition of Kv.
    rpm = Plant(TRUTH, 1).free_speed_rad_s * 30.0 / 3.141592653589793
    assert rpm == pytest.approx(4600.0 * 12.57, rel=1e-9)

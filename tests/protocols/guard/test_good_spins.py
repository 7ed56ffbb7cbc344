"""No check trips on a good spin, whatever the plan and whatever the stand.

Simulated throughout: the stand's figures are invented, within what is usual for
parts of this size.
"""

from dataclasses import replace
from functools import partial

import pytest

from protocols.limits import Limit
from protocols.plan import Plan
from protocols.rules import NO_RULES, Rules
from tests.daq.stand.plant.builder import changed
from tests.protocols.guard.spell import LIMITS, RULES, Spell, from_then_on, levels

UP = (0.2, 0.35, 0.5, 0.65, 0.8, 0.95)
DOWN = tuple(reversed(UP[:-1]))

PLANS: dict[str, Plan] = {
    "staircase": levels(*UP, *DOWN),
    "as fast as a plan may be": levels(*UP, *DOWN, rate_frac_s=2.0, hold_s=1.0),
    "punch": levels(0.3, 1.0, 0.3, 1.0, rate_frac_s=2.0, hold_s=1.5),
    "shuffled": levels(0.5, 0.2, 0.95, 0.35, 0.8, 0.1, 0.9, rate_frac_s=2.0),
    "glide": levels(0.9, 0.1, 0.9, rate_frac_s=0.05, hold_s=0.5),
    "quicker glide": levels(0.9, 0.1, 0.9, rate_frac_s=0.2, hold_s=0.5),
    "hops": levels(
        0.3, 0.6, 0.35, 0.9, 0.2, 0.4, 0.3, 1.0, rate_frac_s=2.0, short_s=0.1
    ),
    "touch and go": levels(0.3, 0.6, 0.9, 0.3, rate_frac_s=2.0, hold_s=0.2),
}
STANDS: dict[str, dict[str, object]] = {
    "as shipped": {},
    "pack half empty": {"pack.charge_frac": 0.4},
    "pack nearly empty": {"pack.charge_frac": 0.12},
    "weak pack": {"pack.resistance_ohm": 0.15, "pack.slow_resistance_ohm": 0.08},
    "slow load cell": {"load_cell.samples_s": 10.0},
    "fast load cell": {"load_cell.samples_s": 320.0},
    "coarse sensors": {
        "speed_sensor.resolution_rpm": 100.0,
        "current_sensor.counts_per_a": 40.0,
        "current_sensor.noise_counts_rms": 0.3,
        "voltage_sensor.counts_per_v": 40.0,
        "voltage_sensor.noise_counts_rms": 0.1,
    },
    "noisy sensors": {
        "load_cell.noise_counts_rms": 2000.0,
        "current_sensor.noise_counts_rms": 80.0,
        "voltage_sensor.noise_counts_rms": 30.0,
    },
    "slow ESC": {"esc.slew_frac_s": 3.0},
    "heavy propeller": {"propeller.inertia_kg_m2": 1.3e-6},
    "motor that fades as it warms": {
        "winding_heat.resistance_follows": True,
        "winding_heat.capacity_j_k": 1.0,
    },
}
LACKS = (("speed",), ("voltage",), ("thrust", "speed", "voltage"))


def spell(stand: str, **changes: object) -> Spell:
    return Spell(changed(STANDS[stand]), **changes)  # type: ignore[arg-type]


def assert_quiet(walked: Spell) -> None:
    assert walked.trip is None, f"{walked.at_s:.2f} s: {walked.trip}"


def test_a_staircase_up_and_down() -> None:
    assert_quiet(spell("as shipped").walk(PLANS["staircase"]))


def test_a_punch_on_a_weak_pack() -> None:
    assert_quiet(spell("weak pack").walk(PLANS["punch"]))


def test_hops_up_and_down_again() -> None:
    assert_quiet(spell("as shipped").walk(PLANS["hops"]))


def test_a_stand_with_nothing_but_a_current() -> None:
    poor = spell("as shipped", without=LACKS[-1], rules=NO_RULES)
    assert_quiet(poor.walk(PLANS["as fast as a plan may be"]))


def test_readings_that_come_in_large_batches() -> None:
    assert_quiet(spell("as shipped", batch_s=0.12).walk(PLANS["staircase"]))


def test_a_motor_without_its_propeller() -> None:
    bare = spell(
        "as shipped",
        rules=replace(RULES, propeller_on=False),
        act=from_then_on(0.0, propeller_on=False),
    )
    assert_quiet(bare.walk(levels(*UP, *DOWN, hold_s=1.0)))


def test_a_pack_that_is_well_used_by_one_spin() -> None:
    small = spell("as shipped", rules=replace(RULES, charge_c=110.0))
    assert_quiet(small.walk(PLANS["staircase"]))


def test_bursts_below_their_budget() -> None:
    tight = Limit("current", -3.0, 12.0, 3, 0.1, "plug 12 A for 10 s")
    rules = Rules.from_dict(
        RULES.to_dict()
        | {
            "bursts": [
                {
                    "part": "plug",
                    "continuous_a": 8.0,
                    "short_a": 12.0,
                    "short_s": 10.0,
                    "source": "test",
                }
            ]
        }
    )
    assert_quiet(
        spell("as shipped", limits=(tight, *LIMITS[1:]), rules=rules).walk(
            PLANS["staircase"]
        )
    )


def test_glitches_of_one_reading_are_nobodys_business() -> None:
    number = 0

    def glitch(_channel: str, value: float, _at_s: float) -> float:
        nonlocal number
        number += 1
        return 1.5 * value + 0.3 if number % 997 == 0 else value

    assert_quiet(spell("as shipped", change=glitch).walk(PLANS["staircase"]))


@pytest.mark.slow
@pytest.mark.parametrize("stand", STANDS)
def test_every_plan_on_every_stand(stand: str) -> None:
    for plan in PLANS.values():
        assert_quiet(spell(stand).walk(plan))


@pytest.mark.slow
@pytest.mark.parametrize("lacking", LACKS, ids=lambda x: "without " + " ".join(x))
def test_every_plan_on_a_stand_that_lacks_channels(lacking: tuple[str, ...]) -> None:
    for plan in PLANS.values():
        assert_quiet(spell("as shipped", without=lacking).walk(plan))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2, 5))
def test_every_plan_with_other_noise_and_gains(seed: int) -> None:
    for plan in PLANS.values():
        assert_quiet(spell("as shipped", seed=seed, batch_s=0.0).walk(plan))


@pytest.mark.slow
@pytest.mark.parametrize("lacking", [(), ("speed",)])
def test_every_plan_without_a_propeller(lacking: tuple[str, ...]) -> None:
    walk = partial(
        spell,
        "as shipped",
        rules=replace(RULES, propeller_on=False),
        without=lacking,
    )
    for plan in PLANS.values():
        assert_quiet(walk(act=from_then_on(0.0, propeller_on=False)).walk(plan))

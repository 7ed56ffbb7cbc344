"""Thrust coefficient, total efficiency and the bound that none can beat."""

import math

import numpy as np
import pytest

from daq.analysis.air import Air, assumed_air
from daq.analysis.propeller import Disc, Propeller, components
from daq.analysis.run import analyse
from daq.errors import InputFault
from tests.daq.analysis.invented import (
    DENSITY_KG_M3,
    DIAMETER_M,
    THRUST_COEFFICIENT,
    Noise,
    record,
    staircase,
    truth_at,
)

HOLDS = staircase((0.2, 0.4, 0.6, 0.8, 1.0), rest_every=4)
AIR = Air(DENSITY_KG_M3, 0.006, "as invented")


def examine(
    diameter_m: float = DIAMETER_M, air: Air | None = AIR, seed: int = 31
) -> Propeller:
    series = record(HOLDS, Noise(), np.random.default_rng(seed))
    analysis = analyse(series, HOLDS, diameter_m=diameter_m, diameter_u_m=1e-4, air=air)
    assert analysis.evidence.propeller is not None
    return analysis.evidence.propeller


def test_the_invented_coefficient_is_found_at_every_plateau() -> None:
    found = examine().thrust_coefficient
    assert found is not None
    low, high = found.interval(0.999)
    assert ((low < THRUST_COEFFICIENT) & (high > THRUST_COEFFICIENT)).all()


def test_the_parts_of_its_uncertainty_stand_apart() -> None:
    found = examine().thrust_coefficient
    assert found is not None
    parts = components(found)
    relative = {name: part[0] for name, part in parts.items()}
    shared = {name for name, part in parts.items() if part[1]}
    # T to the first power, D^-4, rho^-1, n^-2, as far as each is known.
    assert relative["thrust gain"] == pytest.approx(np.full(9, 0.005))
    assert relative["diameter"] == pytest.approx(np.full(9, 4 * 1e-4 / DIAMETER_M))
    assert relative["air density"] == pytest.approx(np.full(9, 0.006 / DENSITY_KG_M3))
    assert relative["speed gain"] == pytest.approx(np.full(9, 2e-4), rel=1e-6)
    assert shared == {
        "thrust gain",
        "thrust zero",
        "thrust zero drift",
        "speed gain",
        "air density",
        "diameter",
    }


def test_total_efficiency_is_ideal_over_electrical_power() -> None:
    found = examine().total_efficiency
    assert found is not None
    area_m2 = math.pi * DIAMETER_M**2 / 4
    for index, throttle in ((0, 0.2), (4, 1.0)):
        truth = truth_at(throttle)
        true = (
            math.sqrt(truth.thrust_n**3 / (2 * DENSITY_KG_M3 * area_m2)) / truth.power_w
        )
        low, high = (limit[index] for limit in found.interval(0.999))
        assert low < true < high


def test_each_input_acts_on_total_efficiency_with_its_exponent() -> None:
    found = examine().total_efficiency
    assert found is not None
    relative = {name: part[0] for name, part in components(found).items()}
    # T^1.5 / (rho^0.5 D V I).
    assert relative["thrust gain"] == pytest.approx(np.full(9, 1.5 * 0.005))
    assert relative["voltage gain"] == pytest.approx(np.full(9, 0.004), rel=2e-3)
    assert relative["current gain"] == pytest.approx(np.full(9, 0.01), rel=2e-3)
    assert relative["diameter"] == pytest.approx(np.full(9, 1e-4 / DIAMETER_M))
    assert relative["air density"] == pytest.approx(
        np.full(9, 0.5 * 0.006 / DENSITY_KG_M3)
    )


def test_a_possible_propeller_is_not_called_impossible() -> None:
    assert not examine().impossible.any()


def test_a_diameter_far_too_small_makes_it_impossible() -> None:
    # Ideal power goes with 1/D: at a third of the true diameter the 40 % of the
    # invented motor would be 120 %.
    found = examine(diameter_m=DIAMETER_M / 3)
    assert found.impossible[4]


def test_a_point_above_one_whose_interval_reaches_below_is_not_impossible() -> None:
    # The same diameter, but air so uncertain that it might be the reason.
    vague = Air(DENSITY_KG_M3, 0.4, "a guess")
    found = examine(diameter_m=DIAMETER_M / 3, air=vague)
    assert found.total_efficiency is not None
    assert found.total_efficiency.value[4] > 1
    assert not found.impossible[4]


def test_air_that_nobody_measured_is_standard_air_with_a_wide_uncertainty() -> None:
    air = assumed_air()
    assert air.density_kg_m3 == pytest.approx(1.225)
    assert air.assumed
    # ISO 2533 at 900 m is 1.123; a hot room there must lie within two u.
    assert air.density_kg_m3 - 2 * air.u_kg_m3 < 1.04
    known = examine().thrust_coefficient
    assumed = examine(air=None).thrust_coefficient
    assert known is not None
    assert assumed is not None
    ratio = assumed.standard_uncertainty() / known.standard_uncertainty()
    assert (ratio > 3).any()


@pytest.mark.parametrize(
    ("diameter_m", "diameter_u_m", "said"),
    [(0.0, 0.0, "diameter_m"), (math.nan, 0.0, "diameter_m"), (0.1, -1.0, "_u_m")],
)
def test_a_disc_that_cannot_be_is_refused(
    diameter_m: float, diameter_u_m: float, said: str
) -> None:
    with pytest.raises(InputFault, match=said):
        Disc(diameter_m, diameter_u_m, AIR)


@pytest.mark.parametrize(("density", "u"), [(12.25, 0.1), (math.nan, 0.1), (1.2, -1)])
def test_air_that_cannot_be_is_refused(density: float, u: float) -> None:
    with pytest.raises(InputFault, match="air density"):
        Air(density, u, "wrong")

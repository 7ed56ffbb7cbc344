"""Momentum theory and thrust coefficient against published figures."""

import csv
import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from daq.analysis.air import Air
from daq.analysis.measured import Measured
from daq.analysis.propeller import Disc, ideal_power_w, thrust_coefficient
from daq.units import in_to_m, n_to_gf, rpm_to_rad_s

HERE = Path(__file__).parent
MOMENTUM: dict[str, Any] = tomllib.loads(
    (HERE / "rotor_motor.toml").read_text("utf-8")
)["momentum_theory"]
STATIC = list(
    csv.DictReader((HERE / "uiuc_static.csv").read_text("utf-8").splitlines())
)


@pytest.mark.parametrize("case", MOMENTUM["arithmetic"])
def test_ideal_power_and_induced_velocity(case: dict[str, float]) -> None:
    # Actuator disc, J. G. Leishman, Principles of Helicopter Aerodynamics
    # (2000) ch. 2; figures recomputed with rho = 1.225 kg/m^3.
    thrust_n = np.array([case["thrust_N"]])
    power_w = ideal_power_w(thrust_n, 1.225, case["diameter_m"])[0]
    velocity_m_s = ideal_power_w(thrust_n, 1.225, case["diameter_m"], 0.5)[0]
    assert power_w == pytest.approx(case["ideal_power_W"], rel=1e-6)
    assert velocity_m_s == pytest.approx(case["induced_velocity_m_s"], rel=1e-6)
    assert n_to_gf(case["thrust_N"]) / power_w == pytest.approx(
        case["ideal_gf_per_W"], rel=1e-6
    )


def test_the_textbooks_engineering_constants() -> None:
    # Gessow and Myers (1952), Johnson (1980): 14.5 ft/s per sqrt(lb/ft^2) and
    # 38 lb/hp times sqrt of disc loading, at sea level.
    expected = MOMENTUM["engineering_constants"]
    pound_n, foot_m, horsepower_w = 4.4482216152605, 0.3048, 745.69987158227
    diameter_m = math.sqrt(4 * foot_m**2 / math.pi)  # a disc of one square foot
    density = 0.0023769 * 515.378818393  # slug/ft^3
    one = np.array([pound_n])
    velocity_ft_s = ideal_power_w(one, density, diameter_m, 0.5)[0] / foot_m
    loading = horsepower_w / ideal_power_w(one, density, diameter_m)[0]
    assert velocity_ft_s == pytest.approx(
        expected["v_ft_per_s_over_sqrt_lb_per_ft2"], rel=1e-5
    )
    assert loading == pytest.approx(
        expected["ideal_power_loading_lb_per_hp_times_sqrt_DL"], rel=1e-5
    )


@pytest.mark.parametrize("row", STATIC)
def test_published_static_runs_give_back_their_coefficient_and_merit(
    row: dict[str, str],
) -> None:
    # UIUC Propeller Database, vol. 2; AIAA 2014-2151 equations 1-4. Thrust and
    # power at rho = 1.225 kg/m^3, T = CT rho n^2 D^4, figure of merit from
    # shaft power.
    diameter_m = in_to_m(float(row["diameter_in"]))
    thrust = Measured(np.array([float(row["thrust_N"])]), {})
    speed = Measured(np.array([rpm_to_rad_s(float(row["rpm"]))]), {})
    disc = Disc(diameter_m, 0.0, Air(1.225, 0.0, "as published"))
    found = thrust_coefficient(thrust, speed, disc)
    assert found.value[0] == pytest.approx(float(row["CT"]), rel=2e-5)
    ideal_w = ideal_power_w(thrust.value, 1.225, diameter_m)[0]
    merit = ideal_w / float(row["shaft_power_W"])
    assert merit == pytest.approx(float(row["figure_of_merit"]), abs=1e-4)
    assert merit < 1


def test_the_printed_diameter_would_cost_a_factor() -> None:
    # AIAA 2014-2151, table 1: a "3 inch" propeller measured 3.25 in; D^4 makes
    # that a factor 1.38 in thrust coefficient.
    thrust = Measured(np.array([1.0]), {})
    speed = Measured(np.array([2000.0]), {})
    found = [
        thrust_coefficient(
            thrust, speed, Disc(in_to_m(inches), 0.0, Air(1.2, 0.0, "as given"))
        ).value[0]
        for inches in (3.0, 3.25)
    ]
    assert found[0] / found[1] == pytest.approx(1.377, abs=5e-4)

"""Published propeller rows fed as truth: the plant gives their thrust back.

Source: J. B. Brandt, R. W. Deters, G. K. Ananda, O. D. Dantsker, M. S. Selig,
UIUC Propeller Database, Volume 2, University of Illinois at Urbana-Champaign;
R. W. Deters, M. S. Selig, AIAA 2008-6246; R. W. Deters, G. K. Ananda, M. S. Selig,
AIAA 2014-2151 (definitions, measured diameters). Columns rpm, CT and CP are
measured; thrust, torque and power follow from them at 1.225 kg/m^3.
"""

import csv
import math
from itertools import groupby
from pathlib import Path

import pytest

from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth, shipped_truth
from tests.daq.stand.plant.builder import QUIET, bench_supply, changed

Row = dict[str, str]
ROWS: list[Row] = list(
    csv.DictReader(
        (Path(__file__).parent / "uiuc_static.csv").read_text("utf-8").splitlines()
    )
)
PROPELLERS = {name: list(rows) for name, rows in groupby(ROWS, lambda row: row["prop"])}
# A motor strong enough for all of them, whatever it would weigh.
MOTOR = {
    "motor.kv_rpm_v": 3000.0,
    "motor.resistance_ohm": 0.2,
    "motor.no_load_current_a": 0.1,
    "motor.no_load_growth_a_s_rad": 0.0,
    "motor.inertia_kg_m2": 2e-7,
    "propeller.inertia_kg_m2": 2e-7,
}
KT = 60.0 / (2.0 * math.pi * 3000.0)


def spun(row: Row) -> tuple[Truth, Plant]:
    """The propeller on the voltage at which the published torque balances there."""
    rows = PROPELLERS[row["prop"]]
    motor_a = 0.1 + float(row["torque_Nm"]) / KT
    volt = KT * float(row["rpm"]) * 2.0 * math.pi / 60.0 + 0.2 * motor_a
    truth = changed(
        QUIET
        | bench_supply(volt)
        | MOTOR
        | {
            "propeller.diameter_m": float(row["diameter_in"]) * 0.0254,
            "propeller.speed_rpm": [float(each["rpm"]) for each in rows],
            "propeller.ct": [float(each["CT"]) for each in rows],
            "propeller.cp": [float(each["CP"]) for each in rows],
            "air.temperature_c": None,
            "air.pressure_pa": None,
            "air.relative_humidity_frac": None,
            "air.density_kg_m3": 1.225,
        }
    )
    plant = Plant(truth, 1)
    plant.advance(4.0, 2.0e-3)
    return truth, plant


@pytest.mark.parametrize("row", ROWS, ids=[f"{r['prop']}-{r['rpm']}" for r in ROWS])
def test_the_plant_reproduces_the_published_row(row: Row) -> None:
    truth, plant = spun(row)
    state = plant.state
    rpm = state.speed_rad_s * 60.0 / (2.0 * math.pi)
    assert rpm == pytest.approx(float(row["rpm"]), rel=1e-4)
    # The columns carry six digits; thrust goes with the square of the speed.
    assert state.thrust_n == pytest.approx(float(row["thrust_N"]), rel=3e-4)
    assert state.torque_nm == pytest.approx(float(row["torque_Nm"]), rel=3e-4)
    assert state.shaft_power_w == pytest.approx(float(row["shaft_power_W"]), rel=4e-4)
    area = math.pi * truth.propeller.diameter_m**2 / 4.0
    ideal_w = math.sqrt(state.thrust_n**3 / (2.0 * 1.225 * area))
    merit = ideal_w / state.shaft_power_w
    assert merit == pytest.approx(float(row["figure_of_merit"]), rel=5e-4)
    assert merit < 1.0


def test_the_load_cell_reads_the_published_thrust_in_newton() -> None:
    row = PROPELLERS["gwsdd_3x2"][-1]
    _, plant = spun(row)
    count = plant.take_conversion()
    assert count is not None
    thrust_n = count / plant.sensor_specs[0].counts_per_unit
    assert thrust_n == pytest.approx(float(row["thrust_N"]), rel=3e-4)


@pytest.mark.parametrize("throttle", [0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0])
def test_the_shipped_article_never_beats_the_ideal_rotor(throttle: float) -> None:
    # Actuator-disc theory: J. G. Leishman, Principles of Helicopter Aerodynamics
    # (Cambridge, 2000) ch. 2. Small rotors reach 0.4 to 0.65 (the rows above).
    truth = shipped_truth()
    plant = Plant(truth, 1)
    plant.advance(1.5, 1e-3 + throttle * 1e-3)
    state = plant.state
    area = math.pi * truth.propeller.diameter_m**2 / 4.0
    ideal_w = math.sqrt(state.thrust_n**3 / (2.0 * truth.air.density() * area))
    assert 0.48 < ideal_w / state.shaft_power_w < 0.6

"""Calibration against published figures: NIST, the GUM, ASTM E74, OIML R 111, mints."""

import csv
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from daq.analysis.measured import t_factor
from daq.analysis.scale import PowerPart, Scale
from daq.calibration.fit import Polynomial, fit_polynomial, force_grade
from daq.calibration.gravity import normal_gravity
from daq.calibration.standards import Mass, Standards, masses_of
from daq.calibration.weights import COINS, permissible_error_g
from daq.units import STANDARD_GRAVITY_M_S2

HERE = Path(__file__).parent
Array = NDArray[np.float64]


def table(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def published(name: str) -> dict[str, Any]:
    return tomllib.loads((HERE / name).read_text(encoding="utf-8"))


def columns(name: str, x: str, y: str) -> tuple[Array, Array]:
    rows = table(name)
    return (
        np.array([float(row[x]) for row in rows]),
        np.array([float(row[y]) for row in rows]),
    )


# --------------------------------------------------------------- NIST StRD
# National Institute of Standards and Technology, Statistical Reference Datasets.


@pytest.mark.parametrize(
    ("name", "powers"),
    [("norris", (0, 1)), ("pontius", (0, 1, 2)), ("noint1", (1,))],
)
def test_certified_coefficients_to_twelve_digits(
    name: str, powers: tuple[int, ...]
) -> None:
    x, y = columns(f"nist_{name}.csv", "x", "y")
    fitted = fit_polynomial(x, y, powers)
    certified = published("nist_strd.toml")[name]
    wanted = [float(text) for text in certified["B"]]
    sd = [float(text) for text in certified["sd"]]
    assert fitted.coefficients == pytest.approx(wanted, rel=1e-12)
    assert np.sqrt(np.diag(fitted.covariance())) == pytest.approx(sd, rel=1e-12)
    assert fitted.residual_sd == pytest.approx(
        float(certified["residual_sd"]), rel=1e-12
    )


def test_a_line_through_the_load_cell_of_pontius_is_ten_times_worse() -> None:
    x, y = columns("nist_pontius.csv", "x", "y")
    line = fit_polynomial(x, y, (0, 1))
    # The e-Handbook's point (4.6.1), quoted with the data.
    assert line.coefficients == pytest.approx([0.0061496842, 7.2210258e-7], rel=1e-7)
    assert line.residual_sd == pytest.approx(0.00217127, rel=1e-5)


# --------------------------------------------------------------- GUM H.3


@pytest.fixture
def thermometer() -> tuple[Polynomial, dict[str, Any]]:
    """JCGM 100:2008, table H.6: correction b against t - 20 degrees."""
    t, b = columns(
        "gum_h3_thermometer.csv", "reading_t_degC", "observed_correction_b_degC"
    )
    return fit_polynomial(t - 20.0, b, (0, 1)), published("gum_h3_thermometer.toml")


def test_thermometer_line_and_its_covariance(
    thermometer: tuple[Polynomial, dict[str, Any]],
) -> None:
    fitted, source = thermometer
    exact, printed = source["recomputed"], source["published"]
    assert fitted.coefficients == pytest.approx([exact["y1"], exact["y2"]], rel=1e-9)
    covariance = fitted.covariance()
    u = np.sqrt(np.diag(covariance))
    assert u == pytest.approx([exact["u_y1"], exact["u_y2"]], rel=1e-7)
    assert covariance[0, 1] / u.prod() == pytest.approx(exact["r_y1_y2"], rel=1e-9)
    assert fitted.residual_sd == pytest.approx(exact["s"], rel=1e-9)
    assert round(float(fitted.coefficients[0]), 4) == printed["y1"]
    assert round(float(u[1]), 5) == printed["u_y2"]
    assert fitted.dof == printed["degrees_of_freedom"]


def test_thermometer_correction_at_thirty_degrees(
    thermometer: tuple[Polynomial, dict[str, Any]],
) -> None:
    fitted, source = thermometer
    exact = source["recomputed"]
    at = np.array([10.0])
    assert fitted.value(at)[0] == pytest.approx(exact["b_30"], rel=1e-9)
    u = float(fitted.u(at)[0])
    assert u == pytest.approx(exact["u_b_30"], rel=1e-9)
    # Without the correlation of slope and intercept it would be nearly twice that.
    assert u < 0.6 * exact["u_b_30_if_correlation_dropped"]
    low = float(fitted.value(at)[0]) - float(t_factor(9)) * u
    assert low == pytest.approx(exact["b_30_95_mean_low"], rel=1e-9)


def test_the_analysis_gets_the_same_uncertainty_from_the_fits_factors(
    thermometer: tuple[Polynomial, dict[str, Any]],
) -> None:
    # The covariance of H.3.3 as a factor of powers of the value: u(b(30)) of H.3.4.
    fitted, source = thermometer
    factor = np.asarray(np.linalg.cholesky(fitted.covariance()), dtype=np.float64)
    part = PowerPart("fit", fitted.powers, factor, float(fitted.dof))
    found = Scale((part,)).factors("b", [10.0])["b fit"]
    u = float(np.linalg.norm(found.factor))
    assert u == pytest.approx(source["recomputed"]["u_b_30"], rel=1e-9)
    assert round(u, 4) == source["published"]["u_b_30"]
    assert found.dof == 9.0


# --------------------------------------------------------------- ASTM E74-18


def test_force_grade_of_the_load_cell_of_pontius() -> None:
    load, deflection = columns("nist_pontius.csv", "x", "y")
    grade = force_grade(load, deflection)
    wanted = published("instruments.toml")["force_calibration_astm_e74"][
        "check_on_pontius"
    ]
    assert grade.lower_limit_factor == pytest.approx(wanted["llf_load"], rel=1e-7)
    assert grade.class_a == pytest.approx(wanted["class_A_lower_limit_load"], rel=1e-7)
    assert grade.class_aa == pytest.approx(
        wanted["class_AA_lower_limit_load"], rel=1e-7
    )


# --------------------------------------------------------------- OIML R 111-1:2004


def test_every_permissible_error_of_the_table() -> None:
    rows = table("oiml_r111_mpe.csv")
    assert len(rows) == 10
    for row in rows:
        number, unit = row["nominal"].split()
        nominal_g = float(number) * (1000.0 if unit == "kg" else 1.0)
        for name in ("E2", "F1", "F2", "M1", "M2", "M3"):
            mpe_g = permissible_error_g(nominal_g, name)
            assert mpe_g == pytest.approx(1e-3 * float(row[f"{name}_mg"]))


def test_force_of_a_class_weight_is_that_of_its_conventional_mass() -> None:
    # 100 g at standard gravity in air of 1.2 kg/m^3: arithmetic, see the file.
    wanted_n = published("check_weights.toml")["weight_to_force"]["newton"]
    box = Standards(
        format=1,
        name="one weight",
        mass=[Mass(name="100 g", mass_g=100.0, oiml_class="M2")],
        on_axis=True,
    )
    assert float(masses_of(box).value_si[0]) == pytest.approx(wanted_n, rel=1e-6)


# --------------------------------------------------------------- coins


def test_every_coin_is_as_its_mint_says() -> None:
    rows = {f"{row['currency']} {row['coin'].split(' (')[0]}": row
            for row in table("coins.csv")}  # fmt: skip
    assert len(rows) == len(COINS)
    for known in COINS:
        row = rows[known.name]
        assert known.mass_g == float(row["mass_g"])
        tolerance = row["tolerance_g_plus_minus"]
        assert known.tolerance_g == (float(tolerance) if tolerance else None)


def test_twenty_nickels_are_worse_than_if_they_were_independent() -> None:
    source = published("check_weights.toml")["coins"]
    roll = Standards.model_validate(
        {
            "format": 1,
            "name": "a roll",
            "coins": [{"coin": "USD 5 cents", "count": 20}],
            "on_axis": True,
        }
    )
    known = masses_of(roll)
    factor = known.causes["standards"][-1]
    u_g = float(np.linalg.norm(factor)) / abs(known.si_per_piece_unit)
    assert known.levels[-1].name == f"{source['batch_of_20_nickels_g']:g} g"
    # Independent coins would give 0.501 g; coins of a roll share their blanks.
    independent_g = source["batch_u_if_tolerance_is_rectangular_g"]
    assert 3.0 * independent_g < u_g < 4.0 * independent_g


# --------------------------------------------------------------- GUM 5.2.2


def test_what_one_balance_weighed_adds_up_and_does_not_average_out() -> None:
    # JCGM 100:2008, 5.2.2, example (from memory): ten resistors of 1000 ohm that were
    # compared with one standard of u = 100 milliohm have 1 ohm together, not 0.32.
    box = Standards.model_validate(
        {
            "format": 1,
            "name": "ten lumps",
            "mass": [
                {
                    "name": f"lump {number}",
                    "mass_g": 1000.0,
                    "u_g": 0.1,
                    "balance": "kitchen scale",
                }
                for number in range(10)
            ],
            "on_axis": True,
        }
    )
    known = masses_of(box)
    factor = known.causes["standards"][-1]
    u_g = float(np.linalg.norm(factor)) / abs(known.si_per_piece_unit)
    assert u_g == pytest.approx(1.0)


# --------------------------------------------------------------- gravity


def test_normal_gravity_of_wgs_84() -> None:
    source = published("constants.toml")["local_gravity"]
    assert normal_gravity(0.0) == source["gamma_equator"]
    assert normal_gravity(90.0) == pytest.approx(source["gamma_pole"], abs=1e-9)
    assert normal_gravity(45.0) == pytest.approx(source["gamma_45deg"], abs=1e-6)
    spread = normal_gravity(90.0) / normal_gravity(0.0) - 1.0
    assert 100.0 * spread == pytest.approx(
        source["spread_equator_to_pole_percent"], abs=1e-3
    )
    # Free air: 0.3086 milligal for a metre, any textbook of gravimetry.
    drop = normal_gravity(45.0, 1000.0) - normal_gravity(45.0)
    assert drop == pytest.approx(-3.086e-3, rel=1e-3)
    assert normal_gravity(45.0) == pytest.approx(STANDARD_GRAVITY_M_S2, rel=1e-4)

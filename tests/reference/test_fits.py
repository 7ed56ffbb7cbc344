"""Fits, coverage factors and effective degrees of freedom against publications.

NIST StRD: National Institute of Standards and Technology, Statistical Reference
Datasets, linear and nonlinear regression (certified values, public domain).
GUM: JCGM 100:2008, annexes G and H.
"""

import csv
import math
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from daq.analysis.fits import fit, fit_line, minimise
from daq.analysis.measured import effective_dof, t_factor
from daq.analysis.models import Model, Polynomial, PowerLaw

HERE = Path(__file__).parent
Array = NDArray[np.float64]


def table(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((HERE / name).read_text("utf-8").splitlines()))


def certified(name: str) -> dict[str, Any]:
    document: dict[str, Any] = tomllib.loads(
        (HERE / "nist_strd.toml").read_text("utf-8")
    )
    found: dict[str, Any] = document[name]
    return found


def points(name: str) -> tuple[Array, Array]:
    rows = table(f"nist_{name}.csv")
    return (
        np.array([float(row["x"]) for row in rows]),
        np.array([float(row["y"]) for row in rows]),
    )


@pytest.mark.parametrize(
    ("name", "powers", "r_squared", "about"),
    [
        ("norris", (0, 1), "r_squared", "mean"),
        # A line through the origin: R-squared is about zero, 1 - SSR/sum(y^2).
        ("noint1", (1,), "r_squared_uncentred", "zero"),
        # A real load-cell calibration; unscaled powers would lose the intercept.
        ("pontius", (0, 1, 2), "r_squared", "mean"),
    ],
)
def test_linear_fits_reproduce_the_certified_values(
    name: str, powers: tuple[int, ...], r_squared: str, about: str
) -> None:
    # NIST StRD linear regression; tolerance 1e-9 relative on every figure.
    x, y = points(name)
    expected = certified(name)
    found = fit(Polynomial(powers), x, y)
    assert found.coefficients == pytest.approx(
        np.array([float(b) for b in expected["B"]]), rel=1e-9
    )
    assert found.coefficient_sd == pytest.approx(
        np.array([float(sd) for sd in expected["sd"]]), rel=1e-9
    )
    assert found.residual_sd == pytest.approx(float(expected["residual_sd"]), rel=1e-9)
    assert found.r_squared == pytest.approx(float(expected[r_squared]), rel=1e-12)
    assert found.r_squared_about == about
    assert found.dof == expected["n"] - len(powers)


def test_a_straight_line_through_the_load_cell_is_ten_times_worse() -> None:
    # NIST/SEMATECH e-Handbook 4.6.1: R-squared of 0.99999 hides a misfit.
    x, y = points("pontius")
    line, curve = fit_line(x, y), fit(Polynomial((0, 1, 2)), x, y)
    assert line.coefficients == pytest.approx([0.0061496842, 7.2210258e-7], rel=1e-7)
    assert line.residual_sd == pytest.approx(0.00217127, rel=1e-5)
    assert round(line.r_squared, 5) == 0.99999
    assert line.residual_sd > 10 * curve.residual_sd
    assert curve.aicc < line.aicc - 100


def test_the_power_law_is_fitted_in_y_and_not_in_logarithms() -> None:
    # NIST StRD DanWood; tolerances 1e-6 on parameters, 1e-4 on their sd.
    x, y = points("danwood")
    expected = certified("danwood")
    found = fit(PowerLaw(), x, y)
    assert found.coefficients == pytest.approx(
        np.array([float(b) for b in expected["b"]]), rel=1e-6
    )
    assert found.coefficient_sd == pytest.approx(
        np.array([float(sd) for sd in expected["sd"]]), rel=1e-4
    )
    assert found.residual_sd == pytest.approx(float(expected["residual_sd"]), rel=1e-6)
    # The trap: a line through the logarithms gives 0.74995 and 3.91721.
    trap = certified("danwood_loglog_trap")
    assert PowerLaw().start(x, y) == pytest.approx([trap["b1"], trap["b2"]], rel=1e-8)
    assert abs(found.coefficients[0] - trap["b1"]) > 0.01


@dataclass(frozen=True)
class Saturation:
    """y = b1 (1 - exp(-b2 x)), NIST StRD Misra1a."""

    words: str = "y = b1 (1 - exp(-b2 x))"
    count: int = 2
    through_zero: bool = False

    def value(self, x: Array, c: Array) -> Array:
        return np.asarray(c[0] * (1 - np.exp(-c[1] * x)), dtype=np.float64)

    def gradient(self, x: Array, c: Array) -> Array:
        decay = np.exp(-c[1] * x)
        return np.stack([1 - decay, c[0] * x * decay], axis=-1)

    def slope(self, x: Array, c: Array) -> Array:
        return np.asarray(c[0] * c[1] * np.exp(-c[1] * x), dtype=np.float64)

    def start(self, x: Array, y: Array) -> Array:
        return np.array([500.0, 1e-4])


@dataclass(frozen=True)
class Decay:
    """y = exp(-b1 x) / (b2 + b3 x), NIST StRD Chwirut2."""

    words: str = "y = exp(-b1 x) / (b2 + b3 x)"
    count: int = 3
    through_zero: bool = False

    def value(self, x: Array, c: Array) -> Array:
        return np.asarray(np.exp(-c[0] * x) / (c[1] + c[2] * x), dtype=np.float64)

    def gradient(self, x: Array, c: Array) -> Array:
        y, below = self.value(x, c), c[1] + c[2] * x
        return np.stack([-x * y, -y / below, -x * y / below], axis=-1)

    def slope(self, x: Array, c: Array) -> Array:
        y = self.value(x, c)
        return np.asarray(-y * (c[0] + c[2] / (c[1] + c[2] * x)), dtype=np.float64)

    def start(self, x: Array, y: Array) -> Array:
        return np.array([0.1, 0.01, 0.02])


@pytest.mark.parametrize(
    ("name", "data", "model"),
    [
        ("danwood", "danwood", PowerLaw()),
        ("misra1a", "misra1", Saturation()),
        ("chwirut2", "chwirut2", Decay()),
    ],
)
@pytest.mark.parametrize("start", ["start1", "start2"])
def test_nonlinear_fits_settle_from_both_official_starts(
    name: str, data: str, model: Model, start: str
) -> None:
    # NIST StRD nonlinear regression; tolerances as suggested with the data.
    x, y = points(data)
    expected = certified(name)
    first = np.array([float(b) for b in expected[start]])
    found = fit(model, x, y, start=first)
    assert found.coefficients == pytest.approx(
        np.array([float(b) for b in expected["b"]]), rel=1e-6
    )
    assert found.coefficient_sd == pytest.approx(
        np.array([float(sd) for sd in expected["sd"]]), rel=1e-4
    )
    residual = y - found.predict(x)
    assert float(residual @ residual) == pytest.approx(
        float(expected["residual_sum_of_squares"]), rel=1e-8
    )
    # A second pass from the answer must stay there.
    again = minimise(model, x, y, np.ones(x.size), found.coefficients)
    assert again == pytest.approx(found.coefficients, rel=1e-9)


def test_the_thermometer_calibration_of_gum_h3() -> None:
    # JCGM 100:2008, H.3: line through 11 corrections about 20 degC, prediction
    # at 30 degC with and without the correlation of the coefficients.
    rows = table("gum_h3_thermometer.csv")
    expected = tomllib.loads((HERE / "gum_h3_thermometer.toml").read_text("utf-8"))[
        "recomputed"
    ]
    t_c = np.array([float(row["reading_t_degC"]) for row in rows])
    b_c = np.array([float(row["observed_correction_b_degC"]) for row in rows])
    found = fit_line(t_c - 20.0, b_c)
    assert found.coefficients == pytest.approx([expected["y1"], expected["y2"]])
    assert found.coefficient_sd == pytest.approx(
        [expected["u_y1"], expected["u_y2"]], rel=1e-7
    )
    sd = found.coefficient_sd
    assert found.covariance[0, 1] / (sd[0] * sd[1]) == pytest.approx(
        expected["r_y1_y2"], rel=1e-8
    )
    y, low, high = found.band(np.array([10.0]))
    assert y[0] == pytest.approx(expected["b_30"])
    assert low[0] == pytest.approx(expected["b_30_95_mean_low"], rel=1e-8)
    assert high[0] == pytest.approx(expected["b_30_95_mean_high"], rel=1e-8)


def test_coverage_factors_are_those_of_gum_table_g2() -> None:
    # JCGM 100:2008, table G.2 (NIST TN 1297, table B.1). The printed 1.70 at
    # nu = 35, 90 % is a known misprint: the exact value is 1.6896.
    columns = {
        "t68_27": math.erf(1 / math.sqrt(2)),
        "t90": 0.90,
        "t95": 0.95,
        "t95_45": math.erf(2 / math.sqrt(2)),
        "t99": 0.99,
        "t99_73": math.erf(3 / math.sqrt(2)),
    }
    compared = 0
    for row in table("gum_g2_student_t.csv"):
        nu = float(row["nu"])
        for column, coverage in columns.items():
            found = float(t_factor(nu, coverage))
            printed = row[f"{column}_published"]
            assert found == pytest.approx(float(row[f"{column}_exact"]), abs=6e-7)
            if (nu, column) != (35.0, "t90"):
                half_digit = 0.5 * 10.0 ** -len(printed.partition(".")[2])
                assert abs(found - float(printed)) <= half_digit + 1e-9
            compared += 1
    assert compared == 168


@pytest.mark.parametrize(
    ("example", "u", "dof", "nu", "printed"),
    [
        (
            "welch_satterthwaite_G4",
            "u_rel_percent",
            (9.0, 4.0, 14.0),
            "nu_eff",
            "nu_eff_published",
        ),
        (
            "welch_satterthwaite_H1",
            "components_nm",
            (18.0, 25.6, 50.0, 2.0),
            "nu_eff",
            "nu_eff_published",
        ),
    ],
)
def test_effective_degrees_of_freedom_are_those_of_the_gum(
    example: str, u: str, dof: tuple[float, ...], nu: str, printed: str
) -> None:
    # JCGM 100:2008, G.4.2 and H.1.6.
    values = tomllib.loads((HERE / "gum_other_examples.toml").read_text("utf-8"))[
        example
    ]
    found = effective_dof(values[u], dof)
    # The components of H.1 are printed to a tenth of a nanometre.
    assert found == pytest.approx(values[nu], rel=2e-3)
    assert abs(found - values[printed]) < 0.1


def test_gum_h1_is_not_computed_from_the_rounded_total() -> None:
    # The trap of H.1: 32 nm for the unrounded 31.66 nm gives 17.5, not 16.7.
    values = tomllib.loads((HERE / "gum_other_examples.toml").read_text("utf-8"))[
        "welch_satterthwaite_H1"
    ]
    components = np.array(values["components_nm"])
    found = effective_dof(components, [18.0, 25.6, 50.0, 2.0])
    assert abs(found - values["nu_eff_trap"]) > 0.5
    total = float(np.sqrt((components**2).sum()))
    assert total == pytest.approx(values["uc_nm"], rel=5e-4)
    expanded = float(t_factor(math.floor(found), 0.99)) * values["uc_nm_published"]
    assert expanded == pytest.approx(values["U99_nm_published"], abs=0.5)

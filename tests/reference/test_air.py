"""Air density against published formulas and tables."""

import csv
import tomllib
from pathlib import Path

import pytest

from daq.analysis.air import measured_air, moist_air_density, standard_atmosphere
from daq.units import c_to_k

HERE = Path(__file__).parent


def table(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((HERE / name).read_text("utf-8").splitlines()))


@pytest.mark.parametrize("row", table("isa.csv"))
def test_the_standard_atmosphere_is_that_of_iso_2533(row: dict[str, str]) -> None:
    # ISO 2533:1975, geopotential altitude; to the digits of the table.
    found = standard_atmosphere(float(row["geopotential_H_m"]))
    assert found.temperature_k == pytest.approx(float(row["T_K"]), abs=1e-9)
    assert found.pressure_pa == pytest.approx(float(row["p_Pa"]), abs=0.006)
    assert found.density_kg_m3 == pytest.approx(float(row["rho_kg_m3"]), abs=6e-7)


def test_geometric_altitude_differs_as_the_standard_says() -> None:
    # ISO 2533:1975: Z = r H / (r - H), r = 6356766 m; at 3000 m geometric,
    # rho = 0.909254 kg/m^3.
    geometric_m, radius_m = 3000.0, 6356766.0
    geopotential_m = radius_m * geometric_m / (radius_m + geometric_m)
    found = standard_atmosphere(geopotential_m)
    assert found.density_kg_m3 == pytest.approx(0.909254, abs=6e-7)
    assert found.pressure_pa == pytest.approx(70121.1, abs=0.06)


@pytest.mark.parametrize("row", table("moist_air.csv"))
def test_moist_air_is_that_of_cipm_2007(row: dict[str, str]) -> None:
    # A. Picard et al., Metrologia 45 (2008) 149-155, to the six digits given.
    found = moist_air_density(
        c_to_k(float(row["t_degC"])),
        float(row["p_Pa"]),
        float(row["relative_humidity"]),
    )
    assert found == pytest.approx(float(row["rho_CIPM2007"]), abs=6e-7)


@pytest.mark.parametrize(
    "row", [row for row in table("moist_air.csv") if row["published_value"]]
)
def test_moist_air_agrees_with_published_points(row: dict[str, str]) -> None:
    # NISTIR 6969 SOP 2 (2019) and S. V. Gupta, Mass Metrology (2012), which
    # rest on an older equation: 1e-4 apart at most.
    found = moist_air_density(
        c_to_k(float(row["t_degC"])),
        float(row["p_Pa"]),
        float(row["relative_humidity"]),
    )
    assert found == pytest.approx(float(row["published_value"].split()[0]), rel=1e-4)


@pytest.mark.parametrize("row", table("moist_air.csv"))
def test_moist_air_agrees_with_the_approximation_of_oiml(row: dict[str, str]) -> None:
    # OIML R 111-1:2004, E.3, stated good to 2e-4 near room temperature; the
    # rows outside of that reach 6e-4.
    t_c, p_pa = float(row["t_degC"]), float(row["p_Pa"])
    percent = 100 * float(row["relative_humidity"])
    r111 = (0.34848 * p_pa / 100 - 0.009 * percent * 2.718281828 ** (0.061 * t_c)) / (
        273.15 + t_c
    )
    found = moist_air_density(c_to_k(t_c), p_pa, percent / 100)
    room = 15 <= t_c <= 27
    assert found == pytest.approx(r111, rel=2e-4 if room else 6e-4)


@pytest.mark.parametrize(
    ("t_c", "humidity", "percent"),
    [(20.0, 0.5, 0.44), (20.0, 1.0, 0.87), (35.0, 0.5, 1.05), (35.0, 1.0, 2.1)],
)
def test_leaving_humidity_out_costs_what_the_reference_says(
    t_c: float, humidity: float, percent: float
) -> None:
    note = tomllib.loads((HERE / "air.toml").read_text("utf-8"))["moist_air"]
    assert f"{percent:g} %" in note["bench_tolerance"]
    dry = moist_air_density(c_to_k(t_c), 101325.0, 0.0)
    moist = moist_air_density(c_to_k(t_c), 101325.0, humidity)
    assert 100 * (dry / moist - 1) == pytest.approx(percent, abs=0.04)


def test_the_uncertainty_follows_the_readings() -> None:
    # Sensitivities of OIML R 111-1:2004 C.6.3.6 at 20 degC, 1013 hPa, 50 %:
    # pressure 1e-5 per pascal, temperature -4e-3 per kelvin, humidity -9e-3 for
    # the whole range of 1 (from memory; ideal gas gives the same).
    at = (c_to_k(20.0), 101325.0, 0.5)
    none = {"temperature_u_k": 0.0, "pressure_u_pa": 0.0, "humidity_u_frac": 0.0}
    density = moist_air_density(*at)
    for key, u, relative in (
        ("pressure_u_pa", 100.0, 1e-5 * 100),
        ("temperature_u_k", 1.0, 4e-3),
        ("humidity_u_frac", 0.1, 9e-3 * 0.1),
    ):
        found = measured_air(*at, **{**none, key: u})
        assert found.density_kg_m3 == density
        assert found.u_kg_m3 / density == pytest.approx(relative, rel=0.1)
    # Perfect readings leave the formula's own 2.2e-5.
    assert measured_air(*at, **none).u_kg_m3 == pytest.approx(2.2e-5 * density)

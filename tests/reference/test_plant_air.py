"""The plant's air density against published tables."""

import csv
from pathlib import Path

import pytest

from daq.stand.plant.air import air_density_kg_m3

ROWS = list(
    csv.DictReader(
        (Path(__file__).parent / "moist_air.csv").read_text("utf-8").splitlines()
    )
)


@pytest.mark.parametrize(
    "row", ROWS, ids=[f"{r['t_degC']}C-{r['relative_humidity']}" for r in ROWS]
)
def test_it_agrees_with_cipm_2007(row: dict[str, str]) -> None:
    # A. Picard, R. S. Davis, M. Glaser, K. Fujii, Metrologia 45 (2008) 149-155,
    # column rho_CIPM2007. Inside the formula's range (15 to 27 degrees, 600 to
    # 1100 hPa) an ideal-gas mixture is good to 5e-4; the rows outside it are
    # held to 1e-3.
    inside = 15.0 <= float(row["t_degC"]) <= 27.0
    assert air_density_kg_m3(
        float(row["t_degC"]), float(row["p_Pa"]), float(row["relative_humidity"])
    ) == pytest.approx(float(row["rho_CIPM2007"]), rel=5e-4 if inside else 1e-3)


def test_dry_standard_air_has_the_standard_density() -> None:
    # ISO 2533:1975: 288.15 K, 101325 Pa, 1.225 kg/m^3.
    assert air_density_kg_m3(15.0, 101325.0, 0.0) == pytest.approx(1.225, rel=1e-6)

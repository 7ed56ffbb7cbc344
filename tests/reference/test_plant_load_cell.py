"""The plant's load cell against a published calibration and a published limit."""

import csv
import tomllib
from pathlib import Path

import numpy as np
import pytest

from daq.stand.plant.cell_errors import Creep, Curve
from daq.stand.plant.truth import shipped_truth
from daq.stand.plant.truth_effects import CellCreepTruth, CellCurveTruth

HERE = Path(__file__).parent
PERIOD_S = 1.0 / 80.0


def test_a_real_cells_published_line_is_a_bow_of_the_plants_kind() -> None:
    # NIST StRD, Pontius: a load cell's deflection under 40 loads, with the certified
    # y = B0 + B1 x + B2 x^2 and its residual standard deviation. Between zero and the
    # greatest load that is a bow of -B2 X^2/(4 (B1 X + B2 X^2)): 0.33 % of the range.
    rows = list(
        csv.DictReader((HERE / "nist_pontius.csv").read_text("utf-8").splitlines())
    )
    load, deflection = (np.array([float(r[key]) for r in rows]) for key in ("x", "y"))
    published = tomllib.loads((HERE / "nist_strd.toml").read_text("utf-8"))["pontius"]
    b0, b1, b2 = (float(text) for text in published["B"])
    top = load.max()
    reach = b1 * top + b2 * top**2
    bow = -b2 * top**2 / (4.0 * reach)
    assert bow == pytest.approx(0.0033, rel=0.02)
    curve = Curve(CellCurveTruth(rated_n=top, bow_frac=bow))
    found = b0 + np.array([curve.answer(x) for x in load]) * reach / top
    away = deflection - found
    spread = float(np.sqrt(np.sum(away**2) / (len(load) - 3)))
    assert spread == pytest.approx(float(published["residual_sd"]), rel=1e-6)


def test_a_class_c3_cell_passes_the_creep_test_and_the_rough_one_does_not() -> None:
    # OIML R 60 creep test: the reading within 30 minutes of loading may move by 0.7
    # MPE, 0.0245 % of the range for class C3 at 3000 intervals, and by 0.15 MPE,
    # 0.00525 %, between 20 and 30 minutes (limits read in a public copy of R 60-1).
    def test(share_frac: float, time_s: float) -> tuple[float, float]:
        truth = CellCreepTruth(share_frac=share_frac, time_s=time_s)
        creep = Creep(truth, PERIOD_S)
        readings = [creep.answer(9.8) for _ in range(80 * 1800)]
        first, at_20, at_30 = readings[80 * 20], readings[80 * 1200], readings[-1]
        return (at_30 - first) / 9.8, (at_30 - at_20) / 9.8

    whole, late = test(0.00025, 300.0)
    assert whole < 0.000245
    assert late < 0.0000525
    rough = shipped_truth("rough").cell_creep
    assert rough is not None
    whole, _ = test(rough.share_frac, rough.time_s)
    assert 0.000245 < whole < 3 * 0.000245

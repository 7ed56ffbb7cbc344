"""The line with errors both ways, and copper leads, against publications.

York: D. York, N. M. Evensen, M. L. Martinez, J. De Basabe Delgado, Am. J. Phys. 72
(2004) 367-375, Table II; points by K. Pearson, Phil. Mag. 2 (1901) 559-572, weights by
D. York, Can. J. Phys. 44 (1966) 1079-1086. Standard errors at the adjusted points, not
scaled. Copper: IEC 60028 (1925), ASTM B258, NBS Handbook 100 (1966).
"""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from daq.analysis.copper import gauge_diameter_m, lead_ohm
from daq.analysis.series import Array
from daq.analysis.york import Line, line, sensitivities
from tests.reference.test_fits import table

HERE = Path(__file__).parent


def read(name: str) -> dict[str, Any]:
    return tomllib.loads((HERE / name).read_text("utf-8"))


def pearson() -> tuple[Array, Array, Array, Array]:
    rows = table("york_pearson.csv")
    x, y, weight_x, weight_y = (
        np.array([float(row[key]) for row in rows])
        for key in ("x", "y", "weight_x", "weight_y")
    )
    return x, y, 1.0 / np.sqrt(weight_x), 1.0 / np.sqrt(weight_y)


def found() -> Line:
    return line(*pearson())


def test_pearsons_points_with_yorks_weights() -> None:
    known = read("york_pearson.toml")
    one = found()
    # To the digits that were published.
    assert one.slope == pytest.approx(known["published"]["slope"], abs=5e-10)
    assert one.intercept == pytest.approx(known["published"]["intercept"], abs=5e-9)
    assert one.chi2 / one.dof == pytest.approx(1.4833, abs=5e-5)
    # And as recomputed elsewhere.
    again = known["recomputed"]
    assert one.slope == pytest.approx(again["slope"], rel=1e-9)
    assert one.slope_u == pytest.approx(again["sigma_slope"], rel=1e-6)
    assert one.intercept_u == pytest.approx(again["sigma_intercept"], rel=1e-6)
    assert one.chi2 == pytest.approx(again["S"], rel=1e-9)


def test_wrong_ways_give_something_else() -> None:
    """So that the check above cannot be passed by a plain or one-sided fit."""
    others = read("york_pearson.toml")["other_estimators_on_the_same_points"]
    x, y, _, u_y = pearson()
    tiny = np.full(x.size, 1e-7)
    one_sided = line(x, y, tiny, u_y)
    assert one_sided.slope == pytest.approx(others["weighted_y_only"][0], rel=1e-6)
    assert abs(one_sided.slope - found().slope) > 0.1


def test_sensitivities_carry_the_errors_of_each_coordinate() -> None:
    """To first order they give the standard errors of the paper; here within 5 %,
    since the points scatter more than their errors say."""
    x, y, u_x, u_y = pearson()
    moves = sensitivities(x, y, u_x, u_y)
    u = np.sqrt(((moves.slope_x * u_x) ** 2 + (moves.slope_y * u_y) ** 2).sum())
    assert u == pytest.approx(found().slope_u, rel=0.05)
    # A common shift of all y moves the intercept by itself and the slope not at all.
    assert moves.slope_y.sum() == pytest.approx(0.0, abs=1e-6)
    assert moves.intercept_y.sum() == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize("row", table("copper_awg.csv"), ids=lambda row: row["awg"])
def test_gauges_of_copper(row: dict[str, str]) -> None:
    awg = float(row["awg"])
    assert 1e3 * gauge_diameter_m(awg) == pytest.approx(
        float(row["diameter_mm"]), abs=6e-6
    )
    published = row["ohm_per_km_20C_published"]
    if published:
        # The published table and IEC 60028 agree to 0.03 %.
        assert lead_ohm(awg, 1e3) == pytest.approx(float(published), rel=3e-4)
    at_60 = float(row["ohm_per_km_60C_computed"])
    assert lead_ohm(awg, 1e3, 333.15) == pytest.approx(at_60, rel=1e-4)


def test_copper_at_75_and_at_0_degrees() -> None:
    known = read("copper.toml")["resistivity"]
    cold = lead_ohm(20.0, 1.0)
    assert lead_ohm(20.0, 1.0, 348.15) / cold == pytest.approx(
        known["check_R75_over_R20"], rel=1e-6
    )
    assert lead_ohm(20.0, 1.0, 273.15) / cold == pytest.approx(
        known["check_R0_over_R20"], rel=1e-6
    )

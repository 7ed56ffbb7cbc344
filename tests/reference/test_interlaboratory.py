"""Repeatability, reproducibility, consistency and a robust mean against publications.

ASTM E691 (glucose in serum), ISO 5725-2 annex B (softening point of pitch) and its
tables of critical values, and the Analytical Methods Committee's copper in flour, with
R as another program. ``interlaboratory.toml`` says what is from memory.
"""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from daq.analysis.precision import (
    MADE_UP,
    algorithm_a,
    cochran,
    critical_h,
    critical_k,
    grubbs,
    mandel_h,
    mandel_k,
    precision,
)
from daq.analysis.series import Array
from tests.reference.test_fits import table

KNOWN: dict[str, Any] = tomllib.loads(
    (Path(__file__).parent / "interlaboratory.toml").read_text("utf-8")
)


def laboratories(name: str, column: str, least: int = 1) -> list[Array]:
    found: dict[str, list[float]] = {}
    for row in table(name):
        if row[column]:
            found.setdefault(row["laboratory"], []).append(float(row[column]))
    return [np.array(values) for values in found.values() if len(values) >= least]


def glucose(material: str) -> list[Array]:
    return laboratories("e691_glucose.csv", material)


def pitch(level: int) -> list[Array]:
    return laboratories("iso5725_pitch.csv", f"level_{level}", least=2)


@pytest.mark.parametrize("place", range(5))
def test_glucose_in_serum_to_the_printed_digits(place: int) -> None:
    known = KNOWN["e691"]
    found = precision(glucose(known["materials"][place]))
    assert found.within is not None
    assert found.overall is not None
    # The last digit of C's mean is one more there than the results give.
    assert found.mean == pytest.approx(known["mean"][place], abs=1.6e-4)
    # 1.00275 is printed as 1.0027.
    assert found.of_means.sd == pytest.approx(known["of_means"][place], abs=6e-5)
    assert found.within.sd == pytest.approx(known["repeatability"][place], abs=5e-5)
    assert found.overall.sd == pytest.approx(known["reproducibility"][place], abs=6e-5)


@pytest.mark.parametrize("place", range(4))
def test_glucose_in_serum_as_another_program_has_it(place: int) -> None:
    known = KNOWN["e691"]["recomputed"]
    found = precision(glucose(known["materials"][place]))
    assert found.within is not None
    assert found.between is not None
    assert found.between.sd == pytest.approx(known["between"][place], rel=1e-5)
    assert found.within.sd == pytest.approx(known["repeatability"][place], rel=1e-6)


def test_indicators_for_eight_laboratories_with_three_results() -> None:
    known = KNOWN["e691"]
    assert critical_h(8, 0.005) == pytest.approx(known["critical_h"], abs=0.005)
    assert critical_k(8, 3, 0.005) == pytest.approx(known["critical_k"], abs=0.005)
    # As the standard draws them: material E, laboratory 2, scatters beyond.
    k = mandel_k(glucose("E"))
    assert np.flatnonzero(k > known["critical_k"]).tolist() == [1]
    h = np.array([mandel_h(precision(glucose(one))) for one in known["materials"]])
    assert np.abs(h).max() < known["critical_h"]
    assert (k**2).mean() == pytest.approx(1.0)


@pytest.mark.parametrize("level", [1, 2])
def test_softening_point_of_pitch_to_the_printed_digits(level: int) -> None:
    known, place = KNOWN["pitch"], level - 1
    results = pitch(level)
    assert len(results) == 15
    found = precision(results)
    assert found.within is not None
    assert found.between is not None
    assert found.overall is not None
    assert found.mean == pytest.approx(known["mean"][place], abs=5e-3)
    assert found.within.sd == pytest.approx(known["repeatability"][place], abs=5e-4)
    assert found.overall.sd == pytest.approx(known["reproducibility"][place], abs=5e-4)
    again = known["recomputed"]
    assert found.between.sd == pytest.approx(again["between"][place], rel=1e-6)
    variances = [one.var(ddof=1) for one in results]
    share = max(variances) / sum(variances)
    assert share == pytest.approx(known["cochran"][place], abs=5e-4)
    # Below its critical value, and nothing is said.
    assert share < known["cochran_critical"]
    assert cochran(results) == []


def test_laboratories_without_two_results_count_as_far_as_they_go() -> None:
    """Level 2 with the one result of laboratory 5: more means, the same scatter."""
    every = laboratories("iso5725_pitch.csv", "level_2")
    found, only = precision(every), precision(pitch(2))
    assert len(every) == 16
    assert found.within == only.within
    assert found.of_means.dof == 15


def _scattering(share: float, laboratories: int, results: int) -> list[Array]:
    """Results whose largest variance is this share of the sum."""
    unit = np.arange(results, dtype=np.float64)
    unit /= unit.std(ddof=1)
    rest = (1 - share) / (laboratories - 1)
    return [np.sqrt(v) * unit for v in (share, *[rest] * (laboratories - 1))]


@pytest.mark.parametrize("row", KNOWN["cochran"]["rows"], ids=str)
def test_critical_values_of_cochran(row: list[float]) -> None:
    count, results, at_5, at_1 = int(row[0]), int(row[1]), row[2], row[3]

    def level(share: float) -> str | None:
        found = cochran(_scattering(share, count, results))
        return found[0].level if found else None

    # Half a last digit to either side of what is printed, and rounding.
    assert level(at_5 - 1e-3) is None
    assert level(at_5 + 1e-3) == "straggler"
    assert level(at_1 - 1e-3) == "straggler"
    assert level(at_1 + 1e-3) == "outlier"


def _off(g: float, count: int) -> Array:
    """Means of which one lies g of their standard deviations off."""
    rest = np.linspace(-1.0, 1.0, count - 1)
    low, high = 1.0, 1e4
    for _ in range(200):
        middle = (low + high) / 2
        values = np.append(rest, middle)
        reached = (middle - values.mean()) / values.std(ddof=1)
        low, high = (middle, high) if reached < g else (low, middle)
    return np.append(rest, low)


@pytest.mark.parametrize("row", KNOWN["grubbs"]["rows"], ids=str)
def test_critical_values_of_grubbs(row: list[float]) -> None:
    count, at_5, at_1 = int(row[0]), row[1], row[2]

    def level(g: float) -> str | None:
        found = [s for s in grubbs(_off(g, count)) if s.test == "Grubbs"]
        return found[0].level if found else None

    assert level(at_5 - 1e-3) is None
    assert level(at_5 + 1e-3) == "straggler"
    assert level(at_1 - 1e-3) == "straggler"
    assert level(at_1 + 1e-3) == "outlier"


def _two_off(share: float, count: int) -> Array:
    """Means whose sum of squares without the two highest is this share of the whole."""
    rest = np.linspace(-1.0, 1.0, count - 2)
    inside = float(((rest - rest.mean()) ** 2).sum())
    low, high = 1.0, 1e4
    for _ in range(200):
        middle = (low + high) / 2
        values = np.append(rest, (middle, middle))
        left = inside / float(((values - values.mean()) ** 2).sum())
        low, high = (middle, high) if left > share else (low, middle)
    return np.append(rest, (low, low))


@pytest.mark.parametrize("row", KNOWN["grubbs_of_two"]["rows"], ids=str)
def test_critical_values_of_two_that_lie_off(row: list[float]) -> None:
    """Simulated here: to 8 % of each value."""
    count, at_5, at_1 = int(row[0]), row[1], row[2]

    def level(share: float) -> str | None:
        found = grubbs(_two_off(share, count))
        assert all(one.test == "Grubbs of two" for one in found)
        return found[0].level if found else None

    assert level(1.08 * at_5) is None
    assert level(0.92 * at_5) == "straggler"
    assert level(1.08 * at_1) == "straggler"
    assert level(0.92 * at_1) == "outlier"


@pytest.mark.parametrize("row", KNOWN["mandel"]["rows"], ids=str)
def test_indicators_of_mandel(row: list[float]) -> None:
    count = int(row[0])
    found = [critical_h(count, chance) for chance in (0.01, 0.05)]
    found += [critical_k(count, 3, chance) for chance in (0.01, 0.05)]
    assert found == pytest.approx(row[1:], abs=0.0051)


def test_algorithm_a_on_copper_in_flour() -> None:
    known = KNOWN["copper"]
    found = algorithm_a(np.array(known["parts_per_million"]))
    again, published = known["recomputed"], known["published"]
    assert found.mean == pytest.approx(again["mean"], rel=1e-9)
    assert found.sd == pytest.approx(again["sd"], rel=1e-8)
    # Published with the constant not rounded: 1.13340 for 1.134.
    assert found.mean == pytest.approx(published["mean"], abs=1e-4)
    assert found.sd * 1.13340 / MADE_UP == pytest.approx(published["sd"], abs=3e-4)
    # The plain mean is far off, so it cannot be what passed.
    assert float(np.mean(known["parts_per_million"])) > 4.2


def test_the_last_result_decides_nothing_where_it_was_drawn_in() -> None:
    values = np.array(KNOWN["copper"]["parts_per_million"])
    found = algorithm_a(values)
    farther = np.where(values == 28.95, 1000.0, values)
    assert algorithm_a(farther).mean == pytest.approx(found.mean, rel=1e-9)
    drawn_in = [28.95, 5.28]
    assert not found.share[np.isin(values, drawn_in)].any()
    assert found.share.sum() == pytest.approx(1.0)

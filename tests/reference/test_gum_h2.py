"""Correlated inputs to several outputs, and a regression that double precision fears.

JCGM 100:2008 (GUM), annex H.2, tables H.2 to H.4: resistance, reactance and impedance
from voltage, current and phase that were observed together. NIST StRD, Longley: six
predictors that nearly depend on each other.
"""

import csv
import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from daq.analysis.fits import fit
from daq.analysis.measured import Measured, derived
from daq.analysis.models import Columns

HERE = Path(__file__).parent
Array = NDArray[np.float64]


def document(name: str) -> dict[str, Any]:
    return tomllib.loads((HERE / name).read_text("utf-8"))


def columns(name: str) -> dict[str, Array]:
    rows = list(csv.DictReader((HERE / name).read_text("utf-8").splitlines()))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


def observed() -> tuple[Measured, Measured, Measured]:
    """Means of the five observations; their common scatter is one shared source.

    A factor F with F F^T = covariance of the means keeps the correlations: here
    the deviations of the observations themselves, over root n (n - 1).
    """
    found = columns("gum_h2_impedance.csv")
    inputs = []
    for key, scale in (
        ("V_volt", 1.0),
        ("I_milliampere", 1e-3),
        ("phi_radian", 1.0),
    ):
        values = scale * found[key]
        off = (values - values.mean()) / math.sqrt(values.size * (values.size - 1))
        inputs.append(
            Measured(np.array([values.mean()]), {}).with_source(
                "observed together", off[np.newaxis, :]
            )
        )
    volt, amp, phase = inputs
    return volt, amp, phase


def outputs() -> dict[str, Measured]:
    inputs = observed()
    return {
        "R": derived(lambda v, i, p: v / i * np.cos(p), *inputs),
        "X": derived(lambda v, i, p: v / i * np.sin(p), *inputs),
        "Z": derived(lambda v, i, _: v / i, *inputs),
    }


@pytest.mark.parametrize("name", ["R", "X", "Z"])
def test_values_and_uncertainties_are_the_published_ones(name: str) -> None:
    # Table H.3 prints u(X) = 0.295; at full precision it is 0.2956.
    value, u = document("gum_h2_impedance.toml")["outputs_published"][name]
    found = outputs()[name]
    assert float(found.value[0]) == pytest.approx(value, abs=1e-3)
    assert float(found.standard_uncertainty()[0]) == pytest.approx(u, abs=1e-3)


@pytest.mark.parametrize("pair", ["R_X", "R_Z", "X_Z"])
def test_correlations_of_the_results_are_the_published_ones(pair: str) -> None:
    published = document("gum_h2_impedance.toml")["outputs_published"]
    one, other = (outputs()[name] for name in pair.split("_"))
    factors = [m.sources["observed together"].factor[0] for m in (one, other)]
    covariance = float(factors[0] @ factors[1])
    sizes = [float(m.standard_uncertainty()[0]) for m in (one, other)]
    assert covariance / math.prod(sizes) == pytest.approx(
        published[f"r_{pair}"], abs=1e-3
    )


def test_dropping_the_correlations_would_show() -> None:
    trap = document("gum_h2_impedance.toml")["trap_correlations_ignored"]
    loose = [
        Measured(m.value, {f"alone {place}": m.sources["observed together"]})
        for place, m in enumerate(observed())
    ]
    found = derived(lambda v, i, p: v / i * np.cos(p), *loose)
    assert float(found.standard_uncertainty()[0]) == pytest.approx(
        trap["u_R"], rel=1e-3
    )


def test_longley_is_certified_to_the_digits_that_double_precision_allows() -> None:
    # NIST StRD linear regression, Longley, certified values; solvers in double
    # precision reach some 9 to 12 of the 15 digits.
    known = document("nist_strd.toml")["longley"]
    found = columns("nist_longley.csv")
    y, *predictors = found.values()
    design = np.stack([np.ones(y.size), *predictors], axis=-1)
    names = tuple(f"x{n}" for n in range(design.shape[1]))
    rows = np.arange(y.size, dtype=np.float64)
    result = fit(Columns(design, names), rows, y)
    for got, certified in zip(result.coefficients, known["B"], strict=True):
        assert float(got) == pytest.approx(float(certified), rel=1e-8)
    for got, certified in zip(result.coefficient_sd, known["sd"], strict=True):
        assert float(got) == pytest.approx(float(certified), rel=1e-8)
    assert result.residual_sd == pytest.approx(float(known["residual_sd"]), rel=1e-9)

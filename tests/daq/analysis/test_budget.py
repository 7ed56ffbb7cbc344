"""Budgets: shares that add up, causes in words, and what to do about the largest."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from daq.analysis.budget import THE_REST, budget_of, in_words, narrower, remedy_for
from daq.analysis.measured import Measured, Source, exact
from daq.analysis.run import analyse
from tests.daq.analysis.invented import Noise, record, staircase

REFERENCE = Path(__file__).parents[2] / "reference" / "gum_other_examples.toml"


def end_gauge() -> Measured:
    """JCGM 100:2008, annex H.1: components of an end gauge's length, in nm."""
    with REFERENCE.open("rb") as file:
        tables = tomllib.load(file)
    example = next(
        table for table in tables.values() if "H.1" in str(table.get("source"))
    )
    names = ("standard", "difference", "expansion", "temperature")
    sources = {
        name: Source(np.array([u]), np.array([float(dof)]))
        for name, u, dof in zip(
            names,
            example["components_nm"],
            example["degrees_of_freedom"],
            strict=True,
        )
    }
    return Measured(np.array([50_000_838.0]), sources)


def test_the_end_gauge_of_the_gum_adds_up_and_is_led_by_its_standard() -> None:
    gauge = end_gauge()
    parts = budget_of(gauge, 0)
    combined = sum(part.u**2 for part in parts) ** 0.5
    assert combined == pytest.approx(31.66, abs=0.02)  # printed as 32 nm
    assert [part.cause for part in parts][:2] == ["standard", "temperature"]
    assert parts[0].share == pytest.approx(25.0**2 / 31.66**2, abs=1e-3)
    assert float(gauge.dof()[0]) == pytest.approx(16.7, abs=0.1)  # printed 16.7


def test_shares_add_up_to_one_and_small_causes_are_told_together() -> None:
    sources = {"large": Source(np.array([1.0]), np.array([np.inf]))}
    sources |= {
        f"small {n}": Source(np.array([0.01]), np.array([np.inf])) for n in range(4)
    }
    parts = budget_of(Measured(np.array([5.0]), sources), 0)
    assert [part.cause for part in parts] == ["large", THE_REST]
    assert sum(part.share for part in parts) == pytest.approx(1.0)
    assert parts[1].percent == "under 1 %"


def test_a_budget_is_in_the_unit_of_its_figure() -> None:
    half = exact(0.5).with_source("a", np.array([[0.02]]))
    (part,) = budget_of(half, 0, lambda share: 100 * share)
    assert part.u == pytest.approx(2.0)
    assert budget_of(exact(1.0), 0) == ()


def test_causes_are_said_as_a_person_says_them() -> None:
    assert in_words("thrust gain") == "scale factor of thrust"
    assert in_words("current zero drift") == "drift of the zero of current"
    assert in_words("air density") == "air density"


def test_what_helps_is_named_for_the_largest_cause_only() -> None:
    value = exact(1.0).with_source("thrust gain", np.array([[0.03]]))
    value = value.with_source("thrust random", np.array([[0.01]]))
    said = narrower(budget_of(value, 0))
    assert "scale factor of thrust" in said
    assert "check masses" in said
    assert "68 % narrower" in said  # 1 - sqrt(1/10)
    assert narrower(()) == ""


def test_every_cause_in_a_run_can_be_helped() -> None:
    holds = staircase((0.2, 0.35, 0.5, 0.65, 0.8, 0.95))
    series = record(holds, Noise(), np.random.default_rng(1))
    found = analyse(series, holds, diameter_m=0.0762, diameter_u_m=1e-4)
    causes = {part.cause for one in found.findings for part in one.budget}
    causes -= {THE_REST, "voltage at rest"}
    assert "thrust gain" in causes
    assert all(remedy_for(cause) for cause in causes if not cause.startswith("speed"))
    with_interval = [one for one in found.findings if one.low is not None]
    assert all(
        sum(part.share for part in one.budget) == pytest.approx(1.0)
        for one in with_interval
        if one.budget
    )

"""One bus voltage, and other air: against the plant on a source that does not sag."""

import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from daq.analysis.air import Air, standard_atmosphere
from daq.analysis.measured import exact
from daq.analysis.one_air import in_standard_air
from daq.analysis.restated import OneVoltage
from daq.analysis.run import Analysis, analyse
from daq.records.read import read_run
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth
from tests.daq.analysis.test_hover import exact_truth
from tests.runs import write_run
from tests.spins import plan, spin, task
from ui.series import holds_of, series_of

LEVELS = (0.2, 0.35, 0.5, 0.65, 0.8, 0.95)


@cache
def sagging() -> tuple[Analysis, OneVoltage]:
    """A staircase up and back down on a pack that sags."""
    levels = (*LEVELS, *reversed(LEVELS[:-1]))
    walked = spin(task(walked=plan(levels, dwell_s=1.5)), truth=exact_truth())
    walked.run()
    with TemporaryDirectory() as folder:
        run = read_run(write_run(walked, Path(folder)))
    series, _ = series_of(run)
    found = analyse(series, holds_of(run, series))
    assert found.evidence.one_voltage is not None
    return found, found.evidence.one_voltage


def stiff(truth: Truth, volt: float) -> Truth:
    """The same article on a source that holds its voltage."""
    pack = truth.pack.model_copy(
        update={
            "cells": 1,
            "ocv_charge_frac": (0.0, 1.0),
            "ocv_cell_v": (volt, volt + 1e-6),
            "resistance_ohm": 1e-6,
            "slow_resistance_ohm": 1e-6,
            "capacity_c": 1e6,
        }
    )
    leads = truth.leads.model_copy(
        update={"resistance_ohm": 1e-6, "plug_resistance_ohm": 1e-6}
    )
    return truth.model_copy(update={"pack": pack, "leads": leads})


@pytest.mark.slow
def test_the_restated_curve_is_that_of_a_source_that_does_not_sag() -> None:
    _, on_one = sagging()
    truth = stiff(exact_truth(), on_one.bus_v)
    curve = on_one.curves[0]
    for throttle in (0.3, 0.5, 0.7, 0.9):
        plant = Plant(truth, 1)
        plant.advance(0.5, 1e-3)
        plant.advance(1.5, 1e-3 * (1 + throttle))
        y, low, high = curve.band(np.array([throttle]))
        assert low[0] <= plant.state.thrust_n <= high[0]
        assert y[0] == pytest.approx(plant.state.thrust_n, rel=0.02)


def test_nothing_moves_where_the_voltage_is_from_and_most_where_it_was_higher() -> None:
    found, on_one = sagging()
    top = int(np.argmax(found.plateaus.throttle_frac))
    assert on_one.throttle.value[top] == pytest.approx(0.95)
    assert on_one.throttle.standard_uncertainty()[top] < 1e-4
    assert on_one.moved[0] < -0.05
    assert abs(on_one.moved[1]) < 0.01
    (told,) = [one for one in found.findings if one.id == "moved-by-voltage"]
    assert "would have been" in told.sentence


def test_the_scale_factor_of_voltage_cancels() -> None:
    _, on_one = sagging()
    gain = on_one.throttle.sources["voltage gain"].variance()
    assert np.sqrt(gain).max() < 1e-6


def test_a_voltage_that_comes_seldom_is_restated_too() -> None:
    """What is random in it is in power and in the restated throttle alike."""
    walked = spin(task(walked=plan((0.3, 0.6, 0.9), dwell_s=1.5)), truth=exact_truth())
    walked.run()
    with TemporaryDirectory() as folder:
        run = read_run(write_run(walked, Path(folder)))
    series, _ = series_of(run)
    often = series["voltage"]
    series["voltage"] = replace(
        often, t_s=often.t_s[::25], value_si=often.value_si[::25]
    )
    found = analyse(series, holds_of(run, series)).evidence.one_voltage
    assert found is not None
    assert len(found.curves) == 4


def test_in_the_air_it_was_measured_in_nothing_changes() -> None:
    standard = standard_atmosphere(0.0).density_kg_m3
    same = in_standard_air(exact(2.0), Air(standard, 0.0, "standard"))
    assert float(same.value[0]) == pytest.approx(2.0)
    assert float(same.standard_uncertainty()[0]) == pytest.approx(0.0, abs=1e-12)


def test_other_air_holds_both_what_one_speed_and_one_power_would_give() -> None:
    thin = Air(1.10, 0.0, "thin")
    found = in_standard_air(exact(2.0), thin)
    low, high = found.interval()
    ratio = standard_atmosphere(0.0).density_kg_m3 / thin.density_kg_m3
    assert low[0] <= 2.0 * math.cbrt(ratio) <= high[0]
    assert low[0] <= 2.0 * ratio <= high[0]
    # And no more than that: a rectangle's standard deviation, twice.
    assert high[0] - low[0] < 2.4 * 2.0 * (ratio - math.cbrt(ratio))

"""The motor inside a run, against the plant that was run."""

import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from daq.analysis.air import Air
from daq.analysis.inside import figure_of_merit
from daq.analysis.motor import MotorMeans, Winding
from daq.analysis.run import Analysis, analyse
from daq.records.read import read_run
from daq.stand.plant.bench import Plant, PlantState
from tests.daq.analysis.test_hover import exact_truth
from tests.runs import write_run
from tests.spins import LIMITS, plan, spin, task
from ui.series import holds_of, series_of

LEVELS = (0.3, 0.5, 0.7, 0.85, 1.0)


@cache
def analysed(no_load_a: float | None = 0.6, top: float = 1.0) -> Analysis:
    truth = exact_truth()
    roomy = tuple(
        limit
        if limit.channel != "current"
        else type(limit)("current", -3.0, 20.0, 3, 0.1, "for tests")
        for limit in LIMITS
    )
    levels = (*LEVELS[:-1], top)
    walked = spin(task(roomy, plan(levels, dwell_s=1.5)), truth=truth)
    walked.run()
    with TemporaryDirectory() as folder:
        run = read_run(write_run(walked, Path(folder)))
    series, _ = series_of(run)
    return analyse(
        series,
        holds_of(run, series),
        diameter_m=truth.propeller.diameter_m,
        diameter_u_m=1e-4,
        air=Air(truth.air.density(), 0.005, "as it is"),
        winding=Winding(truth.motor.resistance_ohm, no_load_a, 4600.0),
    )


def motor() -> MotorMeans:
    found = analysed().evidence.motor
    assert found is not None
    return found


@cache
def truth_at_full() -> PlantState:
    plant = Plant(exact_truth(), 1)
    plant.advance(0.5, 1e-3)
    plant.advance(2.0, 2e-3)
    return plant.state


def test_kv_shaft_power_and_coefficients_hold_the_plants() -> None:
    found, state = motor(), truth_at_full()
    truth = exact_truth()
    rev_s = state.speed_rad_s / (2 * math.pi)
    ideal_w = state.thrust_n**1.5 / math.sqrt(
        2 * truth.air.density() * math.pi * truth.propeller.diameter_m**2 / 4
    )
    power_coefficient = state.shaft_power_w / (
        truth.air.density() * rev_s**3 * truth.propeller.diameter_m**5
    )
    for measured, true in (
        (found.kv_rpm_v, 4600.0),
        (found.power_coefficient, power_coefficient),
        (found.figure_of_merit, ideal_w / state.shaft_power_w),
        (found.efficiency, state.shaft_power_w / (state.bus_v * state.bus_a)),
    ):
        assert measured is not None
        low, high = measured.interval()
        assert low[0] <= true <= high[0]
        assert high[0] - low[0] < 0.25 * true


def test_the_watts_add_up() -> None:
    found = motor()
    power = analysed().evidence.power
    assert power is not None
    assert found.idle_w is not None
    assert found.shaft_w is not None
    told = found.copper_w.value + found.idle_w.value + found.shaft_w.value
    electrical = power.measured.value[list(found.points)].mean()
    # What is missing is the controller's own draw, at most some tenths of an ampere.
    assert np.all(told <= electrical)
    assert told == pytest.approx(electrical, rel=0.02)


def test_figure_of_merit_follows_from_both_coefficients() -> None:
    # FM = sqrt(2/pi) C_T^1.5 / C_P in the propeller convention (Leishman, ch. 2).
    found, evidence = motor(), analysed().evidence
    assert evidence.propeller is not None
    assert evidence.propeller.thrust_coefficient is not None
    assert found.power_coefficient is not None
    assert found.figure_of_merit is not None
    (point,) = found.points
    ct = evidence.propeller.thrust_coefficient.value[point]
    expected = math.sqrt(2 / math.pi) * ct**1.5 / found.power_coefficient.value
    assert found.figure_of_merit.value == pytest.approx(expected, rel=1e-6)


def test_below_full_throttle_nothing_is_said_of_the_motor_alone() -> None:
    found = analysed(top=0.97)
    assert found.evidence.motor is None
    assert not any(one.id == "speed-constant" for one in found.findings)


def test_without_a_no_load_current_there_is_kv_but_no_shaft_power() -> None:
    found = analysed(no_load_a=None)
    told = {one.id for one in found.findings}
    assert "speed-constant" in told
    assert not told & {"shaft-power", "figure-of-merit", "power-coefficient"}


def test_a_kv_that_leaves_out_what_is_printed_says_so() -> None:
    from daq.analysis.inside import speed_constant

    analysis = analysed()
    said = speed_constant(analysis.evidence)
    assert said is not None
    assert "4600 is printed on it" in said.sentence


def test_a_figure_that_cannot_be_told_from_none_is_no_finding() -> None:
    evidence, found = analysed().evidence, motor()
    merit = found.figure_of_merit
    assert merit is not None
    assert figure_of_merit(evidence) is not None
    vague = merit.with_source("half the voltage lost", np.array([[merit.value[0]]]))
    lost = replace(evidence, motor=replace(found, figure_of_merit=vague))
    assert figure_of_merit(lost) is None

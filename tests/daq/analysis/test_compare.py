"""Comparisons of invented runs: what cancels, what verdicts are worth.

Mounting again moves a run's thrust by a drawn factor; what the analysis is told of it
is the scatter of the runs alone.
"""

import math
from collections import Counter
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.special import bdtrik

from daq.analysis.choice import Candidate, choose
from daq.analysis.compare import (
    Difference,
    Mounting,
    compare,
    learn,
)
from daq.analysis.measured import Measured, Source, exact, t_factor
from daq.analysis.remounting import Reproducibility, runs_needed, simultaneous
from daq.analysis.run import analyse
from daq.analysis.verdicts import rests_on, to_settle, verdict
from tests.daq.analysis.invented import Noise, record, staircase

LEVELS = (0.2, 0.35, 0.5, 0.65, 0.8, 0.95)
HOLDS = staircase(LEVELS)
CHANNELS = ("thrust", "current", "voltage", "speed")
#: One stand, its scale factors off by what this analysis is told of them.
SCALE_U = dict.fromkeys(CHANNELS, 0.02)
SCATTER = 0.02


def mounting(
    rng: np.random.Generator,
    article: str,
    *,
    thrust: float = 1.0,
    scatter: float = SCATTER,
    stand: str = "stand",
    top: int = len(LEVELS),
) -> Mounting:
    holds = HOLDS if top == len(LEVELS) else staircase(LEVELS[:top])
    series = record(holds, Noise(gain_u_rel=dict.fromkeys(CHANNELS, 0.0)), rng)
    factor = thrust * (1 + scatter * float(rng.standard_normal()))
    for name, channel in series.items():
        value = channel.value_si * (factor if name == "thrust" else 1.0)
        series[name] = replace(channel, value_si=value, gain_u_rel=SCALE_U[name])
    name = f"{article} {rng.integers(10**9)}"
    return Mounting(name, article, stand, analyse(series, holds))


def several(
    rng: np.random.Generator, article: str, count: int, thrust: float = 1.0
) -> list[Mounting]:
    return [mounting(rng, article, thrust=thrust) for _ in range(count)]


@cache
def two_and_two() -> tuple[Difference, ...]:
    rng = np.random.default_rng(3)
    found = compare(several(rng, "A", 2), several(rng, "B", 2, thrust=1.2))
    return found.differences


def test_scale_factors_of_one_stand_cancel_and_those_of_two_do_not() -> None:
    rng = np.random.default_rng(1)
    one, other = mounting(rng, "A"), mounting(rng, "B")
    same = compare([one], [other])
    apart = compare([one], [replace(other, scale="another stand")])
    for together, alone in zip(same.differences, apart.differences, strict=True):
        # 2 % each of thrust and voltage, and more through the curve's slope.
        assert together.shared_u < 0.002
        assert alone.shared_u > 0.025


def test_there_is_no_verdict_without_a_second_mounting() -> None:
    rng = np.random.default_rng(2)
    for found in compare(
        [mounting(rng, "A")], [mounting(rng, "B", thrust=2.0)]
    ).differences:
        assert found.verdict == "no verdict"
        assert np.isnan(found.low).all()
        said = verdict(found, "A", "B")
        assert said.startswith(f"No verdict on {found.what}")
        assert "taking turns" in to_settle(found, 0.03)
        assert "none is a second mounting" in rests_on(found)


def test_a_reproducibility_from_elsewhere_allows_a_verdict() -> None:
    rng = np.random.default_rng(2)
    known = {"thrust": Reproducibility(0.02, 30.0, "20 runs of this stand")}
    found = compare([mounting(rng, "A")], [mounting(rng, "B", thrust=1.5)], known)
    by_what = {one.what: one for one in found.differences}
    assert by_what["thrust"].verdict == "more"
    assert "20 runs of this stand" in rests_on(by_what["thrust"])
    assert by_what["specific thrust"].verdict == "no verdict"


def test_a_large_difference_is_told_with_its_interval() -> None:
    by_what = {found.what: found for found in two_and_two()}
    found = by_what["thrust"]
    assert found.verdict == "more"
    assert found.mean[1] <= 0.2 <= found.mean[2]
    said = verdict(found, "motor A", "motor B")
    assert said.startswith("motor B gave more thrust than motor A")
    assert "95 % interval" in said


def test_runs_over_other_ranges_are_not_compared_and_it_is_said() -> None:
    rng = np.random.default_rng(4)
    weak, strong = mounting(rng, "A", thrust=0.1), mounting(rng, "B", thrust=10.0)
    found = compare([weak], [strong])
    assert [one.what for one in found.differences] == ["thrust"]
    assert "range in common" in found.missing["specific thrust"]


@pytest.mark.slow
def test_learning_takes_only_what_was_mounted_again() -> None:
    rng = np.random.default_rng(5)
    assert learn([[mounting(rng, "A")], [mounting(rng, "B")]]) == {}
    learned = learn([several(rng, "A", 6), several(rng, "B", 6, thrust=1.3)])
    assert learned["thrust"].dof == 10
    # A standard deviation from 10 degrees of freedom: 95 % within 0.57 to 1.43 of it.
    assert 0.57 * SCATTER < learned["thrust"].sd_rel < 1.43 * SCATTER


def test_how_many_runs_is_lehrs_rule_where_runs_are_many() -> None:
    # R. Lehr, Sixteen s-squared over d-squared, Statistics in Medicine 11, 1992,
    # 1099-1102 (from memory): 80 % power, two-sided 5 %, two groups.
    for ratio in (1.0, 1.5, 2.0):
        number = runs_needed(0.01 * ratio, 0.0, 0.01)
        assert number is not None
        assert number == pytest.approx(16 * ratio**2, rel=0.1)
    assert runs_needed(0.01, 0.02, 0.03) is None
    assert runs_needed(0.002, 0.0, 0.03) == 2


def test_the_band_is_students_for_one_point_and_wider_for_many() -> None:
    one = Measured(np.zeros(1), {"own": Source(np.ones(1), np.array([6.0]))})
    assert simultaneous(one)[0] == pytest.approx(float(t_factor(6.0)), rel=0.03)
    # The largest of nine independent normal numbers: 0.95 = (2 Phi(c) - 1)^9.
    nine = Measured(np.zeros(9), {"own": Source(np.ones(9), np.full(9, np.inf))})
    assert simultaneous(nine) == pytest.approx(2.766, rel=0.02)
    # All moved together they are one.
    moved = Measured(
        np.zeros(9), {"shared": Source(np.ones((9, 1)), np.full(9, np.inf))}
    )
    assert simultaneous(moved) == pytest.approx(1.96, rel=0.02)


def test_a_choice_names_what_cannot_be_told_from_the_best() -> None:
    known = Reproducibility(0.02, 20.0, "known")
    values = {"A": 100.0, "B": 101.0, "C": 80.0}
    candidates = [
        Candidate(name, exact(value).with_source(name, np.array([[0.5]])), 2)
        for name, value in values.items()
    ]
    choice = choose(candidates, known)
    assert candidates[choice.best].article == "B"
    assert [candidates[place].article for place in choice.tied] == ["A"]
    assert choice.told
    assert not choose(candidates, None).told


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_verdicts_are_wrong_and_right_as_often_as_they_should() -> None:
    # Three mountings each, re-mounting 2 %. Equal articles are told apart in 5 % of
    # comparisons at most (99.9 % point of the binomial); a difference of 12 %, about
    # twice the interval, is found in four of five at least.
    rng = np.random.default_rng(6)
    equal, different = 30, 15
    wrong: Counter[str] = Counter()
    found: Counter[str] = Counter()
    held: Counter[str] = Counter()
    for _ in range(equal):
        for one in compare(several(rng, "A", 3), several(rng, "B", 3)).differences:
            wrong[one.what] += one.verdict != "cannot tell"
            held[one.what] += one.mean[1] <= 0.0 <= one.mean[2]
    for _ in range(different):
        for one in compare(
            several(rng, "A", 3), several(rng, "B", 3, thrust=1.12)
        ).differences:
            found[one.what] += one.verdict == "more"
    for what in ("thrust", "specific thrust"):
        assert wrong[what] <= math.ceil(float(bdtrik(0.999, equal, 0.05)))
        assert held[what] >= math.floor(float(bdtrik(0.001, equal, 0.95)))
        assert found[what] >= 0.8 * different

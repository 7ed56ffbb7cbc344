"""What a round robin knows of stands, source by source."""

import math
from dataclasses import dataclass

import numpy as np
import pytest

from daq.analysis.agreed import Agreed, Spread, StandBias
from daq.analysis.between_stands import (
    BIASES,
    LEFT_OVER,
    NO_FACTOR,
    STANDS,
    Correction,
    correction,
    stands_of,
)
from daq.analysis.measured import Measured, Source, averaged, minus

SIZE = 4
OF_SCALE = frozenset({"gain", "bow"})


@dataclass(frozen=True)
class Run:
    scale: str
    bench: str | None = None


AGREED = Agreed(
    within=Spread(0.01, 8.0),
    between=Spread(0.02, 4.0),
    consensus_u=0.012,
    biases={"A": StandBias(0.03, 0.004, 8.0), "B": StandBias(-0.01, 0.006, 8.0)},
)


def log(value: float) -> Measured:
    """Logarithms with a gain, something along the range, and noise of their own."""
    many = np.full(SIZE, math.inf)
    sources = {
        "gain": Source(np.full((SIZE, 1), 0.05), many),
        "bow": Source(np.linspace(-0.01, 0.01, SIZE)[:, np.newaxis], many),
        "noise": Source(np.full(SIZE, 0.001), many),
    }
    return Measured(np.full(SIZE, value), sources)


def known(*runs: Run) -> Correction:
    found = correction(AGREED, runs)
    assert found is not None
    return found


def through(found: Correction, run: Run, value: float) -> Measured:
    off = found.taken_off(log(value), run, OF_SCALE)
    own = off.renamed(
        lambda name: f"{name} [{run.scale if name in OF_SCALE else value}]"
    )
    return found.opened(own, run, 0.05)


def over(measured: Measured, name: str) -> float:
    """Standard uncertainty that one source gives the mean over the range."""
    kept = {n: s for n, s in measured.sources.items() if n.startswith(name)}
    mean = Measured(measured.value, kept).mapped(np.full((1, SIZE), 1 / SIZE))
    return float(mean.standard_uncertainty()[0])


def test_one_stand_and_one_calibration_asks_nothing() -> None:
    assert correction(AGREED, [Run("A"), Run("A")]) is None
    assert correction(None, [Run("A"), Run("B")]) is None
    assert stands_of(None, log(0.0), []) is None


def test_a_known_bias_is_taken_off_and_the_scales_mean_error_with_it() -> None:
    a, b = Run("A"), Run("B")
    found = known(a, b)
    one, other = through(found, a, 0.03), through(found, b, -0.01)
    assert one.value == pytest.approx(np.zeros(SIZE))
    assert other.value == pytest.approx(np.zeros(SIZE))
    apart = minus(other, one)
    assert over(apart, "gain") == pytest.approx(0.0, abs=1e-12)
    # What changes along the range is still there.
    assert apart.sources["bow [A]"].factor == pytest.approx(
        -log(0.0).sources["bow"].factor
    )
    assert over(apart, BIASES) == pytest.approx(math.hypot(0.004, 0.006))
    # The consensus cancels.
    assert over(apart, STANDS) == pytest.approx(0.0, abs=1e-12)
    assert over(apart, NO_FACTOR) == pytest.approx(LEFT_OVER * 0.05 * math.sqrt(2))
    told = stands_of(found, apart, [(-1.0, a), (1.0, b)])
    assert told is not None
    assert (told.known, told.unknown) == (2, 0)
    assert told.moved == pytest.approx(math.expm1(0.04))


def test_a_stand_of_which_nothing_is_known_counts_with_the_spread() -> None:
    a, new = Run("A"), Run("new, calibrated", "new")
    found = known(a, new)
    apart = minus(through(found, new, 0.0), through(found, a, 0.03))
    assert over(apart, STANDS) == pytest.approx(math.hypot(0.02, 0.012))
    assert apart.sources[STANDS].dof == pytest.approx(np.full(SIZE, 4.0))
    # Its own scale is as uncertain as it says.
    assert over(apart, "gain [new") == pytest.approx(0.05)


def test_two_new_stands_count_once_each_by_one_estimate() -> None:
    one, other = Run("x"), Run("y")
    found = known(one, other)
    apart = minus(through(found, other, 0.0), through(found, one, 0.0))
    assert over(apart, STANDS) == pytest.approx(0.02 * math.sqrt(2))
    # One estimate of a spread, however often it comes in.
    assert float(apart.sources[STANDS].dof[0]) == 4.0


def test_a_stand_that_was_calibrated_anew_is_still_that_stand() -> None:
    one, anew = Run("x, spring", "x"), Run("x, autumn", "x")
    found = known(one, anew)
    apart = minus(through(found, anew, 0.0), through(found, one, 0.0))
    assert over(apart, STANDS) == pytest.approx(0.0, abs=1e-12)
    assert over(apart, "gain") == pytest.approx(0.05 * math.sqrt(2))


def test_both_articles_on_both_stands_cancel_everything_of_them() -> None:
    a, new = Run("A"), Run("new")
    found = known(a, new)
    side = averaged([through(found, a, 0.0), through(found, new, 0.0)])
    apart = minus(side, averaged([through(found, new, 0.1), through(found, a, 0.1)]))
    for name in (STANDS, BIASES, NO_FACTOR, "gain"):
        assert over(apart, name) == pytest.approx(0.0, abs=1e-12)


def test_without_a_spread_an_unknown_stand_is_left_as_it_is() -> None:
    bare = Agreed(biases={"A": StandBias(0.03, 0.004, 8.0)})
    found = correction(bare, [Run("A"), Run("new")])
    assert found is not None
    assert STANDS not in through(found, Run("new"), 0.0).sources

"""Every rest is a zero; how far it may have strayed is learned from the rests."""

import math
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from daq.analysis.series import Array, Hold, HoldKind, Series
from daq.analysis.zeros import ONE_REST_SHARE, Rests, read_rests

RATE_HZ = 50.0


def run_of(
    rests: int,
    zero: Callable[[Array], NDArray[np.floating[Any]]],
    *,
    noise: float = 0.0,
    seed: int = 1,
) -> tuple[Series, list[Hold]]:
    """Rests of 4 s between dwells of 6 s; ``zero`` is a function of time."""
    holds: list[Hold] = []
    at_s = 0.0
    for number in range(rests):
        holds.append(Hold("rest", "rest", 2 * number, 0.0, at_s, at_s + 4))
        at_s += 4
        if number < rests - 1:
            holds.append(Hold("dwell", "up", 2 * number + 1, 0.5, at_s, at_s + 6))
            at_s += 6
    t_s = np.arange(0, at_s, 1 / RATE_HZ)
    value = np.asarray(zero(t_s), dtype=np.float64)
    value = value + noise * np.random.default_rng(seed).standard_normal(t_s.size)
    for hold in holds:
        if hold.kind == "dwell":
            value[(t_s >= hold.start_s) & (t_s < hold.end_s)] += 2.0
    return Series("thrust", "force", t_s, value, 0.0, 1e-6), holds


def _along(path: Array, t_s: Array) -> Array:
    return path[: t_s.size]


def rests_of(series: Series, holds: list[Hold], speed: Series | None = None) -> Rests:
    return read_rests(series, holds, settle_s=0.5, rest_settle_s=1.5, speed=speed)


@pytest.mark.parametrize("kind", ["warm", "glide", "burst"])
def test_a_rest_after_anything_that_spun_waits_for_the_motor_to_stop(
    kind: HoldKind,
) -> None:
    t_s = np.arange(0, 20, 1 / RATE_HZ)
    value = np.zeros(t_s.size)
    value[(t_s >= 4) & (t_s < 10)] = 2.0
    # Coasting: the thrust dies away within 1.4 s of the rest's beginning.
    value[(t_s >= 10) & (t_s < 11.4)] = 0.5
    series = Series("thrust", "force", t_s, value, 0.0, 1e-6)
    spun = Hold(kind, "rest" if kind == "warm" else "up", 0, 0.5, 4.0, 10.0, 0.1)
    holds = [
        Hold("rest", "rest", -1, 0.0, 0.0, 4.0),
        spun,
        Hold("rest", "rest", -1, 0.0, 10.0, 15.0),
        Hold("dwell", "up", 0, 0.5, 15.0, 19.0),
    ]
    rests = rests_of(series, holds)
    assert rests.value == pytest.approx([0.0, 0.0], abs=1e-12)


def test_a_steady_drift_is_followed_exactly() -> None:
    series, holds = run_of(4, lambda t_s: 1.0 + 0.01 * t_s)
    rests = rests_of(series, holds)
    at_s = np.array([7.0, 16.0, 25.0])
    zero = rests.zero_at(at_s, 2.0)
    assert zero.value == pytest.approx(1.0 + 0.01 * at_s, abs=0.01 / RATE_HZ)
    # Four rests show that interpolation follows it: the rate charged is far
    # below the 0.1 N that each step of 10 s would suggest.
    assert rests.drift_per_root_s < 0.15 * 0.1 / math.sqrt(10)


def test_with_two_rests_a_drift_may_have_happened_at_any_pace() -> None:
    series, holds = run_of(2, lambda t_s: 1.0 + 0.01 * t_s)
    zero = rests_of(series, holds).zero_at(np.array([7.0]), 2.0)
    moved = 0.01 * 10
    u = math.sqrt(zero.sources["thrust zero drift"].variance()[0])
    # At mid-way the rate that carried it across gives half of the step and more.
    assert moved / 2 <= u <= moved
    assert zero.dof()[0] < 1.1


def test_the_rate_of_a_wandering_zero_is_found() -> None:
    rate = 0.02
    found = []
    for seed in range(60):
        steps = (
            rate
            / math.sqrt(RATE_HZ)
            * np.random.default_rng(seed).standard_normal(20000)
        )
        series, holds = run_of(12, partial(_along, np.cumsum(steps)))
        found.append(rests_of(series, holds).drift_per_root_s ** 2)
    # Averaging over 2.5 s of each rest hides some of the wandering.
    assert math.sqrt(np.mean(found)) == pytest.approx(rate, rel=0.15)


def test_plateaus_in_one_gap_share_drift_and_those_in_two_gaps_do_not() -> None:
    series, holds = run_of(5, np.sin, noise=0.01)
    zero = rests_of(series, holds).zero_at(np.array([6.0, 8.0, 16.0]), 2.0)
    drift = zero.sources["thrust zero drift"].covariance()
    assert drift[0, 1] > 0.2 * drift[0, 0]
    assert drift[0, 2] == pytest.approx(0.0, abs=1e-12)
    # A rest between two gaps serves both.
    shared = zero.sources["thrust zero"].covariance()
    assert shared[0, 1] > 0
    assert rests_of(series, holds).drift_known


def test_drift_grows_with_the_distance_from_the_last_rest() -> None:
    series, holds = run_of(3, np.sin)
    zero = rests_of(series, holds).zero_at(np.array([30.0, 60.0]), 2.0)
    u = np.sqrt(zero.sources["thrust zero drift"].variance())
    assert u[1] > 1.5 * u[0] > 0


def test_one_rest_says_nothing_about_drift_and_a_bound_stands_in() -> None:
    series, holds = run_of(1, lambda t_s: 0 * t_s + 1.0, noise=0.001)
    rests = rests_of(series, holds)
    assert not rests.drift_known
    zero = rests.zero_at(np.array([10.0, 20.0]), 2.0)
    drift = zero.sources["thrust zero drift"]
    # Rectangular: half-width over root three; shared by all plateaus.
    assert np.sqrt(drift.variance()) == pytest.approx(
        ONE_REST_SHARE * 2.0 / math.sqrt(3)
    )
    assert drift.covariance()[0, 1] == pytest.approx(drift.variance()[0])


def test_no_rest_leaves_the_reading_and_a_wide_bound() -> None:
    series, _ = run_of(2, lambda t_s: 0 * t_s + 1.0)
    rests = read_rests(series, [], settle_s=0.5)
    zero = rests.zero_at(np.array([1.0]), 2.0)
    assert zero.value[0] == 0.0
    assert zero.standard_uncertainty()[0] > 0.05


def test_only_the_settled_part_of_a_rest_counts() -> None:
    # The cell is still recovering for a second after each dwell.
    series, holds = run_of(3, lambda t_s: 1.0 + 0.5 * ((t_s % 10) < 1.4) * (t_s > 5))
    rests = rests_of(series, holds)
    assert rests.value == pytest.approx([1.0, 1.0, 1.0])


def test_a_rest_counts_from_where_the_motor_has_stopped() -> None:
    series, holds = run_of(2, lambda t_s: 1.0 + 0.3 * ((t_s > 10) & (t_s < 12.5)))
    speed_rad_s = np.where((series.t_s > 4) & (series.t_s < 12.5), 1000.0, 0.0)
    speed = Series("speed", "speed", series.t_s, speed_rad_s, 0.0, 1.0)
    blind, seeing = rests_of(series, holds), rests_of(series, holds, speed)
    assert blind.value[1] > 1.05
    assert seeing.value[1] == pytest.approx(1.0)


def test_a_rest_in_which_the_motor_never_stops_is_no_zero() -> None:
    series, holds = run_of(2, lambda t_s: 0 * t_s + 1.0)
    speed_rad_s = np.where(series.t_s > 4, 1000.0, 0.0)
    speed = Series("speed", "speed", series.t_s, speed_rad_s, 0.0, 1.0)
    rests = rests_of(series, holds, speed)
    assert rests.value.size == 1
    assert "the rest at 10.0 s gave no reading of thrust" in rests.skipped[0]

"""The arithmetic of the coverage table, on answers whose counts are plain."""

import math

import numpy as np
import pytest

from tests.campaign.asked import Answer
from tests.campaign.breakage import EFFECTS, breaks_at, shares_of
from tests.campaign.counted import (
    Told,
    fewest,
    most,
    row_of,
    rows_of,
    table,
    verdict_line,
    verdicts_hold,
)


def _answers(z: np.ndarray, claimed: float, truth: float = 50.0) -> list[Answer]:
    half = 1.959964 * claimed
    return [
        Answer("q", truth + x, truth + x - half, truth + x + half, truth) for x in z
    ]


def test_a_row_counts_what_holds_and_holds_widths_against_scatter() -> None:
    z = np.random.default_rng(5).standard_normal(4000)
    row = row_of("q", _answers(z, claimed=1.5))
    # Two-sided normal: within 1.5 * 1.96 standard deviations lie 99.67 %.
    assert row.share == pytest.approx(0.9967, abs=0.003)
    assert row.widths == pytest.approx(1.5, rel=0.05)
    assert row.half_rel == pytest.approx(1.5 * 1.96 / 50.0, rel=1e-4)
    assert abs(row.bias) < 0.002
    assert not row.short
    assert "over" in table([row])


def test_intervals_that_are_too_narrow_are_short() -> None:
    z = np.random.default_rng(6).standard_normal(1000)
    row = row_of("q", _answers(z, claimed=0.8))
    # Within 0.8 * 1.96 standard deviations lie 88.3 %.
    assert row.share == pytest.approx(0.883, abs=0.03)
    assert row.short
    assert "SHORT" in table([row])


def test_no_interval_is_a_miss_and_spoils_no_mean() -> None:
    nothing = Answer("q", math.nan, math.nan, math.nan, 50.0)
    row = row_of("q", [*_answers(np.zeros(9), 1.0), nothing])
    assert row.worlds == 10
    assert row.share == 0.9
    assert math.isfinite(row.half_rel)


def test_the_binomial_range_is_that_of_tables() -> None:
    # Binomial, 20 draws at 0.95: P(X <= 16) = 0.0159, P(X <= 17) = 0.0755 (from any
    # table of the cumulative binomial).
    assert fewest(20, 0.025) == 16
    assert most(20, 0.025) == 20
    assert fewest(1000, 0.025) in range(935, 938)
    assert most(1000, 0.025) in range(962, 965)


def test_rows_come_in_their_order_and_only_where_something_was_asked() -> None:
    found = _answers(np.zeros(2), 1.0)
    other = [Answer("p", 1.0, 0.9, 1.1, 1.0)]
    rows = rows_of([*found, *other], ("p", "nobody asked", "q"))
    assert [row.quantity for row in rows] == ["p", "q"]


def test_a_difference_of_nothing_is_counted_without_dividing_by_it() -> None:
    row = row_of("difference of a and a", [Answer("d", 0.01, -0.01, 0.03, 0.0)] * 3)
    assert row.share == 1.0
    assert row.half_rel == pytest.approx(0.02)


def test_verdicts_are_wrong_by_sign_or_where_the_band_leaves_the_truth() -> None:
    right = Told("more", 0.05, 0.02, contradicted=False)
    turned = Told("less", 0.05, 0.02, contradicted=False)
    nothing_there = Told("more", 0.0, 0.02, contradicted=False)
    elsewhere = Told("more", 0.05, 0.02, contradicted=True)
    unsure = Told("cannot tell", 0.05, 0.02, contradicted=False)
    assert not right.wrong
    assert turned.wrong
    assert nothing_there.wrong
    assert elsewhere.wrong
    assert not unsure.wrong
    assert not unsure.clear
    assert unsure.large
    assert not Told("cannot tell", 0.03, 0.02, contradicted=False).large
    line = verdict_line("pairs", [right, turned, nothing_there, unsure])
    assert line.split() == ["pairs", "4", "3", "50.0", "%", "3", "33", "%"]
    assert not verdicts_hold([right, turned])
    assert verdicts_hold([right] * 20)
    assert verdicts_hold([right] * 4 + [unsure])
    assert not verdicts_hold([right] * 3 + [unsure])


def test_coverage_breaks_between_the_sizes_where_it_falls_below() -> None:
    sizes = (1.0, 2.0, 4.0)
    assert breaks_at(sizes, (0.96, 0.92, 0.82)) == pytest.approx(2.4)
    assert breaks_at(sizes, (0.96, 0.95, 0.9)) is None
    assert breaks_at(sizes, (0.5, 0.4, 0.3)) == 1.0


def test_each_effect_names_what_suffers_and_rises() -> None:
    for effect in EFFECTS:
        assert list(effect.sizes) == sorted(effect.sizes), effect.name
        assert (effect.changed is None) != (effect.slip is None), effect.name
        held = [Answer(effect.suffers[0], 1.0, 0.9, 1.1, 1.0)]
        missed = [Answer(effect.suffers[0], 1.0, 0.9, 1.1, 2.0)]
        shares = shares_of(effect, [(0, held), (0, missed), (1, held)])
        assert shares[effect.suffers[0]][:2] == [0.5, 1.0]

"""Verdicts across stands: what cancels, what is missing, and that they are careful."""

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.analysis.across import (
    hold_across,
)
from daq.analysis.agreed import Agreed, Agreement, Spread, StandBias
from daq.analysis.between_stands import LEFT_OVER
from daq.analysis.measured import t_factor
from daq.analysis.summaries import Summary
from daq.errors import InputFault

X = np.array([0.5, 1.0, 2.0, 3.0])
WHAT = "thrust"


def run(
    article: str,
    log: float,
    stand: str = "one",
    calibration: str = "",
    *,
    own_u: float = 0.0,
    scale_u: float = 0.0,
    density_kg_m3: float | None = 1.2,
) -> Summary:
    flat = np.ones(X.size)
    return Summary(
        article,
        stand,
        stand + calibration,
        X,
        log + 0.3 * X,
        own_u * flat,
        scale_u * flat,
        density_kg_m3=density_kg_m3,
    )


def knowing(**known: object) -> Agreement:
    return Agreement({WHAT: replace(Agreed(within=Spread(0.01, 20.0)), **known)})  # type: ignore[arg-type]


def test_one_mounting_of_each_and_nothing_known_is_no_verdict() -> None:
    found = hold_across(WHAT, [run("A", 0.0)], [run("B", 0.5)])
    assert (found.verdict, found.missing) == ("no verdict", "mounting")
    assert math.isnan(found.half)
    assert found.log == pytest.approx(0.5)


def test_two_stands_of_which_nothing_is_known_are_no_verdict() -> None:
    one = [run("A", 0.0), run("A", 0.01)]
    found = hold_across(WHAT, one, [run("B", 0.5, "two"), run("B", 0.51, "two")])
    assert (found.verdict, found.missing) == ("no verdict", "stands")


def test_on_one_stand_it_is_students_test_of_two_samples() -> None:
    """Textbook: pooled variance of 1 and 1 degrees of freedom, by hand."""
    one, other = [0.00, 0.02], [0.05, 0.09]
    found = hold_across(
        WHAT, [run("A", log) for log in one], [run("B", log) for log in other]
    )
    pooled = (0.0002 + 0.0008) / 2
    u = math.sqrt(pooled)
    assert found.log == pytest.approx(0.06)
    assert found.parts["mounting"].u == pytest.approx(u)
    assert found.parts["mounting"].dof == 2
    # Air of one bench adds two densities, and nothing of the barometer.
    density = (2 / 3) * 0.0045 * math.sqrt(1.0)
    assert found.u == pytest.approx(math.hypot(u, density))
    # A little that is certain makes the interval no narrower than mounting alone.
    assert float(t_factor(found.dof)) * found.u < float(t_factor(2.0)) * u
    assert found.half == pytest.approx(float(t_factor(2.0)) * u)


def test_a_scale_cancels_between_its_own_runs_but_for_what_no_factor_is() -> None:
    agreement = knowing()
    one, other = run("A", 0.0, scale_u=0.02), run("B", 0.0, scale_u=0.02)
    same = hold_across(WHAT, [one], [other], agreement)
    assert same.parts["scales"].u == pytest.approx(0.02 * LEFT_OVER)
    anew = replace(other, scale="one, calibrated anew")
    apart = hold_across(WHAT, [one], [anew], agreement)
    assert apart.parts["scales"].u == pytest.approx(0.02 * math.sqrt(2), rel=0.01)
    # Still one stand: what stands differ by is not asked for.
    assert apart.parts["stands"].u == 0.0


def test_a_spread_between_stands_counts_once_for_each_of_them() -> None:
    agreement = knowing(between=Spread(0.02, 4.0))
    found = hold_across(WHAT, [run("A", 0.0)], [run("B", 0.0, "two")], agreement)
    assert found.parts["stands"].u == pytest.approx(0.02 * math.sqrt(2))
    assert found.parts["stands"].dof == 4.0
    spread = hold_across(
        WHAT,
        [run("A", 0.0)],
        [run("B", 0.0, "two"), run("B", 0.0, "three")],
        agreement,
    )
    assert spread.parts["stands"].u == pytest.approx(0.02 * math.sqrt(1.5))


def test_both_articles_on_the_same_two_stands_need_nothing_between_them() -> None:
    one = [run("A", 0.0), run("A", 0.02, "two")]
    other = [run("B", 0.1), run("B", 0.12, "two")]
    found = hold_across(WHAT, one, other, knowing())
    assert found.parts["stands"].u == 0.0
    assert found.verdict == "more"


def test_a_known_bias_is_taken_off_and_stands_for_the_scale() -> None:
    biases = {"one": StandBias(0.03, 0.004, 8.0), "two": StandBias(-0.02, 0.004, 8.0)}
    agreement = knowing(biases=biases, consensus_u=0.5)
    one, other = run("A", 0.0, scale_u=0.05), run("B", 0.0, "two", scale_u=0.05)
    found = hold_across(WHAT, [one], [other], agreement)
    assert found.moved == pytest.approx(0.05)
    assert found.log == pytest.approx(0.05)
    # The consensus cancels, however little is known of it, and so do the scales.
    assert found.parts["stands"].u == 0.0
    assert found.parts["scales"].u == pytest.approx(
        LEFT_OVER / 2 * 0.05 * math.sqrt(2), rel=1e-9
    )
    assert found.parts["mounting"].u == pytest.approx(math.sqrt(2 * (1e-4 + 1.6e-5)))
    assert found.parts["mounting"].dof == 8.0


def test_one_known_stand_against_another_counts_the_consensus() -> None:
    agreement = knowing(
        biases={"one": StandBias(0.03, 0.0, 8.0)},
        between=Spread(0.02, 4.0),
        consensus_u=0.01,
    )
    found = hold_across(WHAT, [run("A", 0.03)], [run("B", 0.0, "two")], agreement)
    assert found.log == pytest.approx(0.0)
    assert found.parts["stands"].u == pytest.approx(math.hypot(0.02, 0.01))


def test_a_stand_calibrated_anew_has_lost_its_bias() -> None:
    agreement = knowing(biases={"one": StandBias(0.03, 0.0, 8.0)})
    anew = run("B", 0.0, "one", ", new")
    found = hold_across(WHAT, [run("A", 0.0)], [anew], agreement)
    assert (found.verdict, found.missing) == ("no verdict", "stands")


def test_runs_are_restated_to_one_air_where_every_one_was_noted() -> None:
    thin = run("B", math.log(0.9) * 2 / 3, density_kg_m3=1.08)
    found = hold_across(WHAT, [run("A", 0.0)], [thin], knowing())
    assert found.log == pytest.approx(0.0, abs=1e-12)
    # Bounds of 1/3 and 1, evenly: a root of twelve of two thirds, times ln 0.9.
    held = (2 / 3) / math.sqrt(12) * abs(math.log(0.9))
    own = (2 / 3) * 0.0045 * math.sqrt(2)
    assert found.parts["air"].u == pytest.approx(math.hypot(held, own))


def test_air_that_nobody_noted_cancels_on_one_bench_and_not_between_two() -> None:
    agreement = knowing(between=Spread(0.0, 4.0))
    one, other = run("A", 0.0), run("B", 0.0, density_kg_m3=None)
    assert hold_across(WHAT, [one], [other], agreement).parts["air"].u == 0.0
    apart = replace(other, stand="two", scale="two")
    found = hold_across(WHAT, [one], [apart], agreement)
    assert found.parts["air"].u == pytest.approx(
        (2 / 3) * 0.1 / 1.225 * math.sqrt(2), rel=1e-3
    )


def test_runs_that_hardly_share_a_range_are_refused() -> None:
    far = replace(run("B", 0.0), x=X + 2.4)
    with pytest.raises(InputFault, match="hardly any range in common"):
        hold_across(WHAT, [run("A", 0.0)], [far])


def test_an_agreement_comes_back_as_it_was_written() -> None:
    agreement = knowing(
        biases={"one": StandBias(0.03, 0.0, 8.0)}, between=Spread(0.02, 4.0)
    )
    assert Agreement.from_dict(agreement.to_dict()) == agreement
    assert agreement.of("nothing of the kind") == Agreed()


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_it_is_as_careful_as_the_comparison_of_whole_runs(seed: int) -> None:
    """The same invented runs, once whole and once as summaries."""
    from daq.analysis.compare import compare, learn
    from daq.analysis.quantities import QUANTITIES
    from daq.analysis.remounting import Reproducibility, pooled
    from daq.analysis.summaries import summary_of
    from tests.daq.analysis.test_compare import several

    rng = np.random.default_rng(seed)
    first = [replace(m, bench="stand") for m in several(rng, "A", 2)]
    second = [replace(m, bench="stand") for m in several(rng, "B", 3, 1.1)]
    agreement = Agreement(
        {
            what: Agreed(
                Spread(0.02, 10.0),
                Spread(0.03, 4.0),
                0.013,
                {
                    "stand": StandBias(0.01, 0.008, 10.0),
                    "another": StandBias(-0.02, 0.008, 10.0),
                },
            )
            for what in QUANTITIES
        }
    )
    learned = learn([first, second])
    club = Reproducibility(0.02, 10.0, "a club's stands")
    for stand, known in (("stand", None), ("another", agreement), ("new", agreement)):
        there = [replace(m, scale=stand, bench=stand) for m in second]
        mounting = {
            what: one if known is None else pooled(one, club)
            for what, one in learned.items()
        }
        for told in compare(first, there, mounting, known).differences:
            runs = [
                [run for run in (summary_of(told.what, m) for m in side) if run]
                for side in (first, there)
            ]
            short = hold_across(told.what, runs[0], runs[1], known)
            low, high = (math.log1p(share) for share in told.mean[1:])
            assert short.log == pytest.approx(math.log1p(told.mean[0]), abs=1e-3)
            # No narrower, but for rounding; and not wastefully wide.
            assert (high - low) / 2 < 1.005 * short.half
            assert short.half < 1.25 * (high - low) / 2

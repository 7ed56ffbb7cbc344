"""Round robins of invented runs: who is off, by how much, and what is not known."""

import math

import numpy as np
import pytest

from daq.analysis.across import hold_across
from daq.analysis.agreed import Agreement
from daq.analysis.round_robin import RoundFound, round_robin
from daq.analysis.summaries import Summary
from daq.errors import InputFault
from tests.campaign.rounds import CLUBS, rows

X = np.linspace(1.0, 3.0, 5)
WHAT = "thrust"
#: What mounting again does in these runs, the same on each stand.
SEATS = (-0.004, 0.0, 0.004)


def spun(
    stand: str,
    bias: float,
    seat: float = 0.0,
    *,
    claim_u: float = 0.01,
    rise: float = 0.0,
    density_kg_m3: float | None = 1.2,
) -> Summary:
    ones = np.ones(X.size)
    log = bias + seat + 0.5 * X + rise * (X - 2.0)
    return Summary(
        "traveller",
        stand,
        stand,
        X,
        log,
        0.001 * ones,
        claim_u * ones,
        30.0,
        density_kg_m3,
    )


def visits(**biases: float) -> list[Summary]:
    return [spun(name, bias, seat) for name, bias in biases.items() for seat in SEATS]


def found(**biases: float) -> RoundFound:
    return round_robin(WHAT, visits(**biases))


def test_each_stands_bias_is_against_the_consensus_of_all() -> None:
    one = found(a=0.00, b=0.01, c=-0.01, d=0.02, e=-0.02)
    assert [stand.log for stand in one.stands] == pytest.approx(
        [0.0, 0.01, -0.01, 0.02, -0.02], abs=1e-9
    )
    assert one.precision.within is not None
    assert one.precision.within.sd == pytest.approx(0.004)
    assert one.precision.within.dof == 10
    means_sd = math.sqrt(sum(b**2 for b in (0.01, 0.01, 0.02, 0.02)) / 4)
    assert one.precision.between is not None
    assert one.precision.between.sd == pytest.approx(
        math.sqrt(means_sd**2 - 0.004**2 / 3)
    )
    assert not one.suspects
    assert one.one_air


def test_a_stand_that_is_part_of_the_consensus_is_less_uncertain_against_it() -> None:
    one = found(a=0.00, b=0.01, c=-0.01, d=0.02, e=-0.02)
    stand = one.stands[0]
    share = 1 / 5
    # Mounting, and what a thermometer that once was off does to thrust.
    own = math.hypot(0.004 / math.sqrt(3), 2 / 3 * 0.0045)
    assert stand.own_u == pytest.approx(own)
    assert stand.u == pytest.approx(
        math.hypot(own * math.sqrt(1 - 2 * share), one.consensus.u)
    )
    assert stand.u < math.hypot(own, one.consensus.u)


def test_a_stand_far_off_is_told_and_moves_the_others_little() -> None:
    one = found(a=0.00, b=0.01, c=-0.01, d=0.005, e=-0.005, f=0.15)
    outliers = [s for s in one.suspects if s.level == "outlier"]
    assert [(s.test, s.places) for s in outliers] == [("Grubbs", (5,))]
    assert abs(one.stands[0].log) < 0.005
    assert one.stands[5].claim == "does not hold"
    assert abs(one.stands[5].z) > 3
    assert [s.claim for s in one.stands[:5]] == ["holds"] * 5
    # It is told beside, and never left out.
    assert one.precision.of_means.sd > 0.05
    assert one.without is not None
    assert one.without.of_means.sd < 0.01
    assert one.more_than_claimed < 1e-6


def test_a_claim_that_a_bias_lies_beyond_may_still_be_right() -> None:
    """Three stands say too little of the consensus to blame one."""
    one = found(a=0.0, b=0.03, c=-0.001)
    assert one.stands[1].claim == "cannot tell"
    assert abs(one.stands[1].e_n) <= 1


def test_a_stand_that_scatters_is_told() -> None:
    runs = visits(a=0.0, b=0.01, c=-0.01, d=0.004)
    runs += [spun("e", 0.0, seat) for seat in (-0.05, 0.0, 0.05)]
    one = round_robin(WHAT, runs)
    assert [(s.test, s.places, s.level) for s in one.suspects] == [
        ("Cochran", (4,), "outlier")
    ]
    assert one.stands[4].k > one.critical[1]
    # It goes by its own scatter, which is not what the others are uncertain by.
    thermometer = 2 / 3 * 0.0045
    assert one.stands[4].own_u == pytest.approx(
        math.hypot(0.05 / math.sqrt(3), thermometer)
    )
    assert one.stands[0].own_u < one.stands[4].own_u


def test_a_bias_that_changes_along_the_range_is_seen() -> None:
    runs = visits(a=0.0, b=0.01, c=-0.01, d=0.005, e=-0.005)
    rng = np.random.default_rng(1)
    runs += [spun("f", 0.0, seat, rise=0.03) for seat in SEATS]
    runs = [
        Summary(
            r.article,
            r.stand,
            r.scale,
            r.x,
            r.log + 0.002 * float(rng.standard_normal()) * (r.x - 2.0),
            r.own_u,
            r.scale_u,
            r.dof,
            r.density_kg_m3,
        )
        for r in runs
    ]
    one = round_robin(WHAT, runs)
    alongs = [stand.along for stand in one.stands]
    assert [along.changes for along in alongs if along] == [*[False] * 5, True]
    last = one.stands[5]
    assert last.along is not None
    assert last.along.rise == pytest.approx(0.03, abs=0.004)
    assert last.own_u > 0.01


def test_the_stand_that_closes_the_round_shows_an_article_that_changed() -> None:
    runs = visits(a=0.0, b=0.01, c=-0.01)
    same = [spun("a", 0.0, seat) for seat in SEATS]
    kept = round_robin(WHAT, [*runs, *same])
    assert kept.closing is not None
    assert kept.closing.changed is False
    assert kept.drift_u == 0.0
    assert kept.precision.within is not None
    assert kept.precision.within.dof == 8
    worn = [spun("a", -0.05, seat) for seat in SEATS]
    changed = round_robin(WHAT, [*runs, *worn])
    assert changed.closing is not None
    assert changed.closing.changed is True
    assert changed.closing.log == pytest.approx(-0.05)
    assert changed.drift_u == pytest.approx(0.05 / math.sqrt(12))
    # What it does is in every bias, and its last runs are in no mean.
    assert changed.stands[0].own_u > 0.014
    assert changed.stands[0].runs == 3
    assert changed.stands[0].log == pytest.approx(kept.stands[0].log)


def test_stands_that_take_turns_close_nothing() -> None:
    turns = [spun(s, b, seat) for seat in SEATS for s, b in (("a", 0.0), ("b", 0.01))]
    one = round_robin(WHAT, turns)
    assert one.closing is None
    assert [stand.runs for stand in one.stands] == [3, 3]


def test_two_stands_say_how_they_differ_and_little_else() -> None:
    one = found(a=0.0, b=0.02)
    assert [stand.log for stand in one.stands] == pytest.approx([-0.01, 0.01])
    assert one.precision.of_means.dof == 1
    assert one.stands[0].half > 0.1
    # But the two against each other are known as well as their mountings allow.
    across = hold_across(
        WHAT, visits(a=0.0), visits(b=0.02), Agreement({WHAT: one.agreed})
    )
    assert across.log == pytest.approx(0.0, abs=1e-9)
    assert across.half < 0.02


def test_without_a_second_mounting_no_bias_has_an_interval() -> None:
    one = round_robin(WHAT, [spun("a", 0.0), spun("b", 0.01), spun("c", 0.02)])
    assert one.precision.within is None
    assert all(math.isnan(stand.half) for stand in one.stands)
    assert one.agreed.biases == {}
    assert one.agreed.within is None
    assert one.agreed.between is not None
    assert math.isnan(one.more_than_claimed)


def test_runs_that_are_all_alike_break_nothing() -> None:
    one = round_robin(WHAT, [spun(s, 0.0) for s in "abc" for _ in range(2)])
    assert [stand.log for stand in one.stands] == pytest.approx([0.0, 0.0, 0.0])
    assert not one.suspects


def test_one_stand_is_no_round() -> None:
    with pytest.raises(InputFault, match="two stands or more"):
        round_robin(WHAT, visits(a=0.0))


def test_air_that_was_noted_is_made_up_for() -> None:
    thin = 1.08
    runs = [spun("a", 0.0, seat) for seat in SEATS]
    runs += [
        spun("b", 2 / 3 * math.log(thin / 1.2), seat, density_kg_m3=thin)
        for seat in SEATS
    ]
    one = round_robin(WHAT, runs)
    assert [stand.log for stand in one.stands] == pytest.approx([0.0, 0.0], abs=1e-9)
    # Two thirds more or less a third, evenly: what that leaves of a tenth of density.
    apart = 2 / 3 / math.sqrt(12) * abs(math.log(thin / 1.2))
    assert one.stands[0].own_u > apart / math.sqrt(2)
    runs[0] = spun("a", 0.0, SEATS[0], density_kg_m3=None)
    bare = round_robin(WHAT, runs)
    assert not bare.one_air
    assert bare.stands[0].own_u == pytest.approx(0.004 / math.sqrt(3))


@pytest.mark.slow
@pytest.mark.parametrize("club", CLUBS, ids=lambda club: club.words)
def test_intervals_hold_the_truth_and_equals_are_not_told_apart(club: object) -> None:
    """300 rounds of random numbers each; ``tests.campaign.rounds`` draws more.

    Within four standard deviations of a count; biases of one round share a consensus,
    so that they are worth about as much as rounds.
    """
    rounds = 300
    allowed = 0.05 + 4 * math.sqrt(0.05 * 0.95 / rounds)
    for name, count, _ in rows(club, rounds, seed=7):  # type: ignore[arg-type]
        if name == "bias held":
            assert 1 - count.share < allowed, name
        elif name.startswith("told apart"):
            assert count.share < allowed, name

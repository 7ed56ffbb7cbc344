"""A small coverage campaign; ``python -m tests.campaign.coverage`` runs all of it."""

import pytest

from tests.campaign import asked, counted
from tests.campaign.coverage import COMPARED, WIRED, live_through, outcome_of
from tests.campaign.owner import Slip, owner_of
from tests.campaign.worlds import draw_world

FIRST, WORLDS = 2, 40  # none of them compares or goes by the wire, see below


def test_an_owner_is_the_same_for_the_same_world_and_knows_nothing_exactly() -> None:
    world = draw_world(4)
    owner = owner_of(world)
    assert repr(owner) == repr(owner_of(world))
    said = owner.masses.value_si
    assert all(a != b for a, b in zip(said, owner.forces_n, strict=True))
    assert owner.article["aircraft"]["all_up_g"] != 1e3 * owner.all_up_kg
    heavier = owner_of(world, Slip(mass_rel=0.02))
    assert heavier.forces_n[0] == pytest.approx(1.02 * owner.forces_n[0])
    assert heavier.masses.told == owner.masses.told


@pytest.mark.slow
def test_by_the_wire_and_off_the_plant_the_figures_are_the_same() -> None:
    world = draw_world(3)
    wired = {a.quantity: a for a in outcome_of(world, wired=True).answers}
    short = {a.quantity: a for a in outcome_of(world, wired=False).answers}
    assert wired.keys() == short.keys()
    for name, answer in wired.items():
        # Other noise, gusts and moments: a part of the interval.
        apart = abs(answer.value / answer.truth - short[name].value / short[name].truth)
        assert apart < 0.5 * asked.relative(answer)[1], name


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_intervals_hold_the_truth_in_most_worlds() -> None:
    seeds = [seed for seed in range(FIRST, FIRST + 2 * WORLDS) if seed % COMPARED != 1]
    seeds = [seed for seed in seeds if seed % WIRED][:WORLDS]
    outcomes = [live_through(seed) for seed in seeds]
    assert not any(outcome.refused for outcome in outcomes)
    answers = [answer for outcome in outcomes for answer in outcome.answers]
    rows = {row.quantity: row for row in counted.rows_of(answers, asked.QUANTITIES)}
    assert set(asked.QUANTITIES) <= set(rows)
    for name, row in rows.items():
        held = round(row.share * row.worlds)
        # Fewer hold in one of a thousand such campaigns.
        assert held >= counted.fewest(row.worlds, 0.001), (name, row)
    # Nor is it bought by intervals that hold anything.
    assert rows["thrust at the top"].half_rel < 0.05
    assert rows["power at the top"].half_rel < 0.05
    assert rows["hover throttle"].half_rel < 0.12

"""A small round of simulated stands; ``tests.campaign.round_robin`` spins more."""

import math
from itertools import pairwise

import pytest

from daq.analysis.quantities import QUANTITIES
from tests.campaign.round_robin import (
    a_world,
    counted,
    one_round,
    stand_table,
    verdicts,
)


def test_the_parcel_is_the_same_on_every_stand_and_the_rest_is_not() -> None:
    one, other = a_world(2, 201), a_world(2, 202)
    for part in ("motor", "propeller", "esc", "winding_heat", "chopping", "fast"):
        assert getattr(one.truth, part) == getattr(other.truth, part), part
    for part in ("load_cell", "current_sensor", "arm", "pack", "air"):
        assert getattr(one.truth, part) != getattr(other.truth, part), part
    assert one.motor_size == other.motor_size


@pytest.mark.slow
@pytest.mark.timeout(180)
def test_the_biases_of_three_stands_are_recovered() -> None:
    """Three stands: wide intervals, so that nearly all of them hold."""
    told, pairs = one_round(2, 3, more_stands=0, true_runs=3)
    assert len(told) == 3 * len(QUANTITIES)
    for what in QUANTITIES:
        mine = [row for row in told if row.what == what]
        for row in mine:
            assert abs(row.told - row.true) <= row.half
        for one, other in pairwise(mine):
            apart = (one.told - other.told) - (one.true - other.true)
            # Twice the interval: pooled repeatability is not each stand's own.
            assert abs(apart) <= 2 * math.hypot(one.own_half, other.own_half)
    assert sum(abs(pair.log - pair.true) <= pair.half for pair in pairs) >= 7
    known = [pair.half for pair in pairs if "known biases" in pair.how]
    unknown = [pair.half for pair in pairs if "no bias known" in pair.how]
    assert sum(known) < 0.75 * sum(unknown)
    assert stand_table(told).count("\n") == 6
    assert "two stands against each other" in counted([told])
    assert verdicts(pairs).count("%") == 8

"""Figures of captures hold the plant's own truth at the rate that they state."""

import pytest

from tests.campaign.captured import judged, table

WORLDS = 60


def test_a_few_worlds_are_read_near_their_truth() -> None:
    for seed in (1, 2):
        for one in judged(seed):
            allowed = 0.3 if one.quantity.startswith("dip") else 0.12
            assert one.value == pytest.approx(one.truth, rel=allowed), one.quantity


@pytest.mark.slow
def test_intervals_hold_the_truth_at_the_stated_rate() -> None:
    for quantity, held in table(WORLDS, first=1000).items():
        hold = sum(one.holds for one in held)
        # 95 % of 60 is 57; three sigma below it 52.
        assert hold >= 52, (quantity, hold)

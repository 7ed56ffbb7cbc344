"""Bundles that somebody made to do harm: refused or defused, and nothing else happens.

The whole table: ``python -m tests.campaign.bundles``.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.machine_clock import MachineClock
from tests.campaign.bundles import PATIENCE, tried
from tests.campaign.hostile_bundles.all_of_them import every
from tests.campaign.hostile_bundles.case import Hostile
from ui.club.inspecting import Inspector


@pytest.fixture(scope="module")
def inspector() -> Iterator[Inspector]:
    """One child for all, as a club's folder is looked through."""
    with Inspector(PATIENCE) as made:
        yield made


@pytest.mark.slow
@pytest.mark.parametrize("hostile", every(), ids=lambda hostile: hostile.name)
def test_it_does_no_harm(
    hostile: Hostile, inspector: Inspector, tmp_path: Path
) -> None:
    outcome = tried(hostile, inspector, tmp_path, MachineClock())
    assert outcome.broken == "", outcome.said


def test_there_are_more_than_a_hundred_and_each_has_its_name() -> None:
    names = [hostile.name for hostile in every()]
    assert len(set(names)) == len(names) > 150

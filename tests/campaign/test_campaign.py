"""The campaign in its short form; ``python -m tests.campaign`` runs all of it."""

import pytest

from daq.stand.faults.board import Hang
from daq.stand.faults.catalogue import KINDS
from tests.campaign.rightly import KINDS as RIGHTLY
from tests.campaign.script import draw_faults, run_script


def test_every_kind_of_fault_has_its_right_names() -> None:
    assert set(RIGHTLY) == set(KINDS)


def test_a_seed_is_a_script() -> None:
    assert draw_faults(7) == draw_faults(7)
    assert draw_faults(7) != draw_faults(8)


@pytest.mark.parametrize("start_s", [0.1, 0.3, 0.9, 1.9, 2.5])
def test_a_stand_that_dies_before_it_is_armed_is_not_waited_for(start_s: float) -> None:
    verdict = run_script(1, [Hang(start_s=start_s)])
    assert (str(verdict.ended), verdict.check) in (
        ("failed", "silence"),
        ("failed", "unanswered"),
        ("failed", "proof: lease"),
        ("failed", "proof: latch"),
    ), verdict
    assert not verdict.broken


@pytest.mark.slow
@pytest.mark.parametrize("first", [1000, 2000, 3000])
def test_laws_hold_and_causes_are_named_rightly(first: int) -> None:
    for seed in range(first, first + 12):
        verdict = run_script(seed)
        assert not verdict.broken, verdict
        assert not verdict.misnamed, verdict
        assert not verdict.wrong_samples, verdict

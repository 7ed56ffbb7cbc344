"""The sample runs are read by this version, as by every one that comes after."""

from pathlib import Path

import pytest

from daq.records.read import read_run
from ui.comparing import compare_folders
from ui.results import analyse_folder

SAMPLES = sorted(
    p.parent for p in Path(__file__).parents[1].glob("sample_runs/*/wire.log")
)


def test_there_are_samples() -> None:
    assert SAMPLES


@pytest.mark.parametrize("folder", SAMPLES, ids=lambda p: p.name)
def test_a_sample_is_whole_sealed_simulated_and_says_something(folder: Path) -> None:
    run = read_run(folder)
    assert run.sealed
    assert run.intact
    assert run.simulated
    assert run.outcome is not None
    assert run.outcome["ended"] == "completed"
    assert not run.damage.bytes
    analysis = analyse_folder(folder).analysis
    assert analysis is not None
    assert len(analysis.plateaus) == 12
    assert {"max-thrust", "sag"} <= {finding.id for finding in analysis.findings}


def compared(*names: str) -> dict[str, str]:
    """The verdict by quantity on the samples of these names."""
    folders = [folder for folder in SAMPLES if folder.name in names]
    found = compare_folders(folders)
    (second,) = found.compared.values()
    assert not second.missing
    return {one.what: one.verdict for one in second.differences}


@pytest.mark.slow
def test_one_pair_of_articles_can_be_told_apart_and_one_cannot() -> None:
    ours = ("a-1", "a-2", "a-3")
    steeper = compared(*ours, "b-1", "b-2")
    assert steeper == {"specific thrust": "more", "thrust": "more"}
    twin = compared(*ours, "c-1", "c-2")
    assert set(twin.values()) == {"cannot tell"}

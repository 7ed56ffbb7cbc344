"""The sample runs are read by this version, as by every one that comes after."""

from pathlib import Path

import pytest

from daq.records.read import read_run
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

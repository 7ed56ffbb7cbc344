"""The core under a fuzzer, and the fuzzer under cores that were broken on purpose."""

from pathlib import Path

import pytest

from tests import built
from tests.firmware.fuzz.building import fuzzer
from tests.firmware.fuzz.fuzzing import fuzz, prepare
from tests.firmware.sabotage import Sabotage, spoiled
from tests.firmware.test_sabotage import SABOTAGES

SECONDS = 25
# A count that falls short hurts nobody: no law is about it.
NO_LAW = {"does not notice a slow converter"}
CORES = [s for s in SABOTAGES if not s.on_chip and s.name not in NO_LAW]
RUNS = 5000  # the slowest takes some 400

pytestmark = pytest.mark.slow


def test_whatever_is_said_to_it_the_core_keeps_its_laws(tmp_path: Path) -> None:
    prepare(tmp_path / "corpus")
    limits = [f"-max_total_time={SECONDS}", "-seed=1"]
    outcome = fuzz(built.fuzzer(), tmp_path / "corpus", limits)
    assert outcome.finding is None
    assert outcome.inputs > 100


@pytest.mark.parametrize("sabotage", CORES, ids=lambda sabotage: sabotage.name)
def test_a_broken_core_is_found_out(sabotage: Sabotage, tmp_path: Path) -> None:
    built.fuzzer()  # or skip
    prepare(tmp_path / "corpus")
    program = fuzzer(tmp_path, root=spoiled(sabotage, tmp_path))
    outcome = fuzz(program, tmp_path / "corpus", [f"-runs={RUNS}", "-seed=1"])
    assert outcome.finding is not None
    assert outcome.finding.said.startswith("LAW BROKEN")
    assert outcome.finding.script is not None
    assert outcome.finding.script.exists()

"""The plug on a stand that prints lines: described, spun, guarded and told."""

import math
from pathlib import Path

import pytest

from daq.analysis.findings import Finding
from daq.analysis.run import analyse
from daq.link.columns.proposal import propose
from daq.records.read import read_run
from daq.stand.plant.truth import Truth, shipped_truth
from protocols.control import Control
from protocols.rules import Rules
from protocols.task import Task
from tests.daq.stand.plant.builder import changed
from tests.lined import PLUGGED, spin_on_lines
from tests.runs import write_run
from tests.spins import LIMITS, NONCE, plan
from tests.virtual import VirtualSpin
from ui.series import holds_of, series_of

COLD: dict[str, object] = {"plug.capacity_j_k": 1e6}
STEPS = plan((0.25, 0.4, 0.55), dwell_s=1.5)


def spun(truth: Truth, rules: Rules | None = None) -> VirtualSpin:
    walked = spin_on_lines(PLUGGED, walked=STEPS, truth=truth)
    if rules is not None:
        task = Task(STEPS, LIMITS, NONCE, rules, lines=PLUGGED)
        walked.control = Control(task, "test port")
    walked.run()
    return walked


def findings(walked: VirtualSpin, folder: Path) -> dict[str, Finding]:
    run = read_run(write_run(walked, folder))
    series, nominal = series_of(run)
    read = analyse(series, holds_of(run, series), nominal=nominal)
    return {finding.id: finding for finding in read.findings}


def test_its_resistance_is_that_of_the_plant(tmp_path: Path) -> None:
    walked = spun(changed(COLD, "rough"))
    outcome = walked.control.outcome
    assert outcome is not None
    assert outcome.ended == "completed", outcome
    found = findings(walked, tmp_path)["plug-resistance"]
    assert found.low is not None
    assert found.high is not None
    # Two contacts, and what of the lead lies between the sense wires.
    sense = shipped_truth("rough").plug_sense
    assert sense is not None
    true_ohm = 0.006 + sense.plus_lead_ohm + sense.minus_lead_ohm
    assert found.low < 1e3 * true_ohm < found.high
    assert found.high - found.low < 2.0  # by the stand's own constants


def test_its_heat_is_guarded(tmp_path: Path) -> None:
    worn: dict[str, object] = {
        "leads.plug_resistance_ohm": 0.1,
        "plug_sense.counts_per_v": 40_000.0,
    }
    walked = spun(changed(COLD | worn, "rough"), Rules(plug_heat_w=0.1))
    outcome = walked.control.outcome
    assert outcome is not None
    assert outcome.check == "plug"
    assert "into heat" in outcome.cause


@pytest.mark.parametrize(
    ("column", "name"),
    [
        ("plug_plus_mV", "plug-plus"),
        ("plug_minus (mV)", "plug-minus"),
        ("plug temp", "plug-temp"),
        ("plug", "channel-1"),
    ],
)
def test_a_heading_that_names_it_is_understood(column: str, name: str) -> None:
    head = f"{column};load_g\n"
    data = head + "".join(
        f"{12 + 5 * math.sin(k):.3f};{90 * math.cos(k / 7):.1f}\n" for k in range(120)
    )
    text = propose(data.encode(), begins_whole=True).text
    assert f'name = "{name}"' in text

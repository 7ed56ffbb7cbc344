"""A stand that prints lines, set up from nothing with what a person would type."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import cast

import pytest

from daq.records.read import read_run
from daq.stand.device import Device
from daq.stand.faults.stand import FaultyStand
from daq.stand.lines import LineStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from tests.lined import DESCRIPTION, described
from tests.served import Bench, served

ANSWERS = "yes\n" * 9 + "my hand is on the plug\n" + "yes\n"
FILLED_IN = (
    ('"channel-1"', '"thrust"', "gf"),
    ('"channel-2"', '"voltage"', "V"),
    ('"channel-3"', '"current"', "A"),
)
COMMANDS = '\n[commands]\nthrottle = "T{percent:.1f}\\n"\nstop = "S\\n"\n'


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    hardware = FaultyStand(Plant(shipped_truth(), 1))
    hardware.plug_in = False
    stand = LineStand(hardware, described(DESCRIPTION))
    with served(tmp_path, cast(Device, stand)) as made:
        yield made


def filled_in(text: str) -> str:
    """What a person makes of a proposal."""
    for found, name, unit in FILLED_IN:
        text = text.replace(found, name, 1).replace('unit = "?"', f'unit = "{unit}"', 1)
    return text + COMMANDS


@pytest.mark.slow
def test_from_nothing_to_findings(bench: Bench) -> None:
    port = bench.server.name
    status, said = bench.end_of(
        bench.start("describe", port, "--seconds", "1.5", "--out", "mine.toml")
    )
    assert status == 0, said
    assert 'fill in 3 "?" in mine.toml' in said
    assert f"gramwatt watch {port} --lines mine.toml" in said
    description = bench.folder / "mine.toml"

    status, said = bench.end_of(bench.start("watch", port, "--lines", "mine.toml"))
    assert status == 1
    assert 'mine.toml: channel 1.unit is "?"' in said

    description.write_text(filled_in(description.read_text()))
    status, said = bench.end_of(
        bench.start("watch", port, "--lines", "mine.toml", "--seconds", "2.5")
    )
    assert status == 0, said
    assert 'SIMULATED stand "my stand"' in said
    assert "lacks" in said
    assert " 0 of" in said

    client = bench.spin(answers=ANSWERS, more=("--lines", "mine.toml"))
    status, said = bench.end_of(client)
    assert status == 0, said
    assert "UNPROTECTED" in said
    assert "PUT THE ARMING PLUG IN" in said
    assert 'Type "my hand is on the plug" or no:' in said
    assert "stands still, by its current" in said
    run = read_run(bench.run_folder())
    assert run.sealed
    assert run.simulated
    assert run.described is not None
    go = next(run.notes("unprotected"))
    assert "may run on until the plug is pulled" in json.dumps(go.note)
    (page,) = bench.run_folder().glob("derived/*/report.html")
    assert "cannot stop its motor by itself" in page.read_text()


def test_a_yes_in_passing_spins_no_stand_that_only_a_hand_can_stop(
    bench: Bench,
) -> None:
    (bench.folder / "mine.toml").write_text(DESCRIPTION)
    client = bench.spin(answers="yes\n" * 20, more=("--lines", "mine.toml"))
    status, said = bench.end_of(client)
    assert status == 1
    assert 'You did not type "my hand is on the plug"' in said
    assert bench.server.device.throttle_frac == 0.0

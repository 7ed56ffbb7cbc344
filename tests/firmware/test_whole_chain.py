"""``gramwatt spin`` against the chip's image: real keeper, real port, real firmware.

The plant of the simulated stand hangs on the emulated chip's pins; hands put the plug
in and open the loop when the run wants it.
"""

import json
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import cast

import pytest

from daq.stand.device import Device
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from tests import built
from tests.served import Bench, served
from tests.wired import Wired
from ui.articles import example_article
from ui.results import analyse_folder

pytestmark = [
    pytest.mark.endtoend,
    pytest.mark.timeout(180),
    pytest.mark.slow,
]


@pytest.fixture
def wired() -> Iterator[Wired]:
    made = Wired(built.emulated_chip())
    yield made
    made.close()


@pytest.fixture
def chip(tmp_path: Path, wired: Wired) -> Iterator[Bench]:
    with served(tmp_path, cast(Device, wired)) as bench:
        yield bench


def true_thrust_gf(pulse_s: float) -> float:
    """What a plant of the same kind gives once it has settled at that pulse."""
    plant = Plant(shipped_truth(), 1)
    plant.advance(3.0, 1.0e-3)
    plant.advance(3.0, pulse_s)
    return plant.state.thrust_n / 9.80665e-3


def test_a_spin_on_the_chip_is_proven_sealed_and_found_out_about(
    chip: Bench, wired: Wired
) -> None:
    status, said = chip.end_of(chip.spin(dwell_s=1.5))
    assert status == 0, said
    assert "ATmega328P" in said
    assert "simulated" not in said.lower()  # its port does not say so
    for guard in ("lease", "damaged frames", "limit on current", "stop loop"):
        assert guard in said
    assert "lease, motor running" in said
    run = chip.run_folder()
    package = json.loads((run / "datapackage.json").read_text("utf-8"))
    assert package["gramwatt"]["outcome"]["ended"] == "completed"
    found = json.loads((run / "derived" / "nominal" / "findings.json").read_text())
    thrust = next(f for f in found if f["id"] == "max-thrust")
    assert abs(thrust["value"] - true_thrust_gf(1.4e-3)) < 3.0
    assert wired.pulses[-1].width_us == pytest.approx(1000.0, abs=1.0)


def test_captures_of_a_spin_come_off_the_chip_as_many_as_it_has_room_for(
    chip: Bench, tmp_path: Path
) -> None:
    """The shipped protocol once through, and what the chip's converter can say."""
    shipped = resources.files("protocols.catalogue").joinpath("supply-noise.toml")
    text = shipped.read_text("utf-8")
    once = text.replace("repeats = 3", "repeats = 1").replace("between = 6.0\n", "")
    protocol = tmp_path / "once.toml"
    protocol.write_text(once, "utf-8")
    article = str(example_article())
    status, said = chip.end_of(
        chip.start(
            "spin",
            str(protocol),
            "--port",
            chip.server.name,
            "--article",
            article,
            "--load-cell-g",
            "1000",
        ),
        patience_s=100.0,
    )
    assert status == 0, said
    # A sample every 26 us at most: half of that rate is what its captures see.
    assert "Between 1 and 19.2 kHz the supply ripples by" in said
    assert "Under the punch the supply dips by" in said
    results = analyse_folder(chip.run_folder())
    assert results.analysis is not None
    sizes = {c.value_si.size for c in results.analysis.evidence.captures}
    assert sizes
    assert max(sizes) <= 256

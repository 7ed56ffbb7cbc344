"""``gramwatt spin`` against the chip's image: real keeper, real port, real firmware.

The plant of the simulated stand hangs on the emulated chip's pins; hands put the plug
in and open the loop when the run wants it.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import cast

import pytest

from daq.stand.device import Device
from tests import built
from tests.served import Bench, served
from tests.wired import Wired

pytestmark = [
    pytest.mark.endtoend,
    pytest.mark.timeout(180),
    pytest.mark.xdist_group("real time"),
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
    truth_gf = 68.0  # the plant's own at 40 %, seen above
    assert abs(thrust["value"] - truth_gf) < 3.0
    assert wired.pulses[-1].width_us == pytest.approx(1000.0, abs=1.0)

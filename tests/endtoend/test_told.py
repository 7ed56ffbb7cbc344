"""What the program prints at a trip, in real time: to a person, and to a program."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.served import PROTOCOL, ROOT

pytestmark = [pytest.mark.endtoend, pytest.mark.timeout(90)]

# The stand is switched on two seconds before the plan at the least: the proof and the
# zeros take longer than that, so a fault at 12 s strikes in a dwell of 30 s.
STRUCK_S = 12.0
DWELL_S = 30.0
FRAME = "!" * 80


def spun(tmp_path: Path, fault: str, *options: str) -> tuple[int, str, str]:
    """Status, standard output and standard error of a spin that goes wrong."""
    protocol, faults = tmp_path / "p.toml", tmp_path / "f.toml"
    protocol.write_text(PROTOCOL.format(dwell_s=DWELL_S), encoding="utf-8")
    text = f'[[fault]]\nkind = "{fault}"\nstart_s = {STRUCK_S}\n'
    faults.write_text(text, encoding="utf-8")
    command = [sys.executable, "-m", "ui.cli.main", "spin", str(protocol)]
    command += ["--simulated", "--faults", str(faults), "--out", str(tmp_path / "runs")]
    done = subprocess.run(
        [*command, *options],
        check=False,
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=80,
    )
    return done.returncode, done.stdout, done.stderr


@pytest.mark.slow
def test_a_thrown_propeller_is_told_in_order(tmp_path: Path) -> None:
    status, out, err = spun(tmp_path, "thrown-propeller")
    assert status == 3
    assert err == ""
    lines = out.splitlines()
    begin = next(n for n, line in enumerate(lines) if line.startswith("TRIP "))
    assert lines[begin] == "TRIP       thrown: throttle to zero now"
    assert lines[begin + 1] == "stop       the stand says: zero, and latched"
    assert lines[begin + 2] == "motor      stands still, by its current and speed"
    assert lines[begin + 3].startswith("TRIPPED    At held throttle the current fell")
    assert lines[-1] == "TRIPPED    thrown; why stands above"
    assert max(len(x) for x in lines if str(tmp_path) not in x) <= 80
    assert "0 of 1 dwell to its end" in out


@pytest.mark.slow
def test_a_cable_that_comes_out_is_an_alarm_even_where_a_program_reads(
    tmp_path: Path,
) -> None:
    status, out, err = spun(tmp_path, "cable-out", "--json")
    assert status == 3
    said = json.loads(out)
    assert said["outcome"]["stop_confirmed"] is False
    assert said["outcome"]["data"] == "none"
    assert err.splitlines()[0] == err.splitlines()[-1] == FRAME
    assert "CUT THE POWER" in err

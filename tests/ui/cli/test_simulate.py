"""``gramwatt simulate`` as a person uses it."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from ui.cli.main import main

FAULTS = '[[fault]]\nkind = "thrown-propeller"\nstart_s = 12.0\n'


@contextmanager
def simulating(*options: str) -> Iterator[subprocess.Popen[str]]:
    with subprocess.Popen(
        [sys.executable, "-m", "ui.cli.main", "simulate", *options],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as program:
        try:
            yield program
        finally:
            program.kill()


def line_of(program: subprocess.Popen[str]) -> str:
    assert program.stdout is not None
    return program.stdout.readline().strip()


def typed(program: subprocess.Popen[str], line: str) -> str:
    """What it prints to a line that a person types."""
    assert program.stdin is not None
    program.stdin.write(line + "\n")
    program.stdin.flush()
    return line_of(program)


def test_it_says_its_port_its_faults_and_what_can_be_typed(tmp_path: Path) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text(FAULTS, "utf-8")
    with simulating("--faults", str(faults)) as program:
        assert line_of(program).startswith("Simulated stand on ")
        assert line_of(program) == "Fault: the propeller is off from 12 s on."
        assert line_of(program) == "Type: plug out, plug in, loop open, loop closed."


def test_it_does_what_is_typed_and_says_so_in_one_line() -> None:
    with simulating() as program:
        line_of(program)
        line_of(program)
        assert typed(program, "plug out") == "The arming plug is out."
        assert typed(program, "  Plug   IN ") == "The arming plug is in."
        assert typed(program, "\nloop open") == "The stop loop is open."
        assert typed(program, "loop closed") == "The stop loop is closed."
        assert typed(program, "plug ot") == (
            '"plug ot" is nothing to do here: plug out, plug in, loop open, loop '
            "closed."
        )


def test_with_json_each_line_is_json() -> None:
    with simulating("--json", "--plug-out") as program:
        told = json.loads(line_of(program))
        assert told["simulated"] is True
        assert set(told) == {"port", "simulated"}
        assert json.loads(typed(program, "plug in")) == {"done": {"plug": "in"}}
        assert list(json.loads(typed(program, "plug"))) == ["error"]


@pytest.mark.skipif(os.name != "posix", reason="signals of a terminal")
def test_it_serves_on_when_nobody_types_any_more_and_ends_with_ctrl_c() -> None:
    with simulating() as program:
        line_of(program)
        line_of(program)
        assert program.stdin is not None
        program.stdin.close()
        with pytest.raises(subprocess.TimeoutExpired):
            program.wait(0.5)
        program.send_signal(signal.SIGINT)
        assert program.wait(20.0) == 0
        assert program.stdout is not None
        assert program.stdout.read().strip() == "The simulated stand is gone."


def test_a_bad_faults_file_is_one_sentence_and_status_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text(FAULTS.replace("start_s", "start"), "utf-8")
    assert main(["simulate", "--faults", str(faults)]) == 1
    said = capsys.readouterr().err
    assert "fault 1: start is not a known key; start_s was probably meant" in said
    assert said.count("\n") == 1


def test_a_capacitor_that_is_not_there_cannot_be_taken_off(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["simulate", "--no-capacitor"]) == 1
    said = capsys.readouterr().err
    assert "no [bus_capacitor]" in said
    assert said.count("\n") == 1

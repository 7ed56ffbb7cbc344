"""``gramwatt watch`` on a line that a sketch prints to."""

import os
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from ui.cli.main import main

DESCRIPTION = """\
format = 1
name = "kitchen stand"
baud = 115200
form = "separated"
separator = "{separator}"
columns = ["load", "us", "warmth"]
rate_hz = 50

[[channel]]
name = "thrust"
column = "load"
unit = "gf"
decimals = 1

[[channel]]
name = "pulse"
column = "us"
unit = "us"
decimals = 0

[[channel]]
name = "shunt"
column = "warmth"
unit = "degC"
decimals = 1
"""
LINE = b"12.5,1200,31.5\n"


class Sketch:
    """Prints fifty lines a second into a pseudo-terminal.

    Attributes:
        port: its name.
    """

    def __init__(self) -> None:
        self._controller, self._terminal = os.openpty()
        tty.setraw(self._terminal)
        self.port = os.ttyname(self._terminal)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._print)
        self._thread.start()

    def _print(self) -> None:
        while not self._over.wait(0.02):
            os.write(self._controller, LINE)

    def end(self) -> None:
        self._over.set()
        self._thread.join()
        os.close(self._controller)
        os.close(self._terminal)


@pytest.fixture
def sketch() -> Iterator[Sketch]:
    made = Sketch()
    yield made
    made.end()


def described(folder: Path, separator: str) -> str:
    made = folder / "mine.toml"
    made.write_text(DESCRIPTION.format(separator=separator))
    return str(made)


def test_every_described_channel_is_shown_in_its_own_unit(
    tmp_path: Path, sketch: Sketch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = described(tmp_path, "comma")
    assert main(["watch", sketch.port, "--lines", lines, "--seconds", "2.2"]) == 0
    shown = capsys.readouterr().out.splitlines()[-1]
    # The piece that it began to listen in is none of the lines.
    assert shown.startswith("0 of ")
    assert shown.endswith(
        " lines not used  thrust 12.5 gf  pulse 1200 us  shunt 31.5 degC"
    )


def test_what_did_not_fit_is_told_also_when_the_seconds_are_over(
    tmp_path: Path, sketch: Sketch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = described(tmp_path, "tab")
    assert main(["watch", sketch.port, "--lines", lines, "--seconds", "0.6"]) == 1
    said = capsys.readouterr().err
    assert "could be used in 0.6 s." in said
    assert "a banner, a heading or another separator: 12.5,1200,31.5." in said

"""Logs recorded elsewhere: analysed like runs, and said to be what they are."""

import contextlib
import io
import json
import os
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from daq.records.read import read_run
from daq.records.wirelog import NAME, Kind, Reader
from daq.stand.faults.stand import FaultyStand
from daq.stand.lines import LineStand
from daq.stand.plant.bench import PlantState
from protocols.recipe import expand, load_recipe
from tests.lined import DESCRIPTION, spin_on_lines
from ui.articles import example_article
from ui.cli.main import main
from ui.results import analyse_folder

ARTICLE = str(example_article())
WITH_PULSE = DESCRIPTION.replace('"amps"]', '"amps", "us"]').replace(
    "[commands]",
    '[[channel]]\nname = "pulse"\ncolumn = "us"\nunit = "us"\ndecimals = 0\n'
    "\n[commands]",
)


@dataclass(frozen=True)
class Printed:
    """A log, and what is true of the motor that it is of.

    Attributes:
        log: what the sketch printed.
        thrust_n: true thrust in the middle of the dwell at 60 %, by the plant.
        bus_v: true voltage there.
        bus_a: true current there.
    """

    log: bytes
    thrust_n: float
    bus_v: float
    bus_a: float


@pytest.fixture(scope="module")
def printed() -> Printed:
    """What a sketch printed while somebody's own program walked a staircase."""
    walked = expand(load_recipe("low-staircase"))
    spin = spin_on_lines(WITH_PULSE, walked=walked)
    stand: object = spin.device
    assert isinstance(stand, LineStand)
    hardware = stand.hardware
    assert isinstance(hardware, FaultyStand)
    begin_s = 0.0
    for segment in walked.segments:
        if segment.kind == "dwell" and segment.end_frac == pytest.approx(0.6):
            break
        begin_s += segment.duration_s
    seen: list[PlantState] = []
    spin.at_walk(begin_s + 1.25, lambda _: seen.append(hardware.bench.state))
    spin.run(90.0)
    text = b"".join(r.data for r in spin.records if r.kind is Kind.BYTES_IN)
    lines = text.splitlines(keepends=True)
    log = b"".join(line for line in lines if not line.startswith(b"#"))
    return Printed(log, seen[0].thrust_n, seen[0].bus_v, seen[0].bus_a)


@pytest.fixture(scope="module")
def log(printed: Printed) -> bytes:
    return printed.log


RECORDED_S = 1_780_000_000


class Bench:
    """A folder with a log and its description."""

    def __init__(self, folder: Path, log: bytes, text: str = WITH_PULSE) -> None:
        self.folder = folder
        self.log = folder / "kept.csv"
        self.log.write_bytes(log)
        # A log's date is its file's, to the minute: the same wherever it is written.
        os.utime(self.log, (RECORDED_S, RECORDED_S))
        self.description = folder / "mine.toml"
        self.description.write_text(text)

    def adopt(self, *more: str) -> int:
        return main(
            [
                "adopt",
                str(self.log),
                "--lines",
                str(self.description),
                "--out",
                str(self.folder / "runs"),
                *more,
            ]
        )

    @property
    def run(self) -> Path:
        (folder,) = (self.folder / "runs").iterdir()
        return folder


@dataclass(frozen=True)
class Adopted:
    """What ``adopt --json`` made of the log.

    Attributes:
        run: the run's folder.
        said: what it printed.
    """

    run: Path
    said: str


@pytest.fixture(scope="module")
def adopted(log: bytes, tmp_path_factory: pytest.TempPathFactory) -> Adopted:
    bench = Bench(tmp_path_factory.mktemp("adopted"), log)
    with contextlib.redirect_stdout(io.StringIO()) as said:
        assert bench.adopt("--json") == 0
    return Adopted(bench.run, said.getvalue())


def test_a_log_is_analysed_like_a_run(
    tmp_path: Path, log: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = Bench(tmp_path, log)
    assert bench.adopt("--article", ARTICLE) == 0
    said = capsys.readouterr().out
    assert "Recorded elsewhere: neither driven nor guarded by gramwatt." in said
    assert "Thrust at 60 % throttle was" in said
    results = analyse_folder(bench.run)
    run = results.run
    assert run.sealed
    assert run.intact
    assert run.adopted is not None
    assert run.adopted["file"] == "kept.csv"
    assert results.analysis is not None
    dwells = [hold for hold in run.holds() if hold.kind == "dwell"]
    assert [(h.leg, h.step) for h in dwells] == [
        *(("up", n) for n in range(5)),
        *(("down", n) for n in reversed(range(5))),
    ]
    page = (bench.run / "derived" / "nominal" / "report.html").read_text()
    assert "Recorded elsewhere: gramwatt neither drove nor guarded this motor." in page


def test_its_figures_cover_what_was_true(adopted: Adopted, printed: Printed) -> None:
    analysis = analyse_folder(adopted.run).analysis
    assert analysis is not None
    found = {finding.id: finding for finding in analysis.findings}
    thrust_gf = printed.thrust_n / 9.80665e-3  # standard gravity, CGPM 1901
    true = {
        "max-thrust": thrust_gf,
        "specific-thrust-at-max": thrust_gf / (printed.bus_v * printed.bus_a),
    }
    for name, value in true.items():
        low, high = found[name].low, found[name].high
        assert low is not None
        assert high is not None
        assert low < value < high


def test_the_log_is_kept_byte_for_byte(adopted: Adopted, log: bytes) -> None:
    records = Reader.open(adopted.run / NAME).records()
    assert b"".join(r.data for r in records if r.kind is Kind.BYTES_IN) == log


def test_json_is_json(adopted: Adopted) -> None:
    said = json.loads(adopted.said)
    assert said["findings"]
    assert Path(said["report"]).is_file()


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (DESCRIPTION, "no channel named pulse"),
        (WITH_PULSE.replace('"comma"', '"tab"'), "no line of it can be used"),
        (WITH_PULSE.replace('"us"\ndecimals = 0', '"ms"\ndecimals = 0'), "held"),
    ],
    ids=["no throttle", "wrong separator", "wrong unit"],
)
def test_what_cannot_be_analysed_is_refused_in_a_sentence(
    tmp_path: Path,
    log: bytes,
    capsys: pytest.CaptureFixture[str],
    text: str,
    wanted: str,
) -> None:
    bench = Bench(tmp_path, log, text)
    if "ms" in text and wanted == "held":
        # Nothing below 1 ms: the throttle would be beyond its range throughout.
        bench.log.write_bytes(b"\n".join(log.splitlines()[:40]))
    assert bench.adopt() == 1
    assert wanted in capsys.readouterr().err
    assert not (tmp_path / "runs").exists()


def test_a_damaged_line_is_counted_and_not_used(
    tmp_path: Path, log: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = log.splitlines(keepends=True)
    lines[100] = lines[100][: len(lines[100]) // 2] + b"\n"
    lines[200] = b"12;3;4\n"
    bench = Bench(tmp_path, b"".join(lines))
    assert bench.adopt() == 0
    run = read_run(bench.run)
    assert "2 lines were not used" in run.not_taken
    assert run.health.frames == len(lines) - 2
    said = " ".join(capsys.readouterr().out.split())
    assert "not used 2 lines were not used: 1 x " in said
    assert main(["findings", str(bench.run)]) == 0
    assert "not used 2 lines were not used: 1 x " in " ".join(
        capsys.readouterr().out.split()
    )


def test_the_same_log_again_needs_another_description_or_article(
    tmp_path: Path, adopted: Adopted, log: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = Bench(tmp_path, log)
    shutil.copytree(adopted.run.parent, tmp_path / "runs")
    assert bench.adopt() == 1
    assert "is this log already, with this description" in capsys.readouterr().err
    assert bench.adopt("--article", ARTICLE) == 0
    bench = Bench(tmp_path, log, f"{WITH_PULSE}\n# read anew\n")
    assert bench.adopt() == 0
    assert len(list((tmp_path / "runs").iterdir())) == 3


def test_a_missing_log_is_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["adopt", str(tmp_path / "none"), "--lines", "x.toml"]) == 1
    assert "there is no such file" in capsys.readouterr().err

"""The command as typed: a whole calibration at a terminal, checks, lists, refusals."""

import argparse
import json
import os
import re
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from daq.calibration.meter import Meter, meter_from
from daq.calibration.readings import Reading
from daq.calibration.standards import masses_of
from daq.errors import InputFault
from daq.link.columns.description import read_description
from daq.machine_clock import MachineClock
from daq.stand.endpoint import open_endpoint
from daq.stand.faults.stand import FaultyStand
from daq.stand.lines import LineStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import SHIPPED_TRUTHS, shipped_truth
from daq.stand.serve import Server
from tests.lined import DESCRIPTION
from ui.calibrating import Calibrating
from ui.calibration_doubts import check_typed
from ui.calibration_known import Known
from ui.cli.calibrate_end import End
from ui.cli.main import main
from ui.simulated_scale import PacedClock

PACE = 6.0
ROOT = Path(__file__).parents[3]
MASSES_G = (20.0, 50.0, 100.0)
STANDARDS = """
format = 1
name = "three masses"
on_axis = true
[gravity]
g_m_s2 = 9.81
u_m_s2 = 0.0001
""" + "".join(
    f'[[mass]]\nname = "{mass_g:g} g"\nmass_g = {mass_g}\noiml_class = "M1"\n'
    for mass_g in MASSES_G
)
NEWTON_A_GRAM = 9.81e-3 * (1.0 - 1.2 / 8000.0)
STEP = re.compile(r"^\s+(\d+)/(\d+)\s")


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "data"))
    return tmp_path / "data"


@pytest.fixture
def standards(tmp_path: Path) -> Path:
    path = tmp_path / "three.toml"
    path.write_text(STANDARDS)
    return path


@pytest.fixture
def stand() -> Iterator[Server[FaultyStand]]:
    """A simulated stand on a real port, faster than real time, its plug out."""
    device = FaultyStand(Plant(shipped_truth(), 1, plug_in=False))
    server = Server(device, open_endpoint(), PacedClock(MachineClock(), PACE))
    thread = threading.Thread(target=server.run)
    thread.start()
    yield server
    server.end()
    thread.join(5.0)


@pytest.fixture
def line_stand() -> Iterator[tuple[Server[LineStand], FaultyStand]]:
    """The same hardware with a sketch that prints lines."""
    hardware = FaultyStand(Plant(shipped_truth(), 1, plug_in=False))
    printing = LineStand(hardware, read_description(DESCRIPTION, "the test"))
    # In real time: a clock of its own that runs fast would pass for restarts.
    server = Server(printing, open_endpoint(), MachineClock())
    thread = threading.Thread(target=server.run)
    thread.start()
    yield server, hardware
    server.end()
    thread.join(5.0)


class Person:
    """Somebody at a terminal who does what is asked, or something else.

    Attributes:
        heard: every line.
    """

    def __init__(
        self,
        server: Server[Any],
        *arguments: str,
        hardware: FaultyStand | None = None,
    ) -> None:
        self.heard: list[str] = []
        self._server = server
        self._hardware = hardware or server.device
        self._hand, terminal = os.openpty()
        self._process = subprocess.Popen(
            [sys.executable, "-m", "ui.cli.main", "calibrate", server.name, *arguments],
            stdin=terminal,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )
        os.close(terminal)

    def type(self, words: str) -> None:
        os.write(self._hand, f"{words}\n".encode())

    def put_on(self, mass_g: float) -> None:
        """Have so many grams on the pan."""

        def act(_: object) -> None:
            self._hardware.bench.placed_load_n = NEWTON_A_GRAM * mass_g

        self._server.between_ticks(act)

    def lines(self) -> Iterator[str]:
        """Lines as they come."""
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self.heard.append(line.rstrip("\n"))
            yield self.heard[-1]

    def obey(self, loads_g: list[float]) -> None:
        """Do each step as it is asked for, these loads in turn."""
        todo = iter(loads_g)
        for line in self.lines():
            if STEP.match(line):
                self.put_on(next(todo))
                self.type("")

    def end(self) -> tuple[int, str]:
        """Exit status, and everything that was said."""
        for _ in self.lines():
            pass
        assert self._process.stdout is not None
        self._process.stdout.close()
        os.close(self._hand)
        status = self._process.wait(20.0)
        return status, " ".join(" ".join(self.heard).split())


UP_AND_DOWN = [0.0, 20.0, 70.0, 170.0, 70.0, 20.0, 0.0]
SHORT = ("--series", "1", "--hold-s", "0")


@pytest.mark.slow
def test_a_calibration_at_a_terminal_is_kept_and_checked(
    stand: Server[FaultyStand], standards: Path, shelf: Path
) -> None:
    person = Person(stand, "thrust", "--standards", str(standards), *SHORT)
    person.obey(UP_AND_DOWN)
    status, said = person.end()
    assert status == 0, said
    assert "look that the voltage is gone" in said
    assert "Set down 100 g. Now 170 g." in said
    assert "the next spin uses it" in said
    assert "set down in one series only" in said
    (kept,) = (shelf / "calibrations").glob("*.json")
    data = json.loads(kept.read_text())
    true = stand.device.bench.true_counts_per_unit["thrust"]
    assert 1.0 / data["coefficients"][0] == pytest.approx(true, rel=1e-3)
    assert data["subject"] == {
        "channel": "thrust",
        "unit": "N",
        "stand_id": stand.device.stand_id,
        "specimen": "",
        "simulated": True,
    }
    # A short check with one mass, by itself, the next morning.
    check = ("thrust", "--standards", str(standards), "--check", "--mass", "50 g")
    person = Person(stand, *check)
    person.obey([0.0, 50.0, 0.0])
    status, said = person.end()
    assert status == 0, said
    assert "The calibration holds." in said
    # Somebody has knocked the arm: two per cent less arrives.
    person = Person(stand, *check, "--json")
    person.obey([0.0, 49.0, 0.0])
    status, said = person.end()
    assert status == 1
    verdict = json.loads(next(x for x in person.heard if x.startswith("{")))
    assert verdict["passed"] is False
    assert verdict["difference_rel"] == pytest.approx(-0.02, abs=2e-3)


@pytest.mark.slow
def test_a_stand_that_prints_lines_is_calibrated_as_well(
    line_stand: tuple[Server[LineStand], FaultyStand],
    standards: Path,
    shelf: Path,
    tmp_path: Path,
) -> None:
    server, hardware = line_stand
    described = tmp_path / "sketch.toml"
    described.write_text(DESCRIPTION)
    lines = ("--lines", str(described))
    person = Person(
        server,
        *("thrust", "--standards", str(standards), *SHORT, *lines),
        hardware=hardware,
    )
    person.obey(UP_AND_DOWN)
    status, said = person.end()
    assert status == 0, said
    (kept,) = (shelf / "calibrations").glob("*.json")
    data = json.loads(kept.read_text())
    # The sketch prints gram-force by the nominal gain, to a tenth.
    gain = hardware.bench.true_counts_per_unit["thrust"] / 43_800.0
    newton = data["coefficients"][0] / (0.1 * 9.80665e-3)
    assert newton * gain == pytest.approx(1.0, rel=2e-3)


@pytest.mark.slow
def test_a_slip_is_named_and_the_steps_can_be_taken_back(
    stand: Server[FaultyStand], standards: Path, shelf: Path
) -> None:
    person = Person(stand, "thrust", "--standards", str(standards), *SHORT)
    loads = [0.0, 20.0, 170.0, 70.0, 70.0, 20.0, 0.0]  # 100 g before 50 g
    back = 5  # ignored while steps are taken back
    for line in person.lines():
        if "u takes steps back" in line:
            # Back to before the second load: five readings.
            loads, back = [70.0, 170.0, 70.0, 20.0, 0.0], 0
            person.type("\n".join("uuuuu"))
        elif line.strip() == "back":
            back += 1
        elif STEP.match(line) and back == 5:
            person.put_on(loads.pop(0))
            person.type("")
    status, said = person.end()
    assert status == 0, said
    assert "that is 243 % of 70 g" in said  # at once, and again at the end
    assert "the two were exchanged" in said
    assert list((shelf / "calibrations").glob("*.json"))


@pytest.mark.slow
def test_what_was_read_is_kept_when_it_is_left_and_goes_on(
    stand: Server[FaultyStand], standards: Path, shelf: Path
) -> None:
    two = ("thrust", "--standards", str(standards), "--series", "2", "--hold-s", "0")
    person = Person(stand, *two)
    loads = iter([*UP_AND_DOWN, 0.0, 20.0])
    for line in person.lines():
        if STEP.match(line):
            load_g = next(loads, None)
            if load_g is None:
                person.type("q")
            else:
                person.put_on(load_g)
                person.type("")
    status, said = person.end()
    assert status == 1
    assert "9 readings are kept" in said
    unfinished = shelf / "unfinished" / "thrust.json"
    person = Person(stand, *two, "--resume", str(unfinished))
    person.obey(UP_AND_DOWN)
    status, said = person.end()
    assert status == 0, said
    assert "7 of 9 readings go on" in said


def test_with_the_supply_on_nothing_is_taken(
    stand: Server[FaultyStand], standards: Path, shelf: Path
) -> None:
    def plug_in(device: FaultyStand) -> None:
        device.plug_in = True

    stand.between_ticks(plug_in)
    person = Person(stand, "thrust", "--standards", str(standards), *SHORT)
    for line in person.lines():
        if STEP.match(line):
            person.type("")
        elif "supply is on" in line:
            person.type("q")
    status, said = person.end()
    assert status == 1
    assert "hands are at the propeller" in said
    assert not shelf.exists()


def test_a_port_that_goes_away_ends_it_with_a_sentence(
    stand: Server[FaultyStand], standards: Path, shelf: Path
) -> None:
    person = Person(stand, "thrust", "--standards", str(standards), *SHORT)
    steps = 0
    for line in person.lines():
        if STEP.match(line):
            steps += 1
            if steps == 2:
                stand.end()
            else:
                person.type("")
    status, said = person.end()
    assert status == 1
    assert "is gone" in said
    assert "1 reading is kept" in said


def test_a_simulated_stand_is_calibrated_by_itself_and_used_by_its_spin(
    shelf: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["calibrate", "--simulated", "voltage", "--points", "3", "--json"]) == 0
    said = capsys.readouterr()
    made = json.loads(said.out)["calibration"]
    assert made["subject"]["specimen"] == "indoor_quad, seed 1"
    assert "the meter reads" in said.err
    true = Plant(shipped_truth(), 1).true_counts_per_unit["voltage"]
    assert 1.0 / made["coefficients"][1] == pytest.approx(true, rel=0.006)

    assert main(["calibrate", "--list", "--json"]) == 0
    (row,) = json.loads(capsys.readouterr().out)
    assert row["id"] == made["id"]
    assert row["simulated"] is True
    assert main(["calibrate", "--list"]) == 0
    assert "SIMULATED, indoor_quad, seed 1, 0 days old" in capsys.readouterr().out
    assert main(["calibrate", "--show", made["id"]]) == 0
    assert "the meter's scale" in " ".join(capsys.readouterr().out.split())


@pytest.mark.slow
def test_current_by_volts_across_a_known_load(
    shelf: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load = [
        "--load-ohm",
        "0.1",
        "--load-u-ohm",
        "0.0005",
        "--meter",
        "0.5% + 1 x 0.001",
    ]
    asked = ["calibrate", "--simulated", "current", "--points", "4", *load, "--json"]
    assert main(asked) == 0
    said = json.loads(capsys.readouterr().out)["calibration"]
    true = Plant(shipped_truth(), 1).true_counts_per_unit["current"]
    assert 1.0 / said["coefficients"][1] == pytest.approx(true, rel=0.02)
    assert said["facts"]["load_ohm"] == 0.1


def rough(tmp_path: Path, **tables: dict[str, float]) -> str:
    """The rough truth with tables added, as a file."""
    path = tmp_path / "stand.toml"
    text = (SHIPPED_TRUTHS / "rough.toml").read_text(encoding="utf-8")
    for name, keys in tables.items():
        text += f"\n[{name}]\n" + "".join(f"{k} = {v}\n" for k, v in keys.items())
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.mark.slow
@pytest.mark.parametrize(
    "options",
    [
        pytest.param(["--meter", "0.5% + 2 x 0.1"], id="millivolt at the contacts"),
        pytest.param(
            [
                "--meter",
                "0.5% + 1 x 0.01",
                "--load-ohm",
                "0.005",
                "--load-u-ohm",
                "0.00002",
            ],
            id="ampere through a known resistor",
        ),
    ],
)
def test_an_amplifier_of_the_plug_is_calibrated_in_millivolt(
    options: list[str], shelf: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["calibrate", "--simulated", "--truth", "rough", "plug-minus"]
    assert main([*asked, "--points", "4", *options, "--json"]) == 0
    said = capsys.readouterr()
    made = json.loads(said.out)["calibration"]
    assert made["subject"]["unit"] == "V"
    true = Plant(shipped_truth("rough"), 1)
    assert true.plug is not None
    # Its own gain is good to 0.1 %, meter and resistor to half a per cent.
    assert 1.0 / made["coefficients"][1] == pytest.approx(400_000.0, rel=0.012)
    words = " ".join(said.err.split())
    if "--load-ohm" in options:
        assert "minus pole across the known resistor" in words
        assert "the meter reads 7.4" in words
    else:
        assert "type the millivolt" in words
        assert " mV" in words


def test_what_is_typed_in_millivolt_is_a_voltage_with_the_meters_digits() -> None:
    known = Known("plug-plus", Meter(0.5, 2, 0.1))
    reference = known.reference({0: 10.0, 1: 20.0})
    assert list(reference.value_si) == pytest.approx([0.010, 0.020])
    assert [level.name for level in reference.levels] == ["10 mV", "20 mV"]
    # Two digits of 0.1 mV and half a per cent are bounds: GUM 4.3.7.
    u_v = float(reference.covariance()[1, 1]) ** 0.5
    assert u_v == pytest.approx(((0.2e-3) ** 2 + (0.1e-3) ** 2) ** 0.5 / 3**0.5)


def test_ampere_through_a_known_resistor_is_a_voltage() -> None:
    known = Known("plug-minus", Meter(0.5, 1, 0.01, 0.005, 2e-5))
    assert known.typed_in == "A"
    reference = known.reference({0: 2.0, 1: 10.0})
    assert list(reference.value_si) == pytest.approx([0.010, 0.050])
    assert "across the known resistor" in known.steps(points=3)[1].words


def test_a_slip_of_unit_at_the_plug_is_said() -> None:
    known = Known("plug-plus", meter_from("0.5% + 2 x 0.1"))
    assert (known.typed_in, known.typed_si, known.unit) == ("mV", 1e-3, "V")
    with pytest.raises(InputFault, match=r"reads 15 mV, and 0\.015 was typed"):
        check_typed(0.015, (), 15.0, known.typed_in, direct=True)


@pytest.mark.slow
def test_the_voltage_in_front_of_the_plug_is_calibrated(
    tmp_path: Path, shelf: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    truth = rough(
        tmp_path,
        pack_voltage_sensor={
            "counts_per_v": 1000.0,
            "gain_error": 0.01,
            "gain_tolerance_rel": 0.01,
            "zero_error_counts": 20.0,
            "noise_counts_rms": 2.0,
        },
    )
    asked = ["calibrate", "--simulated", "--truth", truth, "pack-voltage"]
    assert main([*asked, "--points", "3", "--meter-name", "bench", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)["calibration"]
    assert 1.0 / made["coefficients"][1] == pytest.approx(1010.0, rel=0.006)
    gains = [cause for cause in made["causes"] if cause["alone"]]
    assert [cause["name"] for cause in gains] == ["scale of the meter bench in V"]


def test_two_mountings_are_compared_and_the_difference_is_kept(
    shelf: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from daq.calibration.text import to_text
    from daq.records.kept import keep
    from tests.daq.calibration.invented import Cell, made

    first, second = made(Cell()), made(Cell(counts_per_n=43_500.0 / 1.01), seed=2)
    for one in (first, second):
        keep(one.id, to_text(one))
    both = ["calibrate", "--compare", first.id, second.id]
    assert main(both) == 1
    assert "--changed" in capsys.readouterr().err
    assert main([*both, "--changed", "mount reversed", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["difference_rel"] == pytest.approx(0.01, abs=1e-4)
    assert said["component_rel"] == pytest.approx(0.005, rel=0.05)
    assert main(["calibrate", "--show", said["id"]]) == 0
    assert "mount reversed: 1 % more" in capsys.readouterr().out
    assert main(["calibrate", "--compare", first.id, first.id, "--changed", "x"]) == 1
    assert "cannot be compared with itself" in capsys.readouterr().err


def test_one_that_is_less_well_known_than_the_one_before_says_so(
    shelf: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from tests.daq.calibration.invented import Cell, club_masses, made

    good = made(Cell())
    # Nothing said of a lever, which costs 0.58 %.
    poor = made(Cell(), reference=masses_of(club_masses(lever=None)))
    model = Calibrating("thrust", (), needs_supply_off=True)
    end = End(argparse.Namespace(out=None, json=False), model, print)
    assert end.keep(good) == 0
    assert "serves again" not in capsys.readouterr().out
    assert end.keep(poor) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"The one before it, {good.id}, was known to" in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["p", "thrust"], "name their file with --standards"),
        (["p", "voltage"], "say how good it is"),
        (["p", "plug-plus"], "the digit in millivolt"),
        (["p", "voltage", "--meter", "good"], "is no accuracy"),
        (
            ["p", "voltage", "--meter", "0.5%", "--load-ohm", "1"],
            "for current and for the plug",
        ),
        (["p", "current", "--meter", "0.5%", "--load-ohm", "1"], "cannot serve"),
        (["p", "current", "--meter", "0.5%", "--points", "2"], "--points is 2"),
        (["--simulated", "thrust", "--series", "0"], "--series is 0"),
        (["--simulated", "thrust", "--hold-s", "-1"], "--hold-s is -1"),
        (["--simulated", "thrust", "--lines", "x.toml"], "--lines is for a port"),
        (["--show", "thrust-2020-01-01-abcdef"], "No calibration"),
        (["--show", "no-such-file.json"], "there is no such file"),
        (["--simulated", "thrust", "--check"], "there is nothing to check"),
        (["--simulated", "thrust", "--check", "--mass", "1 kg"], 'no mass "1 kg"'),
    ],
)
def test_what_cannot_be_is_refused_with_one_sentence(
    arguments: list[str], words: str, shelf: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["calibrate", *arguments]) == 1
    said = " ".join(capsys.readouterr().err.split())
    assert words in said


@pytest.mark.parametrize(
    "arguments", [[], ["p"], ["p", "torque"], ["--simulated", "p", "thrust"]]
)
def test_wrong_usage_is_two(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["calibrate", *arguments])
    assert ended.value.code == 2
    assert "one of thrust, current, voltage, pack-voltage" in capsys.readouterr().err


def test_the_example_standards_can_be_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from daq.calibration.standards import masses_of, read_standards

    assert main(["calibrate", "--example-standards"]) == 0
    path = tmp_path / "masses.toml"
    path.write_text(capsys.readouterr().out)
    assert len(masses_of(read_standards(path)).levels) == 5
    assert main(["calibrate", "--list"]) == 0


@pytest.mark.slow
def test_a_simulated_stand_that_a_busy_machine_holds_up_is_asked_again(
    shelf: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    held_up: list[float] = []
    through = Calibrating.poll

    def poll(model: Calibrating, now_s: float) -> Reading | None:
        if model.taking and len(model.readings) == 1 and not held_up:
            held_up.append(now_s)
            model._give_up("The stand has stopped sending; look at its cable.")
        return through(model, now_s)

    monkeypatch.setattr(Calibrating, "poll", poll)
    asked = ["calibrate", "--simulated", "current", "--points", "3"]
    assert main(asked) == 0
    said = capsys.readouterr().out
    assert held_up
    assert said.count("2/4  Set current 1 of 3") == 2
    assert "has stopped sending" in said

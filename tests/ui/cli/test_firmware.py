"""``gramwatt firmware`` as a builder uses it."""

import json
import re
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

from daq.firmware import build
from daq.firmware.constants import TEMPLATE, kept, read_constants
from daq.firmware.lockstep import Lockstep
from daq.link import messages as m
from daq.link.framing import Deframer, frame
from tests import built
from ui.cli.main import main

ROOT = Path(__file__).parents[3]
OWN_ID = 0x0A17


@pytest.fixture
def filled_in(tmp_path: Path) -> Path:
    """A constants file with something of its own."""
    text = TEMPLATE.read_text("utf-8")
    made = tmp_path / "mine.toml"
    made.write_text(
        text.replace("# stand_id = 0x00000a17", f"stand_id = {OWN_ID}").replace(
            "shunt_milliohm = 2.0", "shunt_milliohm = 5.0"
        ),
        "utf-8",
    )
    return made


def test_the_folder_has_sketch_pages_and_constants(tmp_path: Path) -> None:
    folder = tmp_path / "stand"
    assert main(["firmware", str(folder)]) == 0
    names = {path.name for path in (folder / "gramwatt_stand").iterdir()}
    assert {"gramwatt_stand.ino", "stand.c", "atmega328p.c", "wire.h"} <= names
    assert (folder / "constants.toml").read_bytes() == TEMPLATE.read_bytes()
    page = (folder / "README.md").read_text("utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", page):
        assert (folder / target).exists(), target


def test_a_builder_reads_how_far_the_parts_reach(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # 100 mV/A and a divider by 4 at 5 V: 50 A and 20 V, 1024 steps (README, section 2).
    assert main(["firmware", str(tmp_path), "--constants", str(TEMPLATE)]) == 0
    said = capsys.readouterr().out
    assert "; reads to 50 A in steps of 48.8 mA" in said
    assert "; reads to 20 V in steps of 19.5 mV" in said
    # 2^23 counts of 2147484 at 1000 g.
    assert "; reads to 3910 gf" in said
    assert "WARNING" not in said


@pytest.mark.parametrize(
    ("change", "wanted"),
    [
        (("shunt_milliohm = 2.0", "shunt_milliohm = 0.002"), "current up to 50000 A"),
        (("upper_kohm = 30.0", "upper_kohm = 3000"), "voltage up to 1500 V"),
        (("capacity_g = 1000.0", "capacity_g = 1"), "thrust up to 3.91 gf"),
        (("per_v = 1.0", "per_v = 10"), "ends at 391 gf, before the cell's 1000 g"),
    ],
)
def test_a_value_in_a_wrong_unit_is_doubted_aloud(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    change: tuple[str, str],
    wanted: str,
) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(TEMPLATE.read_text("utf-8").replace(*change), "utf-8")
    assert main(["firmware", str(tmp_path / "it"), "--constants", str(wrong)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert said.count("WARNING") == 1
    assert wanted in said


def test_a_speed_of_the_line_without_an_image_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["firmware", str(tmp_path / "it"), "--baud", "115200"]) == 1
    assert "--baud 115200 goes with --hex" in capsys.readouterr().err
    assert not (tmp_path / "it").exists()


def test_asked_twice_it_has_nothing_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["firmware", str(tmp_path)]) == 0
    capsys.readouterr()
    assert main(["firmware", str(tmp_path)]) == 0
    assert "holds all of it already" in capsys.readouterr().out


def test_what_a_person_changed_is_refused_then_kept_beside(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["firmware", str(tmp_path)])
    edited = tmp_path / "gramwatt_stand" / "channels.c"
    for number, old in ((1, "channels.c.old"), (2, "channels.c.old2")):
        edited.write_text(f"mine {number}", "utf-8")
        assert main(["firmware", str(tmp_path)]) == 1
        said = capsys.readouterr().err
        assert str(Path("gramwatt_stand") / "channels.c") in said
        assert "--replace" in said
        assert edited.read_text("utf-8") == f"mine {number}"
        assert main(["firmware", str(tmp_path), "--replace"]) == 0
        assert edited.with_name(old).read_text("utf-8") == f"mine {number}"
        assert edited.read_bytes() == (build.HERE / "core/channels.c").read_bytes()


def test_a_constants_file_that_was_filled_in_stays(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["firmware", str(tmp_path)])
    own = tmp_path / "constants.toml"
    own.write_text("format = 1\nstand_id = 7\n", "utf-8")
    capsys.readouterr()
    assert main(["firmware", str(tmp_path), "--replace"]) == 0
    assert "yours, left as it was" in capsys.readouterr().out
    assert own.read_text("utf-8") == "format = 1\nstand_id = 7\n"


def test_wrong_constants_write_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong, folder = tmp_path / "wrong.toml", tmp_path / "stand"
    wrong.write_text("format = 1\n[curent]\n", "utf-8")
    assert main(["firmware", str(folder), "--constants", str(wrong)]) == 1
    said = capsys.readouterr().err
    assert f"{wrong}: curent is not a known key" in said
    assert said.count("\n") == 1
    assert not folder.exists()


def test_a_folder_that_cannot_be_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("", "utf-8")
    assert main(["firmware", str(tmp_path / "file")]) == 1
    assert "cannot be written" in capsys.readouterr().err


def test_without_a_compiler_it_says_what_to_install(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert main(["firmware", str(tmp_path / "stand"), "--hex"]) == 1
    said = capsys.readouterr().err
    assert "avr-gcc is not installed" in said
    assert "gcc-avr" in said
    assert (tmp_path / "stand" / "gramwatt_stand" / "stand.c").exists()


def test_json_says_the_same(
    tmp_path: Path, filled_in: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "stand"
    options = ["--constants", str(filled_in), "--json"]
    assert main(["firmware", str(folder), *options]) == 0
    done = json.loads(capsys.readouterr().out)
    assert done["files"][str(folder / "constants.eep")] == "written"
    current = next(c for c in done["channels"] if c["name"] == "current")
    assert current["counts_per_unit"] == pytest.approx(819.2)
    assert current["standard_uncertainty_percent"] is None
    assert any("Propeller off" in caution for caution in done["cautions"])


def test_the_images_do_what_they_are_for(
    tmp_path: Path, filled_in: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On the emulated chip: the writer's image fills the EEPROM and leaves the number
    of starts alone; with that memory the stand's image is what the file describes."""
    built.chip(), built.emulator()  # or skip
    folder = tmp_path / "my stand"
    options = ["--constants", str(filled_in), "--hex"]
    assert main(["firmware", str(folder), *options]) == 0
    said = capsys.readouterr().out
    for name in ("stand-atmega328p.hex", "constants.hex", "constants.eep"):
        assert f"w:{folder / name}:i'" in said  # quoted: the path has a space
        assert (folder / name).exists()
    assert "Propeller off" in said
    memory = written_by(folder / "constants.elf")
    blocks = kept(read_constants(filled_in))
    for address, data in blocks.items():
        assert memory[address : address + len(data)] == data
    assert memory[8:16] == b"\xff" * 8
    assert set(memory[128:]) == {0xFF}
    identity, current = told_by(folder / "stand-atmega328p.elf", memory)
    assert (identity.stand_id, identity.boot) == (OWN_ID, 1)
    assert current.counts_per_unit == pytest.approx(819.2)


def written_by(image: Path) -> bytes:
    """What the EEPROM holds after an image ran for a second."""
    board = Lockstep([str(built.emulator()), str(image), "500000", "100", "0"])
    try:
        told = board.run(1_000_000)
        assert not told.pulses
        ((_, digits),) = board.ask("kept? 0 160").other
    finally:
        board.close()
    return bytes.fromhex(digits)


def told_by(image: Path, memory: bytes) -> tuple[m.Identity, m.ChannelPage]:
    """What a stand with that memory says of itself and of its current."""
    board = Lockstep(build.emulated(built.emulator(), image))
    try:
        board.ask(f"kept 0 {memory.hex()};reset 1")
        board.run(20_000)
        board.send(b"\0" + frame(m.encode(m.Who(), 0)))
        said = Deframer().feed(b"\0" + board.run(60_000).sent)
    finally:
        board.close()
    messages = [m.decode_from_stand(payload) for payload in said]
    identity = next(one for one in messages if isinstance(one, m.Identity))
    pages = (one for one in messages if isinstance(one, m.ChannelPage))
    return identity, next(page for page in pages if page.name == "current")


@pytest.mark.slow
def test_a_wheel_has_all_of_it(tmp_path: Path) -> None:
    """Built as for an index, unpacked, and run from there alone."""
    source = tmp_path / "source"
    parts = ("daq", "protocols", "ui")
    for part in parts:
        shutil.copytree(
            ROOT / part, source / part, ignore=shutil.ignore_patterns("__pycache__")
        )
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    pip = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps"]
    pip += ["--wheel-dir", str(tmp_path), str(source)]
    done = subprocess.run(pip, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    (wheel,) = tmp_path.glob("*.whl")
    zipfile.ZipFile(wheel).extractall(tmp_path / "site")
    site = str(tmp_path / "site")
    code = (
        "import sys; sys.path[:0] = [sys.argv[1]]; import ui.cli.main as m; "
        "import daq.firmware.build as b; own = b.__file__.startswith(sys.argv.pop(1)); "
        "sys.exit(m.main() if own else 'not the wheel')"
    )
    run = [sys.executable, "-P", "-c", code, site, "firmware", "stand", "--json"]
    # The project's own folder may not help.
    done = subprocess.run(
        run,
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={"PYTHONPATH": sysconfig.get_path("purelib"), "PATH": ""},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    laid = {Path(name).name for name in json.loads(done.stdout)["files"]}
    here = {path.name for path in build.sketch_sources()}
    assert laid == here | {"README.md", "link.md", "wiring.svg", "constants.toml"}

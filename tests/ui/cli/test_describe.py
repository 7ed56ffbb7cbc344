"""``gramwatt describe`` as a person uses it, on logs."""

import io
import json
import sys
from pathlib import Path

import pytest
from typing_extensions import override

from daq.errors import GramwattError
from daq.link.columns.description import read_description
from daq.link.columns.proposal import looks_like_lines
from ui.cautions import HAND_ON_PLUG, HAND_WORDS
from ui.cli import checklist
from ui.cli.main import main

HEADED = "t_ms,load_g,bus_V,amps_A\n" + "".join(
    f"{n * 100},{n % 7}.5,12.{n % 10},0.{n % 10}5\n" for n in range(60)
)


def test_a_log_with_a_heading_needs_nothing_filled_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log, out = tmp_path / "kept.csv", tmp_path / "mine.toml"
    log.write_text(HEADED)
    assert main(["describe", str(log), "--out", str(out), "--name", "kitchen"]) == 0
    described = read_description(out.read_text(), "mine.toml")
    assert described.name == "kitchen"
    assert [c.name for c in described.channels] == ["thrust", "voltage", "current"]
    said = " ".join(capsys.readouterr().err.split())
    assert "check in" in said
    assert "what says guessed" in said


def test_it_prints_where_no_file_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "kept.csv"
    log.write_text(HEADED)
    assert main(["describe", str(log)]) == 0
    said = capsys.readouterr()
    assert read_description(said.out, "it").form == "separated"
    assert '# throttle = "T{percent:.1f}\\n"' in said.out


def test_the_commands_that_it_shows_are_right_when_uncommented(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "kept.csv"
    log.write_text(HEADED)
    main(["describe", str(log)])
    text = capsys.readouterr().out
    for key in ("[commands]", "throttle =", "stop =", "keep_alive"):
        text = text.replace(f"# {key}", key)
    assert read_description(text, "it").commands.throttle == "T{percent:.1f}\n"


def test_a_file_that_is_there_is_not_overwritten(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log, out = tmp_path / "kept.csv", tmp_path / "mine.toml"
    log.write_text(HEADED)
    out.write_text("mine")
    assert main(["describe", str(log), "--out", str(out)]) == 1
    assert "is there already" in capsys.readouterr().err
    assert out.read_text() == "mine"


@pytest.mark.parametrize("seconds", ["0", "nan", "1e9"])
def test_a_senseless_time_is_refused(
    seconds: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["describe", "nowhere", "--seconds", seconds]) == 1
    assert "must be 0.5 to 600" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "content", "wanted"),
    [
        ("kept.csv", b"", "kept.csv: the file is empty"),
        ("kept.csv", b"\xff\x80" * 99, "198 bytes are in it, but only 0 whole lines"),
        ("kept.csv", None, "there is no such file, and no such port"),
        (".", None, "is a folder; name a log in it, or a port"),
    ],
)
def test_what_is_no_log_is_told_of_a_file_and_not_of_a_port(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    name: str,
    content: bytes | None,
    wanted: str,
) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    assert main(["describe", str(tmp_path / name)]) == 1
    assert wanted in capsys.readouterr().err


def test_of_a_log_the_next_step_is_to_adopt_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "kept.csv"
    log.write_text(HEADED)
    main(["describe", str(log), "--out", str(tmp_path / "mine.toml")])
    said = " ".join(capsys.readouterr().err.split())
    assert "Name the channel that holds the throttle pulse" in said
    assert f"gramwatt adopt {log} --lines {tmp_path / 'mine.toml'}" in said
    log.write_text(HEADED.replace("amps_A", "pulse_us"))
    main(["describe", str(log)])
    said = " ".join(capsys.readouterr().err.split())
    assert "Name the channel" not in said


def test_json_holds_the_description_and_what_was_seen(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log, out = tmp_path / "kept.csv", tmp_path / "mine.toml"
    log.write_text(HEADED)
    assert main(["describe", str(log), "--json", "--out", str(out)]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["description"] == out.read_text()
    assert (said["file"], said["to_fill_in"]) == (str(out), 0)
    assert "steps like a clock" in " ".join(said["seen"])


def test_noise_does_not_look_like_lines() -> None:
    assert looks_like_lines(HEADED.encode())
    assert not looks_like_lines(bytes(range(256)) * 20)
    assert not looks_like_lines(b"")
    assert not looks_like_lines(b"12,3\n" * 3)


# --------------------------------------------------------------- the declaration


class Typed(io.StringIO):
    """A terminal at which somebody types."""

    @override
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    "typed",
    [
        "my hand is on the plug\n",
        ' My  hand is on the plug."\n',
        "y\nmy hand is on the plug\n",
    ],
)
def test_the_words_have_to_be_typed(
    monkeypatch: pytest.MonkeyPatch, typed: str
) -> None:
    monkeypatch.setattr(sys, "stdin", Typed(typed))
    checklist.declare(HAND_ON_PLUG, HAND_WORDS)


@pytest.mark.parametrize("typed", ["yes\n" * 5, "no\n", "", "my hand\n" * 3])
def test_less_than_the_words_is_a_no(
    monkeypatch: pytest.MonkeyPatch, typed: str
) -> None:
    monkeypatch.setattr(sys, "stdin", Typed(typed))
    with pytest.raises(GramwattError, match="Nothing was armed"):
        checklist.declare(HAND_ON_PLUG, HAND_WORDS)


def test_nobody_there_types_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("my hand is on the plug\n"))
    with pytest.raises(GramwattError, match="a person at a terminal"):
        checklist.declare(HAND_ON_PLUG, HAND_WORDS)

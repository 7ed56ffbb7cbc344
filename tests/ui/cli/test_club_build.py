"""``gramwatt club build``: what a person reads, and what a program does."""

import argparse
import json
from pathlib import Path

import pytest

from daq.errors import InputFault
from tests.club.invented import invented, zipped
from ui.cli import club


def called(*words: str | Path) -> int:
    parser = argparse.ArgumentParser(prog="gramwatt")
    club.add_parser(parser.add_subparsers(required=True))
    args = parser.parse_args(["club", *(str(word) for word in words)])
    status = args.run(args)
    assert isinstance(status, int)
    return status


@pytest.fixture
def bundles(tmp_path: Path) -> Path:
    """Two bundles, a run that came twice, and a file that is none."""
    folder = tmp_path / "bundles"
    (folder / "older").mkdir(parents=True)
    shared = invented(6)
    zipped(shared[:4], folder / "b-1.zip")
    zipped(shared[4:], folder / "older" / "b-2.zip")
    zipped(shared[:1], folder / "twice.zip")
    (folder / "bad.zip").write_bytes(b"nothing")
    return folder


def test_it_says_what_was_built_and_what_was_refused(
    bundles: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "site"
    assert called("build", bundles, "--out", site, "--name", "Tern Lane") == 0
    told = capsys.readouterr().out.splitlines()
    assert told[0].startswith("Refused bad.zip: ")
    assert told[1].startswith("6 runs, 1 came twice, 1 bundle refused; ")
    assert told[2] == str(site / "index.html")
    assert "Tern Lane" in (site / "index.html").read_text("utf-8")
    copied = sorted(p.relative_to(site).as_posix() for p in site.rglob("*.zip"))
    assert copied == ["bundles/b-1.zip", "bundles/older/b-2.zip"]


def test_built_again_nothing_is_written(
    bundles: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "site"
    called("build", bundles, "--out", site, "--json")
    first = json.loads(capsys.readouterr().out)
    called("build", bundles, "--out", site, "--json")
    again = json.loads(capsys.readouterr().out)
    assert first["runs"] == again["runs"] == 6
    assert [one["bundle"] for one in again["refused"]] == ["bad.zip"]
    assert again["files"] == {
        "written": 0,
        "left": first["files"]["written"],
        "removed": 0,
    }


def test_a_site_among_its_own_bundles_is_refused(bundles: Path) -> None:
    with pytest.raises(InputFault, match="Give another folder with --out"):
        called("build", bundles, "--out", bundles / "site")


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match="There is no folder"):
        called("build", tmp_path / "none", "--out", tmp_path / "site")


@pytest.mark.parametrize("name", ["", "  ", "x" * 81])
def test_a_club_has_a_name_of_reasonable_length(
    bundles: Path, tmp_path: Path, name: str
) -> None:
    with pytest.raises(InputFault, match="--name takes a text"):
        called("build", bundles, "--out", tmp_path / "site", "--name", name)

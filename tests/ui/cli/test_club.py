"""``gramwatt club build``: as whoever keeps the club's folder uses it."""

import json
from pathlib import Path

import pytest

from tests.bundles import packed, together
from ui.cli.main import main


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with one good bundle and one that is none."""
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "shelf"))
    made = tmp_path / "bundles"
    made.mkdir()
    (made / "good.zip").write_bytes(together(packed(tables_only=True)))
    (made / "bad.zip").write_text("<script>")
    return made


def test_build_says_what_is_in_the_site_and_what_was_refused(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "site"
    asked = ["club", "build", str(folder), "--out", str(out), "--name", "Tern Lane"]
    assert main(asked) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "refused bad.zip: It does not end as a bundle does" in said
    assert "1 run, 1 bundle refused" in said
    assert said.endswith(str(out / "index.html"))
    assert "Tern Lane" in (out / "index.html").read_text("utf-8")
    assert main([*asked, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["runs"] == 1
    assert told["files"]["written"] == 0
    assert told["refused"][0]["bundle"] == "bad.zip"
    assert told["round_robins"] == []


def test_the_site_offers_the_very_bundle(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "site"
    assert main(["club", "build", str(folder), "--out", str(out)]) == 0
    copy = out / "bundles" / "good.zip"
    assert copy.read_bytes() == (folder / "good.zip").read_bytes()
    assert not (out / "bundles" / "bad.zip").exists()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--out", "IN/site"], "lies in"),
        (["--name", " "], "the club's name has 1 to 80"),
        (["--agreement", "none.json"], "there is no such file"),
    ],
)
def test_what_cannot_be_built_is_one_sentence(
    more: list[str],
    words: str,
    folder: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    more = [part.replace("IN", str(folder)) for part in more]
    asked = ["club", "build", str(folder), "--out", str(tmp_path / "site"), *more]
    assert main(asked) == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert words in said


def test_a_folder_that_is_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["club", "build", str(tmp_path / "none")]) == 1
    assert "there is no folder" in capsys.readouterr().err

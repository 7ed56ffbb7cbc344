"""``gramwatt bundle``: the parts of the command, as a person uses them."""

import json
from pathlib import Path

import pytest

from tests.bundles import SAMPLES, packed, together, with_entry
from ui.cli.main import main

SAMPLE = str(SAMPLES / "short-staircase-a")


@pytest.fixture(autouse=True)
def _own_shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "shelf"))


def test_pack_sign_trust_and_check(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    out = tmp_path / "mine.zip"
    asked = ["bundle", "pack", SAMPLE, "--tables-only", "--sign", "--out", str(out)]
    assert main([*asked, "--by", "bench 2", "--licence", "CC0-1.0"]) == 0
    said = capsys.readouterr().out
    assert "rests on   simulated" in said
    assert said.splitlines()[-1] == str(out)
    assert main(["bundle", "check", str(out)]) == 0
    assert "Signed by you (" in capsys.readouterr().out
    assert main(["bundle", "key"]) == 0
    digits, key = capsys.readouterr().out.splitlines()
    # From here on at a friend's.
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "friend"))
    assert main(["bundle", "check", str(out)]) == 0
    said = capsys.readouterr().out
    assert "somebody whose key you do not keep" in " ".join(said.split())
    assert main(["bundle", "trust", "Anna", key]) == 0
    assert capsys.readouterr().out.split("  ")[0] in digits
    assert main(["bundle", "check", str(out)]) == 0
    assert "Signed by Anna" in capsys.readouterr().out
    assert main(["bundle", "check", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["signature"].startswith("Signed by Anna")
    assert told["runs"][0]["rederived"] is False


def test_a_refused_bundle_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bundle = tmp_path / "x.zip"
    bundle.write_text("<script>")
    assert main(["bundle", "check", str(bundle)]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "x.zip is refused: it does not end as a bundle does" in said.err


def test_a_name_without_its_key(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bundle", "trust", "Anna"]) == 1
    assert "a name comes with its key" in capsys.readouterr().err


def test_nobody_is_kept_at_first(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bundle", "trust"]) == 0
    assert "Nobody is kept" in capsys.readouterr().out


def test_a_strangers_text_reaches_no_terminal_as_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def change(entry: dict[str, object]) -> None:
        article = entry["article"]
        assert isinstance(article, dict)
        article["name"] = "\x1b[2Jgone\u202egnp"

    bundle = tmp_path / "x.zip"
    bundle.write_bytes(together(with_entry(packed(tables_only=True), change)))
    # 4: the line in the table at the top is still the article's own.
    assert main(["bundle", "check", str(bundle)]) == 4
    said = capsys.readouterr().out
    assert "?[2Jgone?gnp" in said
    assert "\x1b" not in said


def test_there_is_nothing_to_unpack_where_there_are_no_logs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bundle = tmp_path / "x.zip"
    bundle.write_bytes(together(packed(tables_only=True)))
    out = tmp_path / "runs"
    assert main(["bundle", "unpack", str(bundle), "--out", str(out)]) == 1
    assert "has no wire log" in capsys.readouterr().out
    assert not out.exists()


@pytest.mark.slow
def test_unpack_puts_the_runs_there_and_says_where_figures_differ(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def better(entry: dict[str, object]) -> None:
        findings = entry["findings"]
        assert isinstance(findings, list)
        findings[0]["value"] *= 1.2
        findings[0]["high"] *= 1.2

    bundle = tmp_path / "x.zip"
    bundle.write_bytes(together(with_entry(packed(), better)))
    out = tmp_path / "runs"
    assert main(["bundle", "unpack", str(bundle), "--out", str(out)]) == 4
    said = capsys.readouterr().out
    assert "the sender says" in said
    (run,) = out.iterdir()
    assert said.splitlines()[-1] == str(run)
    assert main(["findings", str(run)]) == 0

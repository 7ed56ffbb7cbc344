"""Calibrations on the shelf: whole, once, and nothing outside of it."""

from pathlib import Path

import pytest

from daq.errors import InputFault, WorldFault
from daq.records import kept


@pytest.fixture(autouse=True)
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "data"))
    return tmp_path / "data"


def test_what_is_kept_comes_back_in_order_of_names(shelf: Path) -> None:
    assert list(kept.kept()) == []
    for name in ("b-2", "a-1"):
        path = kept.keep(name, f"text of {name}")
        assert path == shelf / "calibrations" / f"{name}.json"
    assert [text for _, text in kept.kept()] == ["text of a-1", "text of b-2"]


def test_what_is_there_under_that_name_is_not_written_again() -> None:
    kept.keep("a", "first")
    kept.keep("a", "second")
    assert [text for _, text in kept.kept()] == ["first"]


def test_checks_stand_beside_and_spoilt_lines_are_left_out(shelf: Path) -> None:
    assert kept.checks("a") == []
    kept.keep("a", "x")
    for passed in (True, False):
        kept.add_check("a", {"passed": passed})
    path = shelf / "calibrations" / "a.checks.jsonl"
    path.write_text(path.read_text() + '{"passed":\n[1]\n')
    assert kept.checks("a") == [{"passed": True}, {"passed": False}]
    assert len(list(kept.kept())) == 1


def test_what_was_left_unfinished_replaces_what_was_left_before() -> None:
    kept.keep_unfinished("thrust", "one")
    path = kept.keep_unfinished("thrust", "two")
    assert path.read_text() == "two"
    assert [p.name for p in path.parent.iterdir()] == ["thrust.json"]


@pytest.mark.parametrize("name", ["", "../a", "a/b", "a.b", "a\n"])
def test_no_name_leads_outside(name: str) -> None:
    for act in (kept.checks, lambda n: kept.keep(n, "x")):
        with pytest.raises(InputFault, match="no identity"):
            act(name)


def test_a_shelf_that_cannot_be_made_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "file"))
    for act in (
        lambda: kept.keep("a", "x"),
        lambda: kept.add_check("a", {}),
        lambda: kept.keep_unfinished("thrust", "x"),
    ):
        with pytest.raises(WorldFault, match="cannot be"):
            act()
    assert list(kept.kept()) == []

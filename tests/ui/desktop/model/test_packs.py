"""What is packed, where to, and what is said of it before anything is written."""

from pathlib import Path

import pytest

from tests.ui.desktop.run_folders import make_run
from ui.club.packing import LICENCES
from ui.desktop.model import packs
from ui.desktop.model.rows import Row, read_row


@pytest.fixture
def rows(tmp_path: Path) -> list[Row]:
    names = ("2026-05-09-b", "2026-05-08-a")
    return [read_row(make_run(tmp_path, name)) for name in names]


def test_only_a_sealed_run_can_be_packed_and_the_others_say_why(
    tmp_path: Path,
) -> None:
    sealed = read_row(make_run(tmp_path, "sealed"))
    is_open = read_row(make_run(tmp_path, "open", outcome=None))
    broken = read_row(tmp_path)
    assert [packs.may_pack(row) for row in (sealed, is_open, broken)] == [
        True,
        False,
        False,
    ]
    assert packs.why_not(sealed) == ""
    assert packs.why_not(is_open).startswith("Not sealed: its keeper was cut off")
    assert packs.why_not(broken) == "It has no datapackage.json."


def test_every_licence_that_packing_knows_is_offered_and_none_first() -> None:
    assert list(packs.LICENCE_WORDS) == ["", *LICENCES]


def test_a_file_is_named_after_the_first_run_and_over_nothing(
    rows: list[Row], tmp_path: Path
) -> None:
    first = packs.file_for(rows, tmp_path)
    assert first.name == "2026-05-08-a-and-1-more.zip"
    first.touch()
    assert packs.file_for(rows, tmp_path).name == "2026-05-08-a-and-1-more-2.zip"
    assert packs.file_for(rows[:1], tmp_path).name == "2026-05-09-b.zip"


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("a.zip", "/home/a.zip"),
        ("a", "/home/a.zip"),
        (" /tmp/b.ZIP ", "/tmp/b.ZIP"),
        ("/tmp/my.runs", "/tmp/my.runs.zip"),
    ],
)
def test_what_is_typed_becomes_a_bundles_name(typed: str, found: str) -> None:
    assert packs.typed_file(typed, Path("/home")) == Path(found)


def test_what_lacks_is_said_in_the_order_in_which_it_is_done(rows: list[Row]) -> None:
    assert packs.lacking([], "", "") == (
        "Tick the runs that are to be packed: space, in the table."
    )
    assert packs.lacking(rows, "a\nb", "x") == (
        "A name to be known by has at most 80 plain characters."
    )
    assert packs.lacking(rows, "Wren", " ") == "Say where the bundle is to be written."
    assert packs.lacking(rows, "Wren", "x.zip") == ""


def test_what_goes_along_and_what_stays_changes_sides_as_it_is_asked_for() -> None:
    goes, stays = packs.goes_and_stays(tables_only=False, keep_notes=False)
    assert packs.GOES_RAW in goes
    assert packs.NOTES_STAY in stays
    assert "port names and folders" in stays
    goes, stays = packs.goes_and_stays(tables_only=True, keep_notes=True)
    assert packs.GOES_RAW not in goes
    assert packs.STAYS_RAW in stays
    assert packs.NOTES_GO in goes
    assert packs.NOTES_STAY not in stays


def test_that_runs_are_simulated_is_said_while_they_are_chosen(
    rows: list[Row], tmp_path: Path
) -> None:
    assert packs.chosen_words([]) == "No run is chosen."
    assert packs.chosen_words(rows) == (
        "2 runs chosen, simulated: the bundle says so everywhere."
    )
    real = read_row(make_run(tmp_path, "real", simulated=False))
    assert packs.chosen_words([real]) == "1 run chosen."
    assert packs.chosen_words([real, rows[0]]) == (
        "2 runs chosen, 1 of them simulated: the bundle says which."
    )


@pytest.mark.parametrize(
    ("size", "words"), [(2_178_486, "2.2 MB"), (99_900, "100 kB"), (512, "1 kB")]
)
def test_sizes_are_told_in_decimal_units(size: int, words: str) -> None:
    assert packs.size_words(size) == words

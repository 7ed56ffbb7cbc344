"""The library: rows out of folders in any state, filtered, sorted, looked at again."""

import json
import math
import os
import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.records.wirelog import WireLog
from tests.ui.desktop.run_folders import (
    COMPLETED,
    TRIPPED,
    add_findings,
    finding,
    make_run,
)
from ui.desktop.model import rows as rows_module
from ui.desktop.model.labels import Label, path_of, write_label
from ui.desktop.model.library import COLUMNS, Library, filtered, ordered
from ui.desktop.model.rows import GONE, OPEN, UNREADABLE, Row, read_row


def looked(*folders: Path) -> Library:
    return Library(folders).looked_again()


def told(before: Library, after: Library) -> dict[str, set[str]]:
    """What another look brought: names of runs that are new, changed and gone."""
    old = {row.name: row for row in before.rows if row.ended != GONE}
    new = {row.name: row for row in after.rows if row.ended != GONE}
    return {
        "new": new.keys() - old.keys(),
        "changed": {name for name in new.keys() & old.keys() if new[name] != old[name]},
        "gone": {row.name for row in after.rows if row.ended == GONE},
    }


NOTHING: dict[str, set[str]] = {"new": set(), "changed": set(), "gone": set()}


# ------------------------------------------------------------------ one row


def test_a_row_says_what_was_tested_how_and_how_it_ended(tmp_path: Path) -> None:
    row = read_row(make_run(tmp_path, "a", outcome=TRIPPED))
    assert row.article == "Indoor quad, motor A"
    assert row.protocol == "short-staircase"
    assert (row.ended, row.data) == ("tripped", "partial")
    assert row.meaning == "Current rose above 12 A."
    assert row.date == "2026-05-09 14:02 UTC"
    # 2026-05-09T14:02:00Z by date(1): date -u -d ... +%s
    assert row.when_s == 1778335320.0
    assert row.kind == "simulated"
    assert row.figures == {}
    assert row.derived is None


def test_a_stop_that_was_not_confirmed_is_said(tmp_path: Path) -> None:
    outcome = {**COMPLETED, "stop_confirmed": False}
    assert "not confirmed" in read_row(make_run(tmp_path, "a", outcome=outcome)).meaning


def test_key_figures_come_with_their_intervals(tmp_path: Path) -> None:
    run = make_run(tmp_path, "a")
    add_findings(
        run,
        finding("max-thrust", 284.5, 11.2, "gf"),
        finding("specific-thrust-at-max", 2.495, 0.11, "g/W"),
        finding("sag", 0.9864, 0.022, "V"),
    )
    figures = read_row(run).figures
    assert figures["thrust"].plus_minus == "284 ± 11"  # GUM 7.2.6: two digits
    assert figures["thrust"].interval == "284 gf (95 % interval 273 to 296 gf)"
    assert figures["best"].words == "2.50"  # the best is missing: the one at most
    assert figures["sag"].unit == "V"


@pytest.mark.parametrize(
    "row",
    [
        {"id": "max-thrust", "value": "1", "low": 0, "high": 2},
        {"id": "max-thrust", "value": 1},
        {"id": "max-thrust", "value": 5, "low": 0, "high": 2},
        {"id": ["max-thrust"]},
        {"id": "max-thrust", "value": float("nan"), "low": 0, "high": 2},
        7,
    ],
)
def test_a_finding_that_is_none_gives_no_figure(tmp_path: Path, row: object) -> None:
    run = make_run(tmp_path, "a")
    add_findings(run, row)
    assert read_row(run).figures == {}


def test_the_newest_analysis_counts_and_half_of_one_does_not(tmp_path: Path) -> None:
    run = make_run(tmp_path, "a")
    for age, name, value in ((3, "older", 1.0), (1, "newer", 2.0), (0, "x.new", 3.0)):
        path = add_findings(run, finding("max-thrust", value, 0.1, "gf"), analysis=name)
        os.utime(path, (1000 - age, 1000 - age))
    row = read_row(run)
    assert row.derived == run / "derived" / "newer"
    assert row.figures["thrust"].value == 2.0


def test_what_is_open_says_whether_it_is_being_recorded(tmp_path: Path) -> None:
    left = make_run(tmp_path, "left", outcome=None)
    row = read_row(left)
    assert row.ended == OPEN
    assert "keeper was ended" in row.meaning
    busy = make_run(tmp_path, "busy", outcome=None)
    (busy / "wire.log").unlink()
    log = WireLog(busy / "wire.log")
    try:
        assert read_row(busy).meaning == "It is being recorded now."
    finally:
        log.close()


def test_other_peoples_and_unprotected_runs_say_so(tmp_path: Path) -> None:
    task = {"plan": {"protocol": "glide"}, "lines": "[channels]"}
    unprotected = read_row(
        make_run(tmp_path, "a", simulated=False, more={"task": task})
    )
    assert (unprotected.unprotected, unprotected.elsewhere) == (True, False)
    assert unprotected.kind == "unprotected"
    elsewhere = read_row(
        make_run(
            tmp_path,
            "b",
            simulated=False,
            more={"task": {"lines": "x"}, "adopted": {"file": "log.csv"}},
            outcome={"ended": "elsewhere", "data": "elsewhere"},
        )
    )
    assert (elsewhere.unprotected, elsewhere.elsewhere) == (False, True)
    assert elsewhere.protocol == "a log"
    bare = {"task": {"plan": {"protocol": "idle-spin", "propeller_off": True}}}
    assert read_row(make_run(tmp_path, "c", more=bare)).bare


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("datapackage.json", b"{", "it is no JSON"),
        ("datapackage.json", b"[" * 100_000, "nested too deeply"),
        ("datapackage.json", b"\xff", "it is no JSON"),
        ("datapackage.json", b"[]", "describes no run"),
        ("datapackage.json", b'{"gramwatt": {"header": 3}}', "describes no run"),
        ("datapackage.json", None, "has no datapackage.json"),
        ("wire.log", None, "has no wire.log"),
    ],
)
def test_a_broken_folder_is_a_row_that_says_why(
    tmp_path: Path, name: str, content: bytes | None, words: str
) -> None:
    run = make_run(tmp_path, "a")
    if content is None:
        (run / name).unlink()
    else:
        (run / name).write_bytes(content)
    row = read_row(run)
    assert row.ended == UNREADABLE
    assert words in row.meaning
    assert not row.readable
    assert looked(tmp_path).rows == (row,)


def test_a_descriptor_without_end_is_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rows_module, "MOST_BYTES", 100)
    assert "too large" in read_row(make_run(tmp_path, "a")).meaning


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(
    article=_JSON, protocol=_JSON, utc=_JSON, outcome=_JSON, rows=_JSON, sealed=_JSON
)
def test_whatever_a_stranger_wrote_becomes_a_row_on_one_line(
    article: object,
    protocol: object,
    utc: object,
    outcome: object,
    rows: object,
    sealed: object,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    folder = tmp_path_factory.mktemp("run")
    header = {"utc": utc, "article": article, "task": {"plan": {"protocol": protocol}}}
    facts = {"header": header, "outcome": outcome, "sealed": sealed}
    (folder / "datapackage.json").write_text(json.dumps({"gramwatt": facts}))
    (folder / "wire.log").write_bytes(b"")
    path = add_findings(folder)
    path.write_text(json.dumps(rows))
    row = read_row(folder)
    for text in (row.article, row.protocol, row.ended, row.meaning, row.data):
        assert isinstance(text, str)
        assert "\n" not in text
        assert "\u202e" not in text  # nothing turns the reading direction
    for column in COLUMNS:
        assert ordered([row], column) == [row]
    assert filtered([row], "no such word") == []


# ------------------------------------------------------------------ folders


def test_runs_of_several_folders_are_listed_newest_first(tmp_path: Path) -> None:
    first = make_run(tmp_path / "one", "a", utc="2026-05-01T10:00:00+00:00")
    second = make_run(tmp_path / "two", "b", utc="2026-05-02T10:00:00+00:00")
    third = make_run(tmp_path / "two", "c", utc="no date")
    (tmp_path / "two" / "pictures").mkdir()
    (tmp_path / "two" / ".hidden").mkdir()
    library = looked(tmp_path / "one", tmp_path / "two", tmp_path / "two")
    assert [row.folder for row in library.rows] == [second, first, third]
    assert library.troubles == ()


def test_a_folder_that_is_a_run_itself_is_that_run(tmp_path: Path) -> None:
    run = make_run(tmp_path, "a")
    assert [row.folder for row in looked(run).rows] == [run]


def test_a_folder_that_is_not_there_yet_is_empty(tmp_path: Path) -> None:
    library = looked(tmp_path / "runs")
    assert (library.rows, library.troubles) == ((), ())


def test_a_folder_that_cannot_be_looked_into_is_said(tmp_path: Path) -> None:
    path = tmp_path / "a file"
    path.write_text("")
    assert "cannot be looked into" in looked(path).troubles[0]


def test_a_look_tells_what_is_new_changed_and_gone(tmp_path: Path) -> None:
    kept, lost = make_run(tmp_path, "kept"), make_run(tmp_path, "lost")
    library = looked(tmp_path)
    again = library.looked_again()
    assert told(library, again) == NOTHING
    add_findings(kept, finding("sag", 1.0, 0.1, "V"))
    make_run(tmp_path, "fresh")
    shutil.rmtree(lost)
    later = again.looked_again()
    assert told(again, later) == {
        "new": {"fresh"},
        "changed": {"kept"},
        "gone": {"lost"},
    }
    row = later.row_of(lost)
    assert row is not None
    assert (row.ended, row.readable) == (GONE, False)
    assert "deleted, moved or renamed" in row.meaning
    assert row.article == "Indoor quad, motor A"
    last = later.looked_again()
    assert told(later, last) == NOTHING  # told once
    assert last.row_of(lost) is None


def test_a_run_that_comes_back_is_there_again(tmp_path: Path) -> None:
    run = make_run(tmp_path / "runs", "a")
    library = looked(tmp_path / "runs")
    run.rename(tmp_path / "away")
    library = library.looked_again()
    (tmp_path / "away").rename(run)
    back = library.looked_again()
    assert told(library, back) == {**NOTHING, "new": {"a"}}
    assert back.rows[0].ended == "completed"


def test_only_what_changed_is_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in "abc":
        make_run(tmp_path, name)
    library = looked(tmp_path)
    read: list[Path] = []

    def reading(folder: Path) -> Row:
        read.append(folder)
        return read_row(folder)

    monkeypatch.setattr("ui.desktop.model.library.read_row", reading)
    write_label(tmp_path / "b", Label(("windy",), ""))
    library.looked_again()
    assert read == [tmp_path / "b"]


def test_an_open_run_is_looked_at_each_time(tmp_path: Path) -> None:
    """Its keeper may end without touching the descriptor."""
    run = make_run(tmp_path, "a", outcome=None)
    (run / "wire.log").unlink()
    log = WireLog(run / "wire.log")
    library = looked(tmp_path)
    assert library.rows[0].meaning == "It is being recorded now."
    log.close()
    again = library.looked_again()
    assert told(library, again) == {**NOTHING, "changed": {"a"}}
    assert "keeper was ended" in again.rows[0].meaning


def test_a_label_is_taken_up_at_once(tmp_path: Path) -> None:
    run = make_run(tmp_path, "a")
    library = looked(tmp_path)
    write_label(run, Label(("windy",), "Rough."))
    labelled = library.labelled(run)
    assert labelled.rows[0].label.tags == ("windy",)
    assert told(labelled, labelled.looked_again()) == NOTHING
    path_of(run).write_text("{")
    assert "damaged" in labelled.labelled(run).rows[0].remark


def test_a_label_written_while_its_row_is_read_is_there_at_the_next_look(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_run(tmp_path, "a")

    def read_just_before(folder: Path) -> Row:
        row = read_row(folder)
        write_label(folder, Label(("windy",), ""))
        return row

    with monkeypatch.context() as patched:
        patched.setattr("ui.desktop.model.library.read_row", read_just_before)
        late = looked(tmp_path)
    assert late.rows[0].label.tags == ()
    assert late.looked_again().rows[0].label.tags == ("windy",)


def test_the_wire_log_is_never_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_run(tmp_path, "a")
    opened: list[str] = []
    real = Path.open

    def opening(self: Path, *args: object, **kwargs: object) -> object:
        opened.append(self.name)
        return real(self, *args, **kwargs)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", opening)
    looked(tmp_path)
    assert "datapackage.json" in opened
    assert "wire.log" not in opened


# ------------------------------------------------------------------ filter and sort


@pytest.fixture
def three(tmp_path: Path) -> list[Row]:
    make_run(tmp_path, "a", article="Quad ä", utc="2026-05-01T10:00:00+00:00")
    b = make_run(tmp_path, "b", article="quad B", protocol="glide", outcome=TRIPPED)
    c = make_run(tmp_path, "c", article="", utc="?")
    write_label(b, Label(("windy",), "Second pack."))
    add_findings(b, finding("max-thrust", 300.0, 10.0, "gf"))
    add_findings(c, finding("max-thrust", 90.0, 10.0, "gf"))
    return list(looked(tmp_path).rows)


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("", "bac"),
        ("QUAD", "ba"),
        ("quad glide", "b"),
        ("ä", "a"),
        ("a\u0308", "a"),  # the same letter, otherwise composed
        ("WINDY", "b"),
        ("pack second", "b"),
        ("tripped", "b"),
        ("quad completed", "a"),
        ("simulated", "bac"),
        ("quad nonsense", ""),
    ],
)
def test_every_typed_word_has_to_be_found(
    three: list[Row], typed: str, found: str
) -> None:
    assert "".join(row.name for row in filtered(three, typed)) == found


@pytest.mark.parametrize(
    ("column", "rising", "falling"),
    [
        ("thrust", "cba", "bca"),
        ("date", "abc", "bac"),
        ("name", "abc", "cba"),
        ("tags", "bac", "bac"),
    ],
)
def test_what_has_nothing_there_is_last_either_way(
    three: list[Row], column: str, rising: str, falling: str
) -> None:
    assert "".join(r.name for r in ordered(three, column)) == rising
    down = ordered(three, column, descending=True)
    assert "".join(r.name for r in down) == falling


@given(
    st.lists(
        st.tuples(st.floats(), st.text(max_size=3), st.sampled_from(["a", "b", ""])),
        max_size=12,
    ),
    st.sampled_from(sorted(COLUMNS)),
    st.booleans(),
)
def test_sorting_loses_no_row_and_agrees_with_its_column(
    found: list[tuple[float, str, str]], column: str, descending: bool
) -> None:
    rows = [
        Row(Path(f"/r/{number}"), when_s=when_s, article=article, ended=ended)
        for number, (when_s, article, ended) in enumerate(found)
    ]
    after = ordered(rows, column, descending=descending)
    assert sorted(r.folder for r in after) == sorted(r.folder for r in rows)
    keys = [COLUMNS[column](row) for row in after]
    there = [
        k for k in keys if k != "" and not (isinstance(k, float) and math.isnan(k))
    ]
    assert keys[: len(there)] == there
    assert there == sorted(there, reverse=descending)

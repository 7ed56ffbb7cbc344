"""Tags and notes: kept beside the record, never in it, and never a reason to fail."""

import json
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from daq.errors import WorldFault
from daq.records.folder import DESCRIPTOR, hash_of
from daq.records.wirelog import NAME as WIRE_LOG
from tests.ui.desktop.run_folders import make_run
from ui.desktop.model.labels import (
    MOST_BYTES,
    MOST_TAGS,
    NOTE,
    NOTHING,
    TAG,
    Label,
    label_of,
    path_of,
    read_label,
    typed_tags,
    write_label,
)


@pytest.fixture
def run(tmp_path: Path) -> Path:
    return make_run(tmp_path, "a-run")


def test_what_is_kept_is_read_back(run: Path) -> None:
    label = Label(("indoor", "second pack"), "Rough at 60 %.\nLook at the bearing.")
    write_label(run, label)
    assert read_label(run) == (label, "")


@given(tags=st.lists(st.text(), max_size=40), note=st.text())
def test_any_text_is_read_back_as_it_was_kept(
    tags: list[str], note: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("run")
    label = label_of(tags, note)
    write_label(folder, label)
    assert read_label(folder) == (label, "")
    assert len(label.tags) <= MOST_TAGS
    assert all(0 < len(tag) <= TAG for tag in label.tags)
    assert len(label.note) <= NOTE
    assert typed_tags(", ".join(label.tags)) == label.tags


def test_the_record_is_not_touched(run: Path) -> None:
    before = [hash_of(run / name) for name in (WIRE_LOG, DESCRIPTOR)]
    write_label(run, Label(("windy",), ""))
    assert [hash_of(run / name) for name in (WIRE_LOG, DESCRIPTOR)] == before
    assert path_of(run).parent == run / "derived"
    assert [path.name for path in path_of(run).parent.iterdir()] == ["label.json"]


def test_a_tag_is_there_once_however_it_is_spelt() -> None:
    assert typed_tags("Indoor; indoor,  INDOOR , windy,,") == ("Indoor", "windy")


def test_an_empty_label_takes_its_file_away(run: Path) -> None:
    write_label(run, Label(("windy",), ""))
    write_label(run, NOTHING)
    assert not path_of(run).exists()
    assert read_label(run) == (NOTHING, "")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"{", "is damaged"),
        (b"[1]", "is damaged"),
        (b"\xff\xfe", "is damaged"),
        (b"[" * 100_000, "too large"),
        (b"[" * 30_000, "is damaged"),
        (b" " * (MOST_BYTES + 1), "too large"),
    ],
)
def test_what_cannot_be_read_is_forgotten_and_said(
    run: Path, content: bytes, words: str
) -> None:
    path_of(run).parent.mkdir()
    path_of(run).write_bytes(content)
    label, said = read_label(run)
    assert label == NOTHING
    assert words in said
    write_label(run, Label(("fresh",), ""))
    assert read_label(run) == (Label(("fresh",), ""), "")


@example(tags=["0;;0"], note=[])
@given(
    tags=st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    ),
    note=st.recursive(st.integers() | st.text(), st.lists),
)
def test_fields_that_are_something_else_are_left_out(
    tags: object, note: object, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("run")
    (folder / "derived").mkdir()
    content = {"format": 1, "tags": tags, "note": note}
    path_of(folder).write_text(json.dumps(content), encoding="utf-8")
    label, said = read_label(folder)
    assert said == ""
    assert label == label_of(label.tags, label.note)


def test_what_a_newer_one_wrote_is_left_as_it_is(run: Path) -> None:
    path_of(run).parent.mkdir()
    path_of(run).write_text('{"format": 2, "tags": ["kept"]}', encoding="utf-8")
    assert "newer gramwatt" in read_label(run)[1]
    with pytest.raises(WorldFault, match="newer gramwatt"):
        write_label(run, Label(("mine",), ""))
    assert "kept" in path_of(run).read_text(encoding="utf-8")


def test_a_run_that_is_gone_is_not_made_again(run: Path, tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    with pytest.raises(WorldFault, match="is gone"):
        write_label(gone, Label(("mine",), ""))
    assert not gone.exists()


def test_a_place_that_cannot_be_written_is_said(run: Path) -> None:
    (run / "derived").write_text("a file where a folder should be", encoding="utf-8")
    with pytest.raises(WorldFault, match="were not kept"):
        write_label(run, Label(("mine",), ""))

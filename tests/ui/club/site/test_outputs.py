"""Only what changed is written, and nothing that was not ours is removed."""

import hashlib
import json
from pathlib import Path

import pytest

from daq.errors import InputFault, WorldFault
from ui.club.site.outputs import MANIFEST, Output, digest, write_all


def output(path: str, text: str) -> Output:
    """A file that is made of its own content."""
    return Output(path, digest(text), text.encode)


def test_what_is_unchanged_is_neither_made_nor_written_again(tmp_path: Path) -> None:
    first = write_all(tmp_path, [output("a.txt", "1"), output("b/c.txt", "2")])
    assert (first.written, first.left, first.removed) == (2, 0, 0)

    def never() -> bytes:
        raise AssertionError("made again")

    again = write_all(
        tmp_path,
        [Output("a.txt", digest("1"), never), Output("b/c.txt", digest("2"), never)],
    )
    assert (again.written, again.left, again.removed) == (0, 2, 0)


def test_what_comes_out_the_same_is_not_written(tmp_path: Path) -> None:
    write_all(tmp_path, [output("a.txt", "1")])
    before = (tmp_path / "a.txt").stat().st_mtime_ns
    done = write_all(tmp_path, [Output("a.txt", "other", b"1".strip)])
    assert done.written == 0
    assert (tmp_path / "a.txt").stat().st_mtime_ns == before


def test_what_was_lost_is_written_again(tmp_path: Path) -> None:
    write_all(tmp_path, [output("a.txt", "1")])
    (tmp_path / "a.txt").unlink()
    assert write_all(tmp_path, [output("a.txt", "1")]).written == 1


def test_a_copy_has_the_hash_that_was_checked_or_is_none(tmp_path: Path) -> None:
    bundle = tmp_path / "b.zip"
    bundle.write_bytes(b"as checked")
    sha256 = hashlib.sha256(b"as checked").hexdigest()
    site = tmp_path / "site"
    copy = Output("bundles/b.zip", digest(sha256), bundle, sha256)
    assert write_all(site, [copy]).written == 1
    (site / "bundles" / "b.zip").unlink()
    bundle.write_bytes(b"replaced")
    with pytest.raises(WorldFault, match="changed meanwhile"):
        write_all(site, [copy])
    assert not list((site / "bundles").iterdir())


def test_what_is_no_longer_wanted_goes_and_nothing_else(tmp_path: Path) -> None:
    write_all(tmp_path, [output("a.txt", "1"), output("b.txt", "2")])
    (tmp_path / "mine.txt").write_text("3")
    assert write_all(tmp_path, [output("a.txt", "1")]).removed == 1
    left = sorted(path.name for path in tmp_path.iterdir())
    assert left == sorted(["a.txt", MANIFEST, "mine.txt"])


def test_a_folder_with_other_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    with pytest.raises(InputFault, match="no site of gramwatt's"):
        write_all(tmp_path, [output("a.txt", "1")])
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "site").write_text("")
    with pytest.raises(InputFault, match="is a file"):
        write_all(tmp_path / "site", [])


@pytest.mark.parametrize("manifest", ["", "[]", "{}", '{"files": 3}', "\x80"])
def test_a_manifest_that_cannot_be_read_is_refused(
    tmp_path: Path, manifest: str
) -> None:
    (tmp_path / MANIFEST).write_text(manifest, encoding="latin-1")
    with pytest.raises(InputFault, match="cannot be read as the list"):
        write_all(tmp_path, [])


@pytest.mark.parametrize(
    "name", ["../kept.txt", "/etc/passwd", "..", "a/../../kept.txt", "C:x", "", "a\\b"]
)
def test_a_manifest_of_a_stranger_removes_nothing_outside(
    tmp_path: Path, name: str
) -> None:
    kept = tmp_path / "kept.txt"
    kept.write_text("kept")
    site = tmp_path / "site"
    site.mkdir()
    files = {name: "x", "old.txt": "y"}
    (site / MANIFEST).write_text(json.dumps({"files": files}))
    (site / "old.txt").write_text("old")
    done = write_all(site, [])
    assert done.removed == 1
    assert kept.read_text() == "kept"


def test_a_link_to_somewhere_else_is_not_followed_when_removing(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / "a.txt").write_text("kept")
    site = tmp_path / "site"
    site.mkdir()
    (site / "away").symlink_to(kept)
    (site / MANIFEST).write_text(json.dumps({"files": {"away/a.txt": "x"}}))
    assert write_all(site, []).removed == 0
    assert (kept / "a.txt").read_text() == "kept"


def test_who_is_ended_halfway_goes_on_from_there(tmp_path: Path) -> None:
    def broken() -> bytes:
        raise OSError(28, "No space left on device")

    with pytest.raises(WorldFault, match="No space left"):
        write_all(tmp_path, [output("a.txt", "1"), Output("b.txt", "x", broken)])
    done = write_all(tmp_path, [output("a.txt", "1"), output("b.txt", "2")])
    assert (tmp_path / "b.txt").read_text() == "2"
    assert done.written == 1


def test_a_copy_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    with pytest.raises(WorldFault, match="cannot be written"):
        write_all(tmp_path / "site", [Output("a.zip", "x", tmp_path / "none.zip")])

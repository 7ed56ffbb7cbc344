"""A folder of bundles: what is taken in, and why the rest is not."""

import json
import zipfile
from pathlib import Path

import pytest

from tests.club.invented import invented, zipped
from ui.club.library import shared_in


def with_content(path: Path, content: object) -> None:
    """A zip with such entries in it."""
    with zipfile.ZipFile(path, "w") as bundle:
        bundle.writestr("shared.json", json.dumps(content))


def test_runs_come_out_as_they_went_in(tmp_path: Path) -> None:
    shared = invented(3)
    zipped(shared, tmp_path / "b.zip")
    found, refused = shared_in(tmp_path)
    assert not refused
    assert [one.entry for one in found] == [one.entry for one in shared]
    assert {one.bundle for one in found} == {"b.zip"}
    assert all(one.by == shared[0].by for one in found)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        ([], "is no table"),
        ({}, "lists no runs"),
        ({"runs": []}, "lists no runs"),
        ({"runs": [{}]}, "Run 1 of it"),
        ({"runs": [{"format": 1}]}, "Run 1 of it"),
        ({"by": 5, "runs": [invented(1)[0].entry.to_dict()]}, "Its by is no text"),
        ({"by": "x" * 121, "runs": [invented(1)[0].entry.to_dict()]}, "Its by"),
    ],
)
def test_what_is_not_as_it_must_be_is_refused_whole(
    tmp_path: Path, content: object, why: str
) -> None:
    with_content(tmp_path / "b.zip", content)
    found, refused = shared_in(tmp_path)
    assert not found
    assert [one.bundle for one in refused] == ["b.zip"]
    assert why in refused[0].why


def test_one_bad_run_refuses_its_whole_bundle(tmp_path: Path) -> None:
    good = invented(1)[0].entry.to_dict()
    with_content(tmp_path / "b.zip", {"runs": [good, {**good, "utc": "yesterday"}]})
    found, refused = shared_in(tmp_path)
    assert not found
    assert "Run 2 of it" in refused[0].why


@pytest.mark.parametrize("text", ["", "{", "NaN"])
def test_what_is_no_json_is_refused(tmp_path: Path, text: str) -> None:
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as bundle:
        bundle.writestr("shared.json", text)
    found, refused = shared_in(tmp_path)
    assert not found
    assert len(refused) == 1


def test_links_are_not_followed(tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    zipped(invented(1), elsewhere / "b.zip")
    folder = tmp_path / "bundles"
    folder.mkdir()
    (folder / "b.zip").symlink_to(elsewhere / "b.zip")
    assert shared_in(folder) == ([], [])

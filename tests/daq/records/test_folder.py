"""A run's folder is a valid Data Package at every moment of its life."""

import json
import warnings
from pathlib import Path

import pytest

from daq.errors import RecordFault, WorldFault
from daq.records import folder as folders
from daq.records.wirelog import NAME, Kind, WireLog

HEADER = {"utc": "2026-05-09T14:02:00+00:00", "simulated": True, "format": 1}


def assert_valid_package(folder: Path) -> None:
    """By an independent validator of the Data Package standard."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from frictionless import Package

        # Our own PROFILE address is checked by name, not fetched.
        content = json.loads((folder / "datapackage.json").read_text())
        assert content.pop("$schema") == folders.PROFILE
        errors = list(Package.metadata_validate(content))
        assert list(Package.metadata_validate({"name": "x"})), "it must object"
    assert not errors
    for resource in content["resources"]:
        assert resource["name"]
        assert resource["path"]


def test_valid_before_the_first_byte_and_after_the_seal(tmp_path: Path) -> None:
    folder = folders.create(tmp_path / "a" / "b", "2026-05-09T1402-x-7f3a", HEADER)
    assert_valid_package(folder)
    log = WireLog(folder / NAME)
    log.append(Kind.END, 1, b"{}")
    log.close()
    folders.seal(folder, {"ended": "completed"})
    assert_valid_package(folder)
    content = folders.read_descriptor(folder)
    assert folders.is_sealed(content)
    resource = content["resources"][0]  # type: ignore[index]
    assert resource["hash"] == folders.hash_of(folder / NAME)
    assert resource["bytes"] == (folder / NAME).stat().st_size


def test_a_sealed_run_is_not_sealed_again(tmp_path: Path) -> None:
    folder = folders.create(tmp_path, "run", HEADER)
    WireLog(folder / NAME).close()
    folders.seal(folder, {})
    before = (folder / folders.DESCRIPTOR).read_bytes()
    with pytest.raises(RecordFault, match="sealed already"):
        folders.seal(folder, {"ended": "other"})
    assert (folder / folders.DESCRIPTOR).read_bytes() == before


def test_a_run_is_never_made_over_another(tmp_path: Path) -> None:
    folders.create(tmp_path, "run", HEADER)
    with pytest.raises(WorldFault, match="there already"):
        folders.create(tmp_path, "run", HEADER)


def test_a_place_that_takes_no_folder_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(WorldFault, match=r"cannot be made.*--out"):
        folders.create(tmp_path / "file", "run", HEADER)


@pytest.mark.parametrize("content", ["", "{", "[]", '{"resources": 3}'])
def test_a_damaged_descriptor_is_said(content: str, tmp_path: Path) -> None:
    (tmp_path / folders.DESCRIPTOR).write_text(content)
    with pytest.raises(RecordFault, match=r"datapackage\.json"):
        folders.read_descriptor(tmp_path)


def test_a_folder_that_is_no_run_is_said(tmp_path: Path) -> None:
    with pytest.raises(RecordFault, match="not a run folder"):
        folders.read_descriptor(tmp_path)


def test_the_name_sorts_by_time() -> None:
    name = folders.folder_name("2026-05-09T14:02:31+00:00", "staircase", "7f3a")
    assert name == "2026-05-09T1402-staircase-7f3a"

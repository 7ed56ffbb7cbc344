"""Files written for somebody: over nothing, and never half of one."""

from pathlib import Path

import pytest

from daq.errors import InputFault, WorldFault
from daq.fresh_file import refuse_taken, write_fresh
from tests.disks import Disk, on


def test_what_is_there_stays(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    refuse_taken(file)
    write_fresh(file, b"first")
    with pytest.raises(InputFault, match=r"a\.csv is there already: choose another"):
        refuse_taken(file)
    with pytest.raises(WorldFault, match=r"a\.csv is there already"):
        write_fresh(file, b"second")
    assert file.read_bytes() == b"first"


def test_no_folder_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(WorldFault, match=r"a\.csv cannot be written: No such file"):
        write_fresh(tmp_path / "none" / "a.csv", b"x")


def test_a_disk_that_fails_leaves_no_half_file(tmp_path: Path) -> None:
    with on(Disk(tmp_path)) as whole:
        write_fresh(tmp_path / "whole", b"x" * 100)
    assert len(whole.done) >= 2
    for fails_at in range(len(whole.done)):
        file = tmp_path / f"{fails_at}"
        with (
            on(Disk(tmp_path, fails_at)) as failing,
            pytest.raises(WorldFault, match="cannot be written: No space left"),
        ):
            write_fresh(file, b"x" * 100)
        assert failing.failed == 1
        assert not file.exists()

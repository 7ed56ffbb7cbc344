"""What is derived, on a disk that fails: said, the record untouched, no halves."""

import json
import resource
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from daq.errors import GramwattError, RecordFault, WorldFault
from daq.records import folder as folders
from daq.records.folder import hash_of
from daq.records.read import read_run
from daq.records.wirelog import NAME, Kind, WireLog, to_json
from tests.disks import ERRORS, NEVER, Disk, on
from tests.runs import write_run
from tests.spins import spin
from ui.results import analyse_folder, derive

PAGE = 40_000  # less than the page, more than all other files


@pytest.fixture(scope="module")
def derived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run with what is derived from it; short, since the page takes long."""
    run = spin()
    run._input(Kind.TICK, b"")
    while run.elapsed_s < 0.5:
        run.step(10)
    run._input(Kind.LOST, b"gone")
    folder = write_run(run, tmp_path_factory.mktemp("derived"))
    derive(folder)
    return folder


def assert_nothing_is_half(folder: Path, log_hash: str) -> None:
    """The record as it was; what is derived is whole or not there."""
    run = read_run(folder)
    assert run.whole
    assert hash_of(folder / NAME) == log_hash
    made = folder / "derived" / "nominal"
    if not made.exists():
        return
    content = json.loads((made / "datapackage.json").read_text())
    for entry in content["resources"]:
        assert entry["hash"] == hash_of(made / entry["path"])
    assert len(content["resources"]) == len(list(made.iterdir())) - 1


@pytest.mark.slow
@pytest.mark.parametrize("for_good", [False, True], ids=["once", "from then on"])
def test_each_operation_failed_in_turn(
    for_good: bool, derived: Path, tmp_path: Path
) -> None:
    folder = Path(shutil.copytree(derived, tmp_path / "run"))
    log_hash = hash_of(folder / NAME)
    healthy = Disk(tmp_path)
    with on(healthy):
        derive(folder)
    page = ("create", str(folder / "derived" / "nominal.new" / "report.html"))
    at_the_page = healthy.done.index(page)
    # The page does without the log's hash where that cannot be read.
    assert healthy.done[at_the_page - 1] == ("read", str(folder / NAME))
    # The later ones cost a page each: some of them here, others in the other mode.
    later = range(at_the_page + for_good, len(healthy.done), 5)
    for number in (*range(at_the_page - 1), *later):
        shutil.rmtree(folder)
        shutil.copytree(derived, folder)
        disk = Disk(tmp_path, number, ERRORS[number % len(ERRORS)], for_good)
        with on(disk), pytest.raises(GramwattError) as fault:
            derive(folder)
        assert disk.done[: number + 1] == healthy.done[: number + 1]
        assert disk.why in str(fault.value)
        assert str(folder) in str(fault.value)
        assert_nothing_is_half(folder, log_hash)
    derive(folder)
    assert (folder / "derived" / "nominal" / "report.html").exists()
    assert not (folder / "derived" / "nominal.new").exists()


@contextmanager
def no_file_beyond(size: int) -> Iterator[None]:
    """As on a full disk, whatever language writes."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("size", [0, 100, 4_000, PAGE])
def test_files_that_cannot_grow_are_said(
    size: int, derived: Path, tmp_path: Path
) -> None:
    folder = Path(shutil.copytree(derived, tmp_path / "run"))
    log_hash = hash_of(folder / NAME)
    with no_file_beyond(size), pytest.raises(GramwattError) as fault:
        derive(folder)
    assert str(folder) in str(fault.value)
    assert_nothing_is_half(folder, log_hash)


def test_an_unsealed_run_that_cannot_be_sealed_stays_one(
    derived: Path, tmp_path: Path
) -> None:
    folder = Path(shutil.copytree(derived, tmp_path / "run"))
    path = folder / "datapackage.json"
    content = json.loads(path.read_text())
    content["gramwatt"]["sealed"] = False
    path.write_text(json.dumps(content))
    before = path.read_bytes()
    healthy = Disk(tmp_path)
    with on(healthy):
        assert not read_run(folder).sealed
    reads = len(healthy.done)
    for number in range(reads + 5):
        disk = Disk(tmp_path, number, ERRORS[0], for_good=True)
        with on(disk), pytest.raises(GramwattError):
            derive(folder)
        assert path.read_bytes() == before
    assert not read_run(folder).sealed


def test_a_run_that_is_still_recorded_is_not_sealed_under_its_keeper(
    tmp_path: Path,
) -> None:
    header: dict[str, object] = {"utc": "2026-05-09T14:02:00+00:00", "format": 1}
    folder = folders.create(tmp_path, "run", header)
    log = WireLog(folder / NAME)
    log.append(Kind.HEADER, 1, to_json(header))
    with pytest.raises(WorldFault, match="still being recorded"):
        derive(folder)
    assert not read_run(folder).sealed
    log.close()
    derive(folder)
    assert read_run(folder).sealed


def test_a_run_that_cannot_be_read_is_said(derived: Path) -> None:
    healthy = Disk(derived)
    with on(healthy):
        analyse_folder(derived)
    for number in range(len(healthy.done)):
        disk = Disk(derived, number, ERRORS[1])
        with on(disk), pytest.raises(RecordFault, match=r"cannot be read: .*rror"):
            analyse_folder(derived)
    assert healthy.fails_at == NEVER

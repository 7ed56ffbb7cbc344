"""Bundles in: what is checked, what is said, and what enters the library."""

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from importlib.metadata import version
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from daq.errors import InputFault, WorldFault
from tests.bundles import Files, packed, run_of, set_right, together, with_entry
from ui.club import child, inspecting, layout, looking
from ui.club.archive import Archive
from ui.club.checked import Checked, read_checked
from ui.club.checking import check_bundle
from ui.club.inspecting import Bounds, Inspector
from ui.club.looking import look_through
from ui.club.taking import take_runs
from ui.club.unpacked import unpacked


@pytest.fixture(autouse=True)
def _own_shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "shelf"))


@pytest.fixture(scope="module")
def inspector() -> Iterator[Inspector]:
    with Inspector() as made:
        yield made


def written(files: Files, path: Path) -> Path:
    path.write_bytes(together(files))
    return path


@pytest.fixture(scope="module")
def raw_checked(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[Checked, Path]:
    """A bundle with its wire log as it is checked, and where that left its run."""
    home = tmp_path_factory.mktemp("raw")
    scratch = home / "scratch"
    scratch.mkdir()
    bundle = written(packed(), home / "x.zip")
    with Inspector() as inspector:
        return inspector.inspect(bundle, scratch), scratch


def test_a_good_bundle_is_re_derived_and_agrees(
    raw_checked: tuple[Checked, Path],
) -> None:
    checked, _ = raw_checked
    (run,) = checked.runs
    assert run.rederived
    assert run.differences == ()
    assert run.entry.evidence.record == "re-read"
    assert checked.signed_by is None
    assert checked.licence == "CC0-1.0"
    assert checked.by == "bench 2"


def test_what_a_check_says_survives_being_said(
    raw_checked: tuple[Checked, Path],
) -> None:
    checked, _ = raw_checked
    assert read_checked(checked.model_dump_json(exclude_none=True)) == checked


def test_runs_enter_a_library_only_when_taken(
    raw_checked: tuple[Checked, Path], tmp_path: Path
) -> None:
    from daq.records.read import read_run

    checked, scratch = raw_checked
    name = checked.runs[0].entry.run
    out = tmp_path / "runs"
    assert not out.exists()
    taken = take_runs(checked, scratch, out)
    assert taken.runs == (out / name,)
    run = read_run(out / name)
    assert run.intact
    assert run.simulated
    assert list((out / name / "derived").glob("*/report.html"))
    # What is there already stays as it is.
    (out / name / "mine.txt").write_text("kept")
    again = take_runs(checked, scratch, out)
    assert again.runs == ()
    assert "already" in again.left[0]
    assert (out / name / "mine.txt").read_text() == "kept"
    with pytest.raises(InputFault, match="there is no run other in it"):
        take_runs(checked, scratch, out, ["other"])


def test_a_log_that_changed_after_its_check_is_not_taken(
    raw_checked: tuple[Checked, Path], tmp_path: Path
) -> None:
    checked, scratch = raw_checked
    name = checked.runs[0].entry.run
    other = tmp_path / "scratch"
    folder = other / layout.RUNS / name
    folder.mkdir(parents=True)
    source = scratch / layout.RUNS / name
    for file in ("wire.log", "datapackage.json"):
        (folder / file).write_bytes((source / file).read_bytes() + b" ")
    with pytest.raises(InputFault, match="not the run that was checked"):
        take_runs(checked, other, tmp_path / "runs")
    assert list((tmp_path / "runs").iterdir()) == []


def test_figures_without_a_log_are_the_senders_word(
    inspector: Inspector, tmp_path: Path
) -> None:
    bundle = written(packed(tables_only=True), tmp_path / "t.zip")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    checked = inspector.inspect(bundle, scratch)
    assert not checked.runs[0].rederived
    assert "the sender's word" in checked.notes[0]
    taken = take_runs(checked, scratch, tmp_path / "runs")
    assert taken.runs == ()
    assert "no wire log" in taken.left[0]
    assert list(scratch.iterdir()) == []


def test_who_says_that_there_was_a_log_is_not_believed(tmp_path: Path) -> None:
    def claim(entry: dict[str, object]) -> None:
        evidence = entry["evidence"]
        assert isinstance(evidence, dict)
        evidence.update(record="re-read", words="weights of class E2, all is well")

    files = with_entry(packed(tables_only=True), claim)
    checked = check_bundle(written(files, tmp_path / "t.zip"), tmp_path)
    evidence = checked.runs[0].entry.evidence
    assert evidence.record == "tables only"
    assert "E2" not in evidence.words


def test_a_refusal_names_the_bundle_and_the_reason(
    inspector: Inspector, tmp_path: Path
) -> None:
    path = tmp_path / "x.zip"
    path.write_text("no zip file at all")
    with pytest.raises(InputFault, match=r"^x\.zip is refused: it does not end"):
        inspector.inspect(path, tmp_path)
    with pytest.raises(InputFault, match="is no file"):
        inspector.inspect(tmp_path, tmp_path)
    with pytest.raises(InputFault, match="is no file"):
        inspector.inspect(tmp_path / "none.zip", tmp_path)


def test_who_takes_too_long_is_given_up_and_the_next_one_served(
    tmp_path: Path,
) -> None:
    bundle = written(packed(tables_only=True), tmp_path / "t.zip")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    with Inspector(Bounds(patience_s=0.0, per_mb_s=0.0)) as hasty:
        with pytest.raises(WorldFault, match="was not done after 0 seconds"):
            hasty.inspect(bundle, scratch)
        hasty._bounds = Bounds()
        assert hasty.inspect(bundle, scratch).runs


def test_a_child_that_dies_is_said_and_replaced(tmp_path: Path) -> None:
    bundle = written(packed(tables_only=True), tmp_path / "t.zip")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    with Inspector() as inspector:
        assert inspector.inspect(bundle, scratch).runs
        running = inspector._child
        assert running is not None
        running._process.kill()
        with pytest.raises(WorldFault, match="did not come back"):
            inspector.inspect(bundle, scratch)
        assert inspector.inspect(bundle, scratch).runs


def test_a_fault_of_ours_with_a_strangers_bytes_is_a_refusal(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def broken(*_: object) -> Checked:
        raise ZeroDivisionError

    monkeypatch.setattr("ui.club.checking.check_bundle", broken)
    said = child.answer(json.dumps({"bundle": "x", "scratch": "y"}))
    assert "ZeroDivisionError" in str(said["refused"])
    assert said["spent"] is True


# ------------------------------------------------------------------ a folder of them


def test_a_folder_is_looked_through_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "club"
    (folder / "more").mkdir(parents=True)
    good = written(packed(tables_only=True), folder / "more" / "good.zip")
    (folder / "bad.zip").write_text("no")
    (folder / "readme.txt").write_text("not looked at")
    seen: list[tuple[int, int]] = []
    bad, found = look_through(folder, lambda done, of: seen.append((done, of)))
    assert (bad.checked, found.refused) == (None, "")
    assert bad.refused.startswith("It does not end as a bundle does")
    assert sorted(seen) == [(1, 2), (2, 2)]

    def never(*_: object) -> Checked:
        raise AssertionError

    monkeypatch.setattr(Inspector, "inspect", never)
    again = look_through(folder)
    assert again == [bad, found]
    # A file that was moved is known by its hash.
    good.rename(folder / "moved.zip")
    assert look_through(folder)[1].checked == found.checked


def test_what_was_found_is_not_believed_from_beside_the_bundles(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever gives a folder away could put findings into it."""
    folder = tmp_path / "club"
    folder.mkdir()
    (folder / "bad.zip").write_text("no")
    look_through(folder)
    names = {path.name for path in folder.rglob("*")}
    assert names == {"bad.zip"}


def test_a_changed_bundle_is_looked_into_again(tmp_path: Path) -> None:
    folder = tmp_path / "club"
    folder.mkdir()
    path = folder / "x.zip"
    path.write_text("no")
    assert look_through(folder)[0].checked is None
    written(packed(tables_only=True), path)
    assert look_through(folder)[0].checked is not None


def test_a_folder_that_is_none(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match="there is no folder"):
        look_through(tmp_path / "none")


def test_an_entry_of_every_file_may_be_changed_and_is_told(tmp_path: Path) -> None:
    """One byte anywhere in a bundle is seen: no file is outside of the hashes."""
    files = packed(tables_only=True)
    for path in files:
        if path == layout.DESCRIPTOR:
            continue
        data = files[path]
        changed = files | {path: data[:-1] + bytes([data[-1] ^ 1])}
        with pytest.raises(InputFault, match="not the file that its hash"):
            check_bundle(written(changed, tmp_path / "x.zip"), tmp_path)


def test_hashes_that_were_set_right_do_not_help_a_false_run(tmp_path: Path) -> None:
    files = packed(tables_only=True)
    path = f"{run_of(files)}/entry.json"
    without = set_right({name: files[name] for name in files if name != path})
    with pytest.raises(InputFault, match="neither a wire log nor"):
        check_bundle(written(without, tmp_path / "x.zip"), tmp_path)


def test_nothing_that_lies_where_the_person_stands_is_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Downloads come from strangers, and one may be called as a library is."""
    bundle = written(packed(tables_only=True), tmp_path / "t.zip")
    downloads = tmp_path / "downloads"
    downloads.mkdir()
    for name in ("json.py", "numpy.py", "ui.py"):
        (downloads / name).write_text(f"open({str(tmp_path / 'ran')!r}, 'w')\n")
    monkeypatch.chdir(downloads)
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    with Inspector() as inspector:
        assert inspector.inspect(bundle, scratch).runs
    assert not (tmp_path / "ran").exists()


# ------------------------------------------------------------------ what goes wrong


def test_a_disk_that_is_full_says_nothing_about_a_bundle(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is refused is kept as refused for good; what could not be done is not."""
    bundle = written(packed(), tmp_path / "x.zip")

    def full(*_: object) -> None:
        raise WorldFault("What is derived from it cannot be written: no space left.")

    monkeypatch.setattr("ui.club.checking.derive", full)
    asked = {"bundle": str(bundle), "scratch": str(tmp_path / "scratch")}
    said = child.answer(json.dumps(asked))
    assert said == {
        "failed": "What is derived from it cannot be written: no space left"
    }


@pytest.mark.parametrize("name", ["../evil", "a/b", "", "nul", "A"])
def test_a_child_that_names_a_run_as_no_file_is_not_believed(name: str) -> None:
    """Folders are named after runs by whoever reads what a check said."""
    checked = told_only()
    content = checked.model_dump(mode="json", exclude_none=True)
    content["runs"][0]["entry"]["run"] = name
    with pytest.raises(InputFault, match="cannot be a file's"):
        read_checked(json.dumps(content))


def told_only() -> Checked:
    """A bundle of tables as it is checked."""
    with TemporaryDirectory() as scratch:
        path = written(packed(tables_only=True), Path(scratch) / "t.zip")
        return check_bundle(path, Path(scratch))


def test_what_a_child_said_before_it_was_asked_is_of_no_bundle(tmp_path: Path) -> None:
    bundle = written(packed(tables_only=True), tmp_path / "t.zip")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    with Inspector() as inspector:
        assert inspector.inspect(bundle, scratch).runs
        running = inspector._child
        assert running is not None
        forged = {"checked": told_only().model_dump(mode="json", exclude_none=True)}
        running._said.put(json.dumps(forged).encode() + b"\n")
        with pytest.raises(WorldFault, match="did not come back"):
            inspector.inspect(bundle, scratch)


def test_a_child_that_never_stops_talking_is_ended(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Else whoever listens would take all of its words into its memory."""
    command = [sys.executable, "-c", "while True: print('x' * 100)"]
    popen = subprocess.Popen

    def talking(_: object, **given: Any) -> subprocess.Popen[bytes]:
        return popen(command, **given)

    monkeypatch.setattr("ui.club.inspecting.subprocess.Popen", talking)
    made = inspecting._Child()
    assert made._process.wait(timeout=10)
    assert made._said.qsize() <= 2
    made.end()


def test_the_same_bundle_twice_in_a_folder_is_looked_into_by_two_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "club"
    folder.mkdir()
    for name in ("a.zip", "a copy.zip"):
        written(packed(tables_only=True), folder / name)
    both = threading.Barrier(2, timeout=15)
    write = looking._write

    def together_with_the_other(home: Path, files: dict[str, bytes]) -> None:
        both.wait()
        write(home, files)

    monkeypatch.setattr(looking, "_write", together_with_the_other)
    one, other = look_through(folder)
    assert one.checked == other.checked
    assert one.checked is not None
    assert look_through(folder) == [one, other]


def test_what_another_version_found_is_not_kept_for_ever(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "club"
    folder.mkdir()
    (folder / "bad.zip").write_text("no")
    old = tmp_path / "shelf" / looking.KEPT / "0.0.1" / ("0" * 64)
    old.mkdir(parents=True)
    (old / "x.html").write_text("a page")
    look_through(folder)
    kept = {path.name for path in (tmp_path / "shelf" / looking.KEPT).iterdir()}
    assert kept == {version("gramwatt"), looking.INDEX}


def test_a_bundle_that_hangs_stops_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    good = written(packed(), tmp_path / "good.zip")
    slow = written(packed(tables_only=True), tmp_path / "slow.zip")
    inspect = Inspector.inspect

    def hangs(self: Inspector, bundle: Path, scratch: Path) -> Checked:
        if bundle == slow:
            raise WorldFault("slow.zip was given up: it was not done.")
        return inspect(self, bundle, scratch)

    monkeypatch.setattr(Inspector, "inspect", hangs)
    with unpacked([slow, good]) as found:
        assert len(found.runs) == 1
        assert found.left == ("slow.zip was given up: it was not done.",)


def test_what_a_person_has_beside_a_run_that_is_taken_stays(
    raw_checked: tuple[Checked, Path], tmp_path: Path
) -> None:
    checked, scratch = raw_checked
    own = tmp_path / "runs" / f".{checked.runs[0].entry.run}.new"
    own.mkdir(parents=True)
    (own / "mine.txt").write_text("kept")
    (folder,) = take_runs(checked, scratch, tmp_path / "runs").runs
    assert (own / "mine.txt").read_text() == "kept"
    assert sorted(path.name for path in folder.parent.iterdir()) == [
        own.name,
        folder.name,
    ]


def test_a_bound_that_a_system_does_not_take_keeps_it_from_no_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """macOS names a bound of address space and refuses to set it."""
    resource = pytest.importorskip("resource")
    bounds: list[int] = []

    def picky(kind: int, _: tuple[int, int]) -> None:
        if kind == resource.RLIMIT_AS:
            raise ValueError
        bounds.append(kind)

    monkeypatch.setattr(resource, "setrlimit", picky)
    child.bounded()
    assert bounds == [
        resource.RLIMIT_FSIZE,
        resource.RLIMIT_NOFILE,
        resource.RLIMIT_CORE,
    ]


def test_a_plan_that_says_the_same_for_an_hour_is_no_bomb() -> None:
    """Spins and rests, over and over: seen to shrink to a 68th."""
    segment = {"kind": "dwell", "leg": "up", "start_frac": 0.15, "duration_s": 10.4}
    plan = json.dumps({"segments": [segment] * 3000}, indent=2).encode()
    data = together({"runs/a/datapackage.json": plan})
    assert len(plan) > 60 * len(data)
    assert Archive(BytesIO(data), len(data)).read("runs/a/datapackage.json") == plan

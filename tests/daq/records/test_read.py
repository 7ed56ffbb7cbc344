"""A run read back: raw counts, decisions and outcome, whole or cut short."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from daq.errors import RecordFault
from daq.records.folder import DESCRIPTOR
from daq.records.read import read_run
from daq.records.wirelog import NAME
from tests.runs import write_run
from tests.spins import plan, spin


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    run = spin()
    run.run()
    return write_run(run, tmp_path_factory.mktemp("runs"))


def copy_of(folder: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(folder, tmp_path / "copy"))


def test_a_sealed_run_is_whole_and_intact(good: Path) -> None:
    run = read_run(good)
    assert run.sealed
    assert run.intact is True
    assert run.outcome is not None
    assert run.outcome["ended"] == "completed"
    assert run.damage.bytes == run.health.lost == run.drops == 0


def test_samples_come_at_the_stands_rate_with_rising_times(good: Path) -> None:
    fast, cell, slow = read_run(good).streams
    assert np.diff(fast.device_s) == pytest.approx(fast.period_s)
    assert np.diff(slow.device_s) == pytest.approx(slow.period_s)
    assert np.diff(cell.device_s) == pytest.approx(cell.period_s, abs=1.1e-3)
    assert fast.counts.shape == (fast.device_s.size, 6)
    assert [page.name for page in cell.channels] == ["thrust"]
    assert [page.name for page in slow.channels] == ["winding-temp", "esc-temp"]


def test_the_walk_is_the_plan_on_the_stands_clock(good: Path) -> None:
    holds = read_run(good).holds()
    planned = plan().segments
    assert [h.kind for h in holds] == [s.kind for s in planned]
    for hold, segment in zip(holds, planned, strict=True):
        lasted_s = hold.end_s - hold.start_s
        assert lasted_s == pytest.approx(segment.duration_s, abs=0.01)
        assert hold.throttle_frac == segment.end_frac


def test_the_pulse_read_back_follows_the_holds(good: Path) -> None:
    run = read_run(good)
    fast = run.streams[0]
    column = [page.name for page in fast.channels].index("pulse")
    for hold in run.holds():
        if hold.kind == "dwell":
            inside = (fast.device_s > hold.start_s) & (fast.device_s < hold.end_s)
            expected = 1000 + 1000 * hold.throttle_frac
            assert fast.counts[inside, column] == pytest.approx(expected, abs=1)


def test_a_changed_log_is_noticed(good: Path, tmp_path: Path) -> None:
    folder = copy_of(good, tmp_path)
    data = bytearray((folder / NAME).read_bytes())
    data[len(data) // 2] ^= 1
    (folder / NAME).write_bytes(data)
    run = read_run(folder)
    assert run.intact is False
    assert run.damage.places == 1
    assert run.outcome is not None


def test_a_truncated_run_is_read_as_far_as_it_goes(good: Path, tmp_path: Path) -> None:
    whole = read_run(good)
    folder = copy_of(good, tmp_path)
    data = (folder / NAME).read_bytes()
    (folder / NAME).write_bytes(data[: len(data) // 2])
    run = read_run(folder)
    assert run.outcome is None
    assert run.intact is False
    assert 0 < len(run.holds()) < len(whole.holds())
    fast, all_fast = run.streams[0], whole.streams[0]
    assert 0 < fast.device_s.size < all_fast.device_s.size
    assert np.array_equal(fast.counts, all_fast.counts[: fast.device_s.size])


def test_an_unsealed_run_is_read_and_says_so(tmp_path: Path) -> None:
    run = spin()
    run.run(until_s=6.0)
    read = read_run(write_run(run, tmp_path, seal=False))
    assert not read.sealed
    assert read.intact is None
    assert read.outcome is None
    assert read.streams[0].device_s.size > 2000


def test_a_stopped_runs_last_hold_ends_at_the_stop(tmp_path: Path) -> None:
    run = spin()
    run.at_walk(1.0, lambda r: r.order(order="stop"))
    run.run()
    read = read_run(write_run(run, tmp_path))
    stop = next(read.notes("stop"))
    assert read.holds()[-1].end_s == stop.note["device_s"]


def test_a_run_that_was_never_armed_has_no_holds(tmp_path: Path) -> None:
    run = spin()
    run.at(2.0, lambda r: r.order(order="stop"))
    run.run()
    read = read_run(write_run(run, tmp_path))
    assert read.holds() == []
    assert read.streams[0].device_s.size > 500


def test_what_is_no_run_is_said(good: Path, tmp_path: Path) -> None:
    with pytest.raises(RecordFault, match="There is no run folder"):
        read_run(tmp_path / "nowhere")
    with pytest.raises(RecordFault, match="not a run folder"):
        read_run(tmp_path)
    folder = copy_of(good, tmp_path)
    (folder / NAME).write_bytes(b"")
    with pytest.raises(RecordFault, match="is empty"):
        read_run(folder)
    (folder / NAME).unlink()
    with pytest.raises(RecordFault, match="cannot be read"):
        read_run(folder)
    (folder / DESCRIPTOR).write_text("{")
    with pytest.raises(RecordFault, match=DESCRIPTOR):
        read_run(folder)

"""Everything derived, made in processes of their own: how far it is, what failed."""

import sys
from pathlib import Path

from tests.ui.desktop.run_folders import make_run, sampled
from ui.desktop.model.making import Making
from ui.desktop.model.rows import read_row

PATIENCE_S = 60.0


def walked(making: Making) -> list[Path]:
    """Step until there is nothing left to do."""
    ended: list[Path] = []
    while making.busy:
        assert making._process is not None
        making._process.wait(PATIENCE_S)
        ended += making.step()
    return ended


def test_a_run_is_worked_out_by_the_real_command(tmp_path: Path) -> None:
    run = sampled(tmp_path, made=False)
    making = Making()
    making.ask([run])
    assert making.words == "Working out 1 of 1: sample"
    assert walked(making) == [run]
    assert making.done == [run]
    row = read_row(run)
    assert row.derived == run / "derived" / "nominal"
    assert "thrust" in row.figures


def test_what_cannot_be_made_says_why(tmp_path: Path) -> None:
    run = make_run(tmp_path, "a")
    (run / "wire.log").write_bytes(b"nonsense")
    making = Making()
    making.ask([run])
    assert walked(making) == [run]
    assert making.done == []
    assert "is not a wire log" in making.faults[run]
    assert not making.faults[run].startswith("gramwatt")


def quick(_: Path) -> list[str]:
    return [sys.executable, "-c", "pass"]


def slow(_: Path) -> list[str]:
    return [sys.executable, "-c", "import time; time.sleep(600)"]


def test_several_are_made_one_after_the_other_and_counted(tmp_path: Path) -> None:
    making = Making(quick)
    runs = [tmp_path / name for name in "abc"]
    making.ask(runs)
    making.ask(runs[1:])  # they are waiting already
    assert making.asked == 3
    assert walked(making) == runs
    assert making.done == runs
    making.ask([tmp_path / "d"])
    assert making.asked == 1  # counted anew
    walked(making)


def test_giving_up_ends_the_process_and_forgets_the_rest(tmp_path: Path) -> None:
    making = Making(slow)
    making.ask([tmp_path / "a", tmp_path / "b"])
    process = making._process
    assert process is not None
    making.cancel()
    assert process.poll() is not None
    assert not making.busy
    assert making.step() == []
    assert making.words == ""


def test_a_program_that_is_not_there_is_said(tmp_path: Path) -> None:
    making = Making(lambda _: [str(tmp_path / "no such program")])
    making.ask([tmp_path / "a"])
    assert not making.busy
    assert "could not be begun" in making.faults[tmp_path / "a"]


def test_one_that_dies_without_a_word_is_said(tmp_path: Path) -> None:
    making = Making(lambda _: [sys.executable, "-c", "raise SystemExit(9)"])
    making.ask([tmp_path / "a"])
    walked(making)
    assert making.faults == {tmp_path / "a": "It ended without a word."}

"""The fast captures of a run, out of its record."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from daq.records.read import read_run
from protocols.captures import CaptureAsk
from tests.runs import write_run
from tests.spins import plan, spin, task
from ui.captured import Taken, taken_of
from ui.series import series_of

DWELL, NEXT_RAMP = 3, 4


def taken(folder: Path, *asks: CaptureAsk) -> Taken:
    run = spin(task(walked=replace(plan(), captures=asks)))
    run.run()
    read = read_run(write_run(run, folder))
    return taken_of(read, series_of(read)[0])


def test_a_capture_is_told_in_volt_with_what_it_was_of(tmp_path: Path) -> None:
    fall = CaptureAsk(
        NEXT_RAMP, "step", "voltage", 200, 1e-3, before=20, trigger="fall", by_si=0.1
    )
    found = taken(tmp_path, fall)
    assert not found.missed
    (capture,) = found.captures
    assert (capture.label, capture.segment) == ("step", NEXT_RAMP)
    assert capture.t_s[20] == 0.0
    assert capture.value_si.size == 200
    assert not np.isnan(capture.value_si).any()
    # It was at the first level before, and is a tenth of a volt lower and more after.
    before, after = capture.value_si[:15], capture.value_si[-50:]
    assert 12.2 < before.mean() < 12.7
    assert before.mean() - after.mean() > 0.1


def test_a_capture_is_read_by_the_streams_own_scale(tmp_path: Path) -> None:
    found = taken(tmp_path, CaptureAsk(DWELL, "level", "voltage", 900, 97e-6))
    read = read_run(next(tmp_path.iterdir()))
    voltage = series_of(read)[0]["voltage"]
    (capture,) = found.captures
    end_s = capture.device_s + capture.t_s[-1]
    _, stream = voltage.between(capture.device_s, end_s)
    assert capture.value_si.mean() == pytest.approx(stream.mean(), abs=0.005)


def test_a_trigger_that_never_came_says_what_the_channel_did(tmp_path: Path) -> None:
    never = CaptureAsk(
        NEXT_RAMP, "step", "voltage", 50, 1e-3, trigger="fall", by_si=2.0
    )
    found = taken(tmp_path, never)
    assert not found.captures
    (said,) = found.missed
    assert said.startswith(
        "The capture of the step was never triggered: for 1000 ms it waited for the "
        "voltage to fall by 2 V, and its readings fell by 0."
    )
    assert "(key by)" in said


def test_what_is_said_twice_is_said_once(tmp_path: Path) -> None:
    never = CaptureAsk(
        DWELL, "level", "voltage", 50, 1e-3, trigger="rise", by_si=3.0, patience_s=0.1
    )
    found = taken(tmp_path, never, never)
    assert len(found.missed) == 1
    assert found.missed[0].endswith("(2 times).")

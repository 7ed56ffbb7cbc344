"""The plan as it was walked, throttle at both ends, wherever it was cut."""

from dataclasses import replace
from pathlib import Path

import pytest

from daq.records.read import Decision, Run, read_run
from protocols.plan import Plan, Segment
from protocols.recipe import expand, load_recipe
from tests.runs import write_run
from tests.spins import plan, spin, task
from ui.stretches import plan_of, stretches_of


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    walked = spin()
    walked.run()
    return read_run(write_run(walked, tmp_path_factory.mktemp("run")))


def cut_after(run: Run, into_s: float) -> Run:
    """The same run, its plan stopped so long after it began."""
    notes = list(run.notes("segment"))
    stop_s = float(str(notes[0].note["device_s"])) + into_s
    kept = [d for d in notes if float(str(d.note["device_s"])) < stop_s]
    stop = Decision(0.0, {"note": "stop", "ended": "stopped", "device_s": stop_s})
    return replace(run, decisions=(*kept, stop))


def test_a_whole_walk_goes_through_the_plans_own_throttles(run: Run) -> None:
    found = stretches_of(run)
    assert [(x.from_frac, x.to_frac) for x in found] == [
        (s.start_frac, s.end_frac) for s in plan().segments
    ]


def test_a_ramp_that_was_cut_ends_where_it_had_come_to(run: Run) -> None:
    # Two seconds of rest, then up to 30 % at 100 % a second.
    found = stretches_of(cut_after(run, 2.1))
    assert len(found) == 2
    assert found[-1].from_frac == 0.0
    assert found[-1].to_frac == pytest.approx(0.1, abs=0.005)
    assert found[-1].rate_frac_s == pytest.approx(1.0)


def test_throttle_within_a_stretch_is_that_of_its_slope_and_never_beyond(
    run: Run,
) -> None:
    ramp = stretches_of(run)[1]
    start_s = ramp.hold.start_s
    assert ramp.throttle_at(start_s + 0.15) == pytest.approx(0.15)
    assert ramp.throttle_at(start_s - 1.0) == 0.0
    assert ramp.throttle_at(start_s + 9.0) == 0.3


def test_without_a_plan_on_record_the_ends_alone_tell(run: Run) -> None:
    bare = replace(run, header={})
    assert plan_of(bare) is None
    found = stretches_of(bare)
    assert [(x.from_frac, x.to_frac) for x in found] == [
        (s.start_frac, s.end_frac) for s in plan().segments
    ]
    assert found[1].rate_frac_s == pytest.approx(1.0, rel=0.05)


@pytest.mark.parametrize(
    "task_on_record", [None, 3, {}, {"plan": None}, {"plan": {"format": 99}}]
)
def test_a_plan_that_cannot_be_read_is_none(run: Run, task_on_record: object) -> None:
    assert plan_of(replace(run, header={"task": task_on_record})) is None


def test_a_plan_that_is_another_than_was_walked_is_not_believed(run: Run) -> None:
    other = task(walked=expand(load_recipe("glide")))
    found = stretches_of(replace(run, header={"task": other.to_dict()}))
    assert [x.to_frac for x in found] == [s.end_frac for s in plan().segments]


def test_a_glide_in_a_cut_record_keeps_its_own_slope(tmp_path: Path) -> None:
    walked = spin(
        task(
            walked=Plan(
                "glide",
                "Glide",
                (
                    Segment("rest", "rest", -1, 0.0, 0.0, 2.0),
                    Segment("glide", "up", 0, 0.0, 0.4, 8.0),
                    Segment("ramp", "rest", -1, 0.4, 0.0, 1.0),
                    Segment("rest", "rest", -1, 0.0, 0.0, 2.0),
                ),
            )
        )
    )
    walked.run()
    run = read_run(write_run(walked, tmp_path))
    glide = stretches_of(cut_after(run, 2.0 + 3.0))[-1]
    assert glide.to_frac == pytest.approx(0.15, abs=0.002)
    assert glide.rate_frac_s == pytest.approx(0.05)

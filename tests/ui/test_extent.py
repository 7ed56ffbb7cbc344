"""How far a run came, in figures and in words."""

from dataclasses import replace

import pytest

from protocols.plan import Plan
from protocols.recipe import expand, load_recipe
from tests.ui.cut_runs import CutRuns
from ui.extent import Extent, extent, extent_of


def found(cut_runs: CutRuns, name: str) -> Extent:
    of = extent_of(cut_runs.of(name).run)
    assert of is not None
    return of


def test_a_whole_run_is_whole(cut_runs: CutRuns) -> None:
    whole = found(cut_runs, "whole")
    assert whole.whole
    assert whole.parts == (("dwell", 2, 2),)
    assert whole.words().endswith("2 of 2 dwells to their end.")
    assert whole.walked_s == whole.planned_s


@pytest.mark.parametrize("name", ["stopped", "thrown", "cable", "port", "brown-out"])
def test_a_cut_run_counts_what_was_walked_to_its_end(
    cut_runs: CutRuns, name: str
) -> None:
    cut = found(cut_runs, name)
    assert not cut.whole
    assert cut.parts == (("dwell", 1, 2),)
    assert cut.walked_s == pytest.approx(5.9, abs=0.25)
    assert "1 of 2 dwells to their end, up to 30 % throttle where 60 %" in cut.words()


def test_what_never_began_came_no_way(cut_runs: CutRuns) -> None:
    assert extent_of(cut_runs.of("no pulse").run) is None
    assert extent_of(replace(cut_runs.of("stopped").run, header={})) is None


def test_a_plan_that_does_not_fit_the_notes_is_not_believed(cut_runs: CutRuns) -> None:
    run = cut_runs.of("whole").run
    task = run.header["task"]
    assert isinstance(task, dict)
    first = Plan.from_dict(task["plan"]).segments[0]
    short = Plan("short", "Short", (first,))
    other = {"task": task | {"plan": short.to_dict()}}
    assert extent_of(replace(run, header=other)) is None


@pytest.mark.parametrize(
    ("name", "reached", "words"),
    [
        ("glide", 3, "0 of 2 glides to their end."),
        ("idle-spin", 0, "0 of 6 dwells to their end."),
    ],
)
def test_each_kind_is_counted_by_its_name(name: str, reached: int, words: str) -> None:
    plan = expand(load_recipe(name))
    assert extent(plan, reached, 1.0).words().endswith(words)


def test_a_punch_counts_dwells_and_bursts_apart() -> None:
    plan = expand(load_recipe("punch"))
    first = next(n for n, s in enumerate(plan.segments) if s.is_data)
    cut = extent(plan, first + 1, 3.0)
    assert [done for _, done, _ in cut.parts] == [1, 0]
    assert cut.measured().startswith("1 of 6 dwells and 0 of 3 bursts to their end")


def test_one_part_alone_has_its_end() -> None:
    plan = expand(load_recipe("glide"))
    one = Extent(1.0, plan.duration_s, (("glide", 0, 1),), 0.0, 0.95)
    assert one.measured() == "0 of 1 glide to its end"

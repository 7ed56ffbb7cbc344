"""What the analysis is given: in order, of one boot, and not in doubt."""

from dataclasses import replace

import numpy as np
import pytest

from daq.records.read import Run, Stream
from tests.ui.cut_runs import CutRuns
from ui.cut import DOUBT_S, cut_of
from ui.results import Results
from ui.series import holds_of, in_order, series_of


def stream_at(times_s: list[float]) -> Stream:
    counts = np.zeros((len(times_s), 1), dtype=np.int64)
    return Stream(0, 0.002, (), np.array(times_s, dtype=np.float64), counts)


@pytest.mark.parametrize(
    ("times_s", "good"),
    [
        ([], []),
        ([5.0], [True]),
        ([1.0, 2.0, 2.0, 3.0], [True, True, False, True]),
        ([1.0, 3.0, 2.0, 2.5, 4.0], [True, True, False, False, True]),
        ([7.0, 8.0, 0.1, 0.2, 0.3], [True, True, False, False, False]),
    ],
)
def test_only_what_is_newer_than_all_before_is_used(
    times_s: list[float], good: list[bool]
) -> None:
    assert in_order(stream_at(times_s)).tolist() == good


def last_dwell_s(results: Results) -> float:
    """End of what is used of the second dwell, from where the walk was cut."""
    run = results.run
    cut = cut_of(run)
    holds = holds_of(run, series_of(run)[0])
    assert cut is not None
    return max(h.end_s for h in holds if h.kind == "dwell") - cut.at_s


@pytest.mark.parametrize("name", ["thrown", "stalled", "stuck"])
def test_nothing_is_used_that_a_guard_may_have_acted_on(
    cut_runs: CutRuns, name: str
) -> None:
    assert last_dwell_s(cut_runs.of(name)) <= -DOUBT_S


@pytest.mark.parametrize("name", ["stopped", "loop", "cable", "brown-out", "port"])
def test_what_a_stop_of_another_kind_left_is_used(cut_runs: CutRuns, name: str) -> None:
    assert -0.3 < last_dwell_s(cut_runs.of(name)) < 0


def test_a_ramp_down_is_no_part_of_the_dwell_that_it_ended(cut_runs: CutRuns) -> None:
    assert -0.05 < last_dwell_s(cut_runs.of("burst")) < 0


@pytest.mark.parametrize("name", ["brown-out", "repeated"])
def test_a_run_is_analysed_though_its_samples_do_not_come_in_order(
    cut_runs: CutRuns, name: str
) -> None:
    results = cut_runs.of(name)
    assert results.analysis is not None
    assert len(results.analysis.plateaus) == 2
    lost = sum(int((~in_order(s)).sum()) for s in results.run.streams)
    assert lost > 10
    said = " ".join(results.warnings())
    assert f"{lost} samples came out of order, twice, or after the stand began" in said


def test_a_cut_run_says_with_every_finding_how_far_it_came(cut_runs: CutRuns) -> None:
    results = cut_runs.of("thrown")
    cautions = [str(f["cautions"]) for f in results.findings()]
    assert cautions
    for said in cautions:
        assert "The plan was walked for 5.9 of 8.8 s" in said
        assert "the last 1.5 s before the trip is not used" in said


@pytest.mark.parametrize("name", ["whole", "stopped", "loop"])
def test_nothing_is_said_to_be_unused_where_all_is_used(
    cut_runs: CutRuns, name: str
) -> None:
    assert "not used" not in " ".join(cut_runs.of(name).warnings())


def test_levels_before_the_fault_are_what_they_are_in_a_whole_run(
    cut_runs: CutRuns,
) -> None:
    whole, thrown = (cut_runs.of(name).analysis for name in ("whole", "thrown"))
    assert whole is not None
    assert thrown is not None
    assert list(thrown.plateaus.throttle_frac) == [0.3]
    for channel in ("thrust", "current", "voltage", "speed"):
        before = whole.plateaus.channels[channel].mean[0]
        # The zero may differ: a whole run has a rest after it too.
        assert thrown.plateaus.channels[channel].mean[0] == pytest.approx(
            before, rel=0.02
        )


def test_a_channel_without_samples_is_none(cut_runs: CutRuns) -> None:
    run: Run = cut_runs.of("whole").run
    empty = tuple(
        replace(s, device_s=s.device_s[:0], counts=s.counts[:0]) for s in run.streams
    )
    assert series_of(replace(run, streams=empty)) == ({}, set())


def test_an_amplifier_at_the_end_of_its_range_reads_nothing(cut_runs: CutRuns) -> None:
    """A channel that no limit watches: what it says at its end is "at least"."""
    run = cut_runs.of("whole").run
    stream = next(s for s in run.streams if s.channels[0].name == "current")
    page = replace(stream.channels[0], name="plug-plus", low_counts=-100)
    counts = stream.counts.copy()
    counts[:4, 0] = (-100, page.high_counts, 7, page.high_counts - 1)
    beside = replace(stream, channels=(page, *stream.channels[1:]), counts=counts)
    read, _ = series_of(replace(run, streams=(beside,)))
    ends = np.isnan(read["plug-plus"].value_si[:4])
    assert ends.tolist() == [True, True, False, False]

"""How a run was cut, told on its page: by whom, when, how soon, what clears it."""

from dataclasses import replace

import numpy as np
import pytest

from daq.records.read import Decision, Run
from tests.ui.cut_runs import CutRuns
from ui.cut import Cut, cut_of
from ui.report.timeline import walked_stretches
from ui.report.trip import Pulse, cut_lines, pulse_of, title_of, zero_words


def told(run: Run) -> dict[str, str]:
    return dict(cut_lines(run, walked_stretches(run)))


@pytest.mark.parametrize(
    ("name", "who"),
    [
        ("thrown", "The guard of this program: thrown"),
        ("stalled", "The stand itself: limit"),
        ("loop", "The stand itself: stop loop"),
        ("brown-out", "The stand itself: restarted"),
        ("cable", "The guard of this program: silence"),
        ("silent", "The stand itself: silence"),
        ("stopped", "A person, or the program in front of one"),
        ("port", "This program: link lost"),
    ],
)
def test_who_acted(cut_runs: CutRuns, name: str, who: str) -> None:
    assert told(cut_runs.of(name).run)["What acted"] == who


def test_when_it_was_is_told_by_the_plan(cut_runs: CutRuns) -> None:
    when = told(cut_runs.of("stopped").run)["When"]
    assert when == (
        "5.90 s into the plan, at 60 % throttle, 0.90 s into a dwell on the way up"
    )


def test_a_cut_has_its_pulse_at_zero_within_a_servo_frame(cut_runs: CutRuns) -> None:
    for name in ("thrown", "stalled", "loop", "stopped"):
        found = told(cut_runs.of(name).run)
        assert found["What it did"] == "Throttle to zero at once, latched"
        late, after = found["Pulse at zero"].split(" ms ", 1)
        assert after == "after that, read back on the pulse pin"
        # There and back on the line, a servo frame of 2.5 ms, a sample of 2 ms.
        assert 0 <= float(late) <= 10


def test_a_ramp_down_is_told_with_its_time(cut_runs: CutRuns) -> None:
    found = told(cut_runs.of("burst").run)
    assert found["What it did"] == (
        "Throttle down to zero in 0.40 s, then a stop that latches"
    )
    assert found["Pulse at zero"].endswith(
        "ms after the end of the ramp, read back on the pulse pin"
    )


def test_a_ramp_down_that_a_cut_overtook_is_told_as_both(cut_runs: CutRuns) -> None:
    run = cut_runs.of("burst").run
    cut = Decision(99.0, {"note": "trip", "check": "silence", "action": "cut"})
    found = told(replace(run, decisions=(*run.decisions, cut)))
    assert found["What it did"] == (
        "Throttle on its way down, then cut to zero, all in 0.40 s; latched"
    )


def test_what_nobody_saw_is_not_told_as_seen(cut_runs: CutRuns) -> None:
    for name in ("cable", "blind"):
        found = told(cut_runs.of(name).run)
        assert found["Pulse at zero"].startswith("Nobody saw it")
        assert found["The motor"] == "Nobody saw whether it came to rest"
    lost = told(cut_runs.of("port").run)
    assert lost["What it did"].startswith("Nothing more could be said to the stand")
    assert "Clears when" not in lost


def test_without_a_pulse_pin_the_stands_word_is_told_as_that(
    cut_runs: CutRuns,
) -> None:
    run = cut_runs.of("thrown").run
    named = tuple(
        replace(
            s,
            channels=tuple(
                replace(c, name="other") if c.name == "pulse" else c for c in s.channels
            ),
        )
        for s in run.streams
    )
    found = told(replace(run, streams=named))
    assert found["Pulse at zero"] == "By the stand's word, heard 4 ms after the stop"


def without_speed(run: Run) -> Run:
    """The same of a stand that has another channel in that place."""
    return replace(
        run,
        streams=tuple(
            replace(
                s,
                channels=tuple(
                    replace(c, name="other") if c.name == "speed" else c
                    for c in s.channels
                ),
            )
            for s in run.streams
        ),
    )


def test_the_motor_is_told_as_it_was_seen(cut_runs: CutRuns) -> None:
    at_rest = told(cut_runs.of("thrown").run)["The motor"]
    assert at_rest == "Seen at rest, by its current and speed"
    blind = without_speed(cut_runs.of("thrown").run)
    assert told(blind)["The motor"] == "Seen at rest, by its current"
    runs_on = told(cut_runs.of("runs on").run)
    assert runs_on["The motor"] == "RAN ON, though the pulse was at zero"
    assert runs_on["Pulse at zero"].endswith("read back on the pulse pin")


@pytest.mark.parametrize(
    ("name", "clears"),
    [
        ("thrown", "The motor stands still"),
        ("loop", "The stop loop is closed"),
        ("cable", "Current is heard again"),
        ("silent", "The sensor is heard again"),
        ("brown-out", "The stand runs steadily and says who it is"),
    ],
)
def test_what_clears_it(cut_runs: CutRuns, name: str, clears: str) -> None:
    found = told(cut_runs.of(name).run)["Clears when"]
    assert found == f"{clears}, and a person acknowledges it"


def test_a_trip_of_a_kind_that_nobody_knows_still_says_what_to_do(
    cut_runs: CutRuns,
) -> None:
    run = cut_runs.of("loop").run
    outcome = dict(run.outcome or {}) | {"check": "watchdog"}
    found = told(replace(run, outcome=outcome))["Clears when"]
    assert found.startswith("Its cause is found and removed, and a person")


def test_a_run_that_was_not_cut_has_no_such_section(cut_runs: CutRuns) -> None:
    for name in ("whole", "no pulse", "no start"):
        assert told(cut_runs.of(name).run) == {}


@pytest.mark.parametrize(
    ("ended", "title"),
    [("tripped", "The trip"), ("stopped", "The stop"), ("failed", "The end")],
)
def test_the_section_is_called_by_what_happened(ended: str, title: str) -> None:
    assert title_of(Cut(1.0, ended, "x")) == title


# ------------------------------------------------------------------ the pulse


def pulse(widths_us: list[float]) -> Pulse:
    t_s = 0.002 * np.arange(len(widths_us), dtype=np.float64)
    return Pulse(t_s, np.array(widths_us, dtype=np.float64) * 1e-6, 1000e-6)


@pytest.mark.parametrize(
    ("widths_us", "at_s", "zero_s"),
    [
        ([1600, 1600, 1600, 1002, 1000], 0.003, 0.006),
        ([1600, 1600, 1600, 1600, 1600], 0.003, None),
        ([1000, 1000, 1000, 1000, 1000], 0.003, None),
        ([1600, 1600, 1020, 1016, 1014], 0.001, 0.008),
        ([1000], 0.0, None),
    ],
)
def test_the_pulse_is_at_zero_with_its_first_reading_at_rest(
    widths_us: list[float], at_s: float, zero_s: float | None
) -> None:
    found = pulse(widths_us).zero_after(at_s)
    assert found == (None if zero_s is None else pytest.approx(zero_s))


def test_a_pulse_that_comes_to_zero_much_later_did_not_obey() -> None:
    late = pulse([1600.0] * 600 + [1000.0] * 100)
    assert late.zero_after(0.0) is None
    assert late.zero_after(0.5) == pytest.approx(1.2)


def test_the_pulse_at_rest_is_what_it_reads_once_armed(cut_runs: CutRuns) -> None:
    read = pulse_of(cut_runs.of("thrown").run)
    assert read is not None
    assert read.rest_s == pytest.approx(1e-3, abs=10e-6)
    cut = cut_of(cut_runs.of("thrown").run)
    assert cut is not None
    zero_s = read.zero_after(cut.at_s)
    assert zero_s is not None
    assert zero_words(cut, zero_s).startswith("pulse at zero ")
    assert pulse_of(cut_runs.of("no pulse").run) is None

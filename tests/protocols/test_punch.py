"""Punch-outs: fast where they may be, and nowhere else."""

from pathlib import Path

import pytest

from daq.errors import InputFault
from protocols.plan import MAX_PUNCH_FRAC_PER_S, MAX_RAMP_FRAC_PER_S, Segment
from protocols.recipe import expand, load_recipe
from tests.protocols.files import changed


def rate_frac_s(segment: Segment) -> float:
    return abs(segment.end_frac - segment.start_frac) / segment.duration_s


def test_a_punch_is_cruise_burst_cruise_and_a_chop() -> None:
    plan = expand(load_recipe("punch"))
    once = [(s.kind, round(100 * s.end_frac)) for s in plan.segments[1:10]]
    assert once == [
        ("ramp", 45),
        ("settle", 45),
        ("dwell", 45),
        ("punch", 70),
        ("burst", 70),
        ("punch", 45),
        ("settle", 45),
        ("dwell", 45),
        ("punch", 0),
    ]
    assert [s.leg for s in plan.segments if s.kind == "dwell"] == ["up", "down"] * 3


def test_only_the_punches_are_faster_than_a_ramp_may_be() -> None:
    plan = expand(load_recipe("punch"))
    for segment in plan.segments:
        if segment.kind == "punch":
            assert rate_frac_s(segment) == pytest.approx(MAX_PUNCH_FRAC_PER_S)
        else:
            assert rate_frac_s(segment) <= MAX_RAMP_FRAC_PER_S


def test_what_is_read_in_the_burst_is_no_dwell() -> None:
    plan = expand(load_recipe("punch"))
    bursts = [s for s in plan.segments if s.kind == "burst"]
    assert [s.duration_s for s in bursts] == [1.0] * 3
    assert {round(100 * s.end_frac) for s in plan.segments if s.kind == "dwell"} == {45}


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("punch_percent_per_s = 1000", "punch_percent_per_s = 1001", "at most 1000"),
        ("punch_percent_per_s = 1000", "punch_percent_per_s = 200", "above 200"),
        ("punch_percent = 70", "punch_percent = 50", "punch_percent is 50; .* 10 abov"),
        ("punch_percent = 70", "punch_percent = 101", "punch_percent is 101"),
        ("punch_s = 1.0", "punch_s = 6", "punch_s is 6; it must be at most 5"),
        ("between = 4.0", "", "rest_s.between is missing; repeats need"),
        ("[rest_s]", "rest_s = 3\n[rests]", "rests is not a known key; rest_s was"),
        ("before = 2.0", "before = 2026-05-09", "rest_s.before is 2026-05-09; .* numb"),
        ("repeats = 3", "repeats = 1", "rest_s.between has no meaning"),
        ("repeats = 3", "repeats = 21", "repeats is 21; it must be at most 20"),
    ],
)
def test_a_fault_in_a_file_names_file_and_key_and_what_is_allowed(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    path = changed(tmp_path, "punch", (old, new))
    with pytest.raises(InputFault, match=says) as caught:
        load_recipe(path)
    assert str(caught.value).startswith(f"{path}: ")

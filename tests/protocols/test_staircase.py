"""Staircases beyond the plain one: shuffled, warmed up, resting between levels."""

from pathlib import Path

import pytest

from daq.errors import InputFault
from protocols.plan import Plan, Segment
from protocols.recipe import expand, load_recipe
from protocols.staircase import shuffled
from tests.protocols.files import changed

UP = [20, 35, 50, 65, 80, 95]


def dwells(plan: Plan, leg: str) -> list[Segment]:
    return [s for s in plan.segments if s.kind == "dwell" and s.leg == leg]


def percents(segments: list[Segment]) -> list[int]:
    return [round(100 * segment.end_frac) for segment in segments]


def test_an_order_is_that_of_sha256_and_never_changes() -> None:
    # Orders by `printf 7/1/0 | sha256sum` and so on, sorted: coreutils 9, FIPS 180-4.
    levels = [(step, step / 10) for step in range(6)]
    assert [step for step, _ in shuffled(levels, 7, 1)] == [3, 4, 0, 1, 5, 2]
    assert [step for step, _ in shuffled(levels, 7, 2)] == [5, 2, 4, 1, 0, 3]


def test_the_shipped_shuffle_visits_each_level_once_a_pass_each_pass_its_own_way() -> (
    None
):
    plan = expand(load_recipe("shuffled-staircase"))
    first, second = dwells(plan, "first"), dwells(plan, "second")
    # By sha256sum as above, seed 1.
    assert percents(first) == [65, 50, 80, 35, 95, 20]
    assert percents(second) == [50, 65, 95, 20, 80, 35]
    assert sorted(percents(first)) == sorted(percents(second)) == UP


def test_a_step_is_the_levels_place_from_the_lowest_whatever_the_order() -> None:
    plan = expand(load_recipe("shuffled-staircase"))
    for segment in (*dwells(plan, "first"), *dwells(plan, "second")):
        assert UP[segment.step] == round(100 * segment.end_frac)


def test_another_seed_is_another_order(tmp_path: Path) -> None:
    path = changed(tmp_path, "shuffled-staircase", ("seed = 1", "seed = 7"))
    plan = expand(load_recipe(path))
    assert [segment.step for segment in dwells(plan, "first")] == [3, 4, 0, 1, 5, 2]


def test_one_pass_is_one_leg_without_a_rest_between_legs(tmp_path: Path) -> None:
    path = changed(
        tmp_path,
        "shuffled-staircase",
        ("passes = 2", "passes = 1"),
        ("between = 3.0\n", ""),
    )
    plan = expand(load_recipe(path))
    assert not dwells(plan, "second")
    assert len(dwells(plan, "first")) == 6


def test_without_rests_between_levels_throttle_ramps_from_one_to_the_next(
    tmp_path: Path,
) -> None:
    path = changed(tmp_path, "shuffled-staircase", ("each = 3.0\n", ""))
    ramps = [s for s in expand(load_recipe(path)).segments if s.kind == "ramp"]
    moves = [(s.start_frac, s.end_frac) for s in ramps if s.leg == "first"]
    assert [round(100 * end) for _, end in moves] == [65, 50, 80, 35, 95, 20]
    assert [start for start, _ in moves] == [0.0, *(end for _, end in moves[:-1])]
    # At 100 % a second, as the file says.
    for ramp in ramps:
        moved_frac = abs(ramp.end_frac - ramp.start_frac)
        assert ramp.duration_s == pytest.approx(moved_frac)


def test_with_rests_between_levels_every_level_starts_from_zero() -> None:
    plan = expand(load_recipe("shuffled-staircase"))
    starts = [s.start_frac for s in plan.segments if s.kind == "ramp" and s.step >= 0]
    assert set(starts) == {0.0}
    rests = [s.duration_s for s in plan.segments if s.kind == "rest"]
    # before, after the warm-up, five between six levels, between passes, five, after
    assert rests == [2, 3, *[3] * 5, 3, *[3] * 5, 3]


def test_the_warm_up_comes_before_the_first_level_and_is_no_data() -> None:
    plan = expand(load_recipe("shuffled-staircase"))
    kinds = [segment.kind for segment in plan.segments[:7]]
    assert kinds == ["rest", "ramp", "warm", "ramp", "rest", "ramp", "settle"]
    warm = plan.segments[2]
    assert (warm.end_frac, warm.duration_s, warm.is_data) == (0.35, 6.0, False)


def test_a_warm_up_without_a_rest_leads_straight_to_the_first_level(
    tmp_path: Path,
) -> None:
    path = changed(tmp_path, "shuffled-staircase", ("rest_s = 3.0\n", ""))
    recipe = load_recipe(path)
    assert any(said.endswith("and goes on from there.") for said in recipe.told())
    ramp = expand(recipe).segments[3]
    assert (ramp.kind, ramp.leg, ramp.start_frac, ramp.end_frac) == (
        "ramp",
        "first",
        0.35,
        0.65,
    )


def test_a_warm_up_at_the_first_levels_throttle_needs_no_ramp(tmp_path: Path) -> None:
    path = changed(
        tmp_path,
        "shuffled-staircase",
        ("throttle_percent = 35", "throttle_percent = 65"),
        ("rest_s = 3.0\n", ""),
    )
    assert [s.kind for s in expand(load_recipe(path)).segments[1:5]] == [
        "ramp",
        "warm",
        "settle",
        "dwell",
    ]


def test_a_rising_staircase_may_rest_between_its_levels(tmp_path: Path) -> None:
    path = changed(
        tmp_path, "short-staircase", ("before = 2.0", "before = 2.0\neach = 5.0")
    )
    recipe = load_recipe(path)
    rests = [s.duration_s for s in expand(recipe).segments if s.kind == "rest"]
    assert rests == [2, *[5] * 5, 2.5, *[5] * 5, 2.5]
    assert any("back to zero for 5 s" in sentence for sentence in recipe.told())


def test_what_is_told_of_a_shuffle_is_its_order_and_its_seed() -> None:
    told = " ".join(load_recipe("shuffled-staircase").told())
    assert "seed 1" in told
    assert told.index("65, 50, 80, 35, 95 and 20 %") < told.index("50, 65, 95, 20")
    assert "never used" in told


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("seed = 1\n", "", "seed is missing; a shuffled staircase needs it"),
        ("passes = 2\n", "", "passes is missing; a shuffled staircase needs it"),
        ("passes = 2", "passes = 3", "passes is 3; it must be at most 2"),
        ("seed = 1", "seed = -1", "seed is -1; it must be at least 0"),
        ("seed = 1", "seed = 1.5", "seed is 1.5; it must be a whole number"),
        ("seed = 1", "seed = 1\nup_and_down = true", "up_and_down has no meaning"),
        ('"shuffled"', '"random"', "order is \"random\"; .* 'rising' or 'shuffled'"),
        ('order = "shuffled"\n', "", "up_and_down is missing; a rising staircase"),
        ("between = 3.0\n", "", "rest_s.between is missing; a second pass needs"),
        ("passes = 2", "passes = 1", "rest_s.between has no meaning without a second"),
        ("each = 3.0", "each = 1.0", "rest_s.each is 1; it must be at least 2|1.0"),
        ("throttle_percent = 35", "throttle_percent = 0", "warm_up.throttle_percent"),
        ("duration_s = 6.0", "duration_s = 0.5", "warm_up.duration_s is 0.5"),
        ("duration_s = 6.0", "seconds = 6.0", "warm_up.seconds is not a known key"),
    ],
)
def test_a_fault_in_a_file_names_file_and_key_and_what_is_allowed(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    path = changed(tmp_path, "shuffled-staircase", (old, new))
    with pytest.raises(InputFault, match=says) as caught:
        load_recipe(path)
    assert str(caught.value).startswith(f"{path}: ")


def test_a_soak_comes_behind_the_last_level_after_a_rest() -> None:
    plan = expand(load_recipe("plug-steps"))
    kinds = [segment.kind for segment in plan.segments[-5:]]
    assert kinds == ["rest", "ramp", "soak", "ramp", "rest"]
    rest, ramp, soak = plan.segments[-5:-2]
    assert rest.duration_s == 15.0
    assert (ramp.leg, ramp.end_frac) == ("soak", 0.7)
    assert (soak.end_frac, soak.duration_s, soak.is_data) == (0.7, 30.0, True)
    told = load_recipe("plug-steps").told()
    assert any("holds 70 % for 30 s" in sentence for sentence in told)

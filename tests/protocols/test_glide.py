"""Glides: evenly up and back, within their bound."""

from pathlib import Path

import pytest

from daq.errors import InputFault
from protocols.recipe import expand, load_recipe
from tests.protocols.files import changed


def test_the_shipped_glide_takes_as_long_as_its_parts_add_up_to() -> None:
    # Rests 3 + 4 s; 10 % at 50 %/s twice; two settles of 1 s; 80 % at 5 %/s twice.
    assert expand(load_recipe("glide")).duration_s == pytest.approx(
        7 + 2 * 0.2 + 2 * 1 + 2 * 16
    )


def test_a_glide_moves_evenly_up_and_back_and_holds_nothing_as_a_dwell() -> None:
    plan = expand(load_recipe("glide"))
    up, down = (s for s in plan.segments if s.kind == "glide")
    assert (up.leg, up.start_frac, up.end_frac) == ("up", 0.1, 0.9)
    assert (down.leg, down.start_frac, down.end_frac) == ("down", 0.9, 0.1)
    assert (up.step, down.step) == (1, 0)
    for glide in (up, down):
        assert glide.is_data
        assert glide.setpoint_at(8.0) == pytest.approx(0.5)
    assert not [s for s in plan.segments if s.kind == "dwell"]


def test_a_glide_may_be_repeated_with_a_rest_between(tmp_path: Path) -> None:
    path = changed(
        tmp_path,
        "glide",
        ("settle_s", "repeats = 3\nsettle_s"),
        ("after = 4.0", "between = 5.0\nafter = 4.0"),
    )
    recipe = load_recipe(path)
    plan = expand(recipe)
    assert [s.leg for s in plan.segments if s.kind == "glide"] == ["up", "down"] * 3
    assert [s.duration_s for s in plan.segments if s.kind == "rest"] == [3, 5, 5, 4]
    assert any("3 times" in sentence for sentence in recipe.told())


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("percent_per_s = 5", "percent_per_s = 11", "percent_per_s is 11; .* most 10"),
        ("percent_per_s = 5", "percent_per_s = 0.1", "percent_per_s .* least 0.2"),
        ("high_percent = 90", "high_percent = 15", "high_percent is 15; .* least 10"),
        ("high_percent = 90", "high_percent = 5", "high_percent is 5; .* least 10"),
        ("settle_s", "repeats = 2\nsettle_s", "rest_s.between is missing"),
        ("after", "between = 3.0\nafter", "rest_s.between has no meaning without"),
        ("settle_s = 1.0", "dwell_s = 1.0", "dwell_s is not a known key"),
    ],
)
def test_a_fault_in_a_file_names_file_and_key_and_what_is_allowed(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    path = changed(tmp_path, "glide", (old, new))
    with pytest.raises(InputFault, match=says) as caught:
        load_recipe(path)
    assert str(caught.value).startswith(f"{path}: ")

"""Idle spins: capped in throttle and speed, and saying so."""

import math
from pathlib import Path

import pytest

from daq.errors import InputFault
from protocols.recipe import expand, load_recipe
from tests.protocols.files import changed


def test_the_shipped_idle_spin_brings_its_caps_into_the_plan() -> None:
    plan = expand(load_recipe("idle-spin"))
    assert plan.propeller_off
    assert plan.max_throttle_frac == 0.3
    # 30000 rpm in rad/s, by the definition of the revolution.
    assert plan.speed_cap_rad_s == pytest.approx(30_000 / 60 * 2 * math.pi)


def test_a_plan_without_propeller_says_so_in_its_title_whoever_wrote_it(
    tmp_path: Path,
) -> None:
    title = "Idle spin, propeller off, six levels to 30 %"
    assert expand(load_recipe("idle-spin")).title == title
    path = changed(tmp_path, "idle-spin", (title, "Bearings"))
    assert expand(load_recipe(path)).title == "Bearings (propeller off)"


def test_what_is_told_begins_with_taking_the_propeller_off() -> None:
    told = load_recipe("idle-spin").told()
    assert told[0].startswith("Take the propeller off")
    assert any("30000 rpm" in sentence for sentence in told)


def test_an_idle_spin_may_come_down_again(tmp_path: Path) -> None:
    path = changed(
        tmp_path,
        "idle-spin",
        ("up_and_down = false", "up_and_down = true"),
        ("after = 3.0", "between = 3.0\nafter = 3.0"),
    )
    recipe = load_recipe(path)
    legs = [s.leg for s in expand(recipe).segments if s.kind == "dwell"]
    assert legs == ["up"] * 6 + ["down"] * 6
    assert any("the same levels down" in sentence for sentence in recipe.told())


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("25, 30]", "25, 31]", "levels_percent goes to 31; .* at or below 30"),
        ("max_rpm = 30000\n", "", "max_rpm is missing"),
        ("max_rpm = 30000", "max_rpm = 0", "max_rpm is 0; it must be at least 1000"),
        ('propeller = "off"\n', "", "propeller is missing"),
        ('propeller = "off"', 'propeller = "on"', "propeller is \"on\"; .* 'off'"),
        ("up_and_down = false", "up_and_down = true", "rest_s.between is missing"),
        ("after", "between = 3.0\nafter", "rest_s.between has no meaning"),
    ],
)
def test_a_fault_in_a_file_names_file_and_key_and_what_is_allowed(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    path = changed(tmp_path, "idle-spin", (old, new))
    with pytest.raises(InputFault, match=says) as caught:
        load_recipe(path)
    assert str(caught.value).startswith(f"{path}: ")

"""The endurance protocol: what it needs to know, and what it then plans."""

from pathlib import Path

import pytest

from daq import units
from daq.errors import InputFault
from protocols.caps import EMPTIED_SHARE, blind_hold, ruled, unheld_goal
from protocols.held_on_paper import HELD_SHARE
from protocols.limits import Tightening, tighten
from protocols.preview import preview
from protocols.recipe import expand, load_recipe
from protocols.rules import USABLE_CHARGE
from protocols.task import Task
from protocols.unprotected import objection
from tests.lined import described
from tests.protocols.articles import article
from tests.spins import NONCE
from ui.ordered import limits_for, order_for, rules_for

SHIPPED = Path("protocols/catalogue/hover-endurance.toml")


def recipe_file(folder: Path, **changes: object) -> str:
    """The shipped file with keys changed; a key that is None is taken out."""
    text = SHIPPED.read_text(encoding="utf-8")
    for key, value in changes.items():
        lines = [x for x in text.splitlines() if not x.startswith(f"{key} = ")]
        at = next(
            n
            for n, x in enumerate(lines)
            if x.startswith(("start_percent", "lowest_percent"))
        )
        if value is not None:
            lines.insert(at, f"{key} = {value}")
        text = "\n".join(lines)
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_hover_is_all_up_weight_over_motors_and_the_floor_lies_above_the_trip() -> None:
    quad = article()
    plan = expand(load_recipe("hover-endurance"), quad)
    (goal,) = plan.goals
    assert units.n_to_gf(goal.thrust_n) == pytest.approx(180 / 4)
    assert goal.floor_v == pytest.approx(3 * 3.35)
    (voltage,) = (x for x in limits_for(quad, 1000.0) if x.channel == "voltage")
    assert voltage.low == pytest.approx(9.9)
    kinds = [segment.kind for segment in plan.segments]
    assert kinds == ["rest", "ramp", "hold", "ramp", "rest"]


def test_a_thrust_and_a_floor_may_be_stated(tmp_path: Path) -> None:
    path = recipe_file(tmp_path, thrust_gf=60, floor_cell_v=3.5)
    (goal,) = expand(load_recipe(path), article("aircraft")).goals
    assert units.n_to_gf(goal.thrust_n) == pytest.approx(60)
    assert goal.floor_v == pytest.approx(10.5)


@pytest.mark.parametrize(
    ("quad", "why"),
    [
        (article("aircraft"), "has no aircraft.all_up_g: add it, or state thrust_gf"),
        (article("aircraft__all_up_g"), "has no aircraft.all_up_g"),
        (
            article("pack", supply={"voltage_v": 12.6, "current_limit_a": 14.0}),
            "empties a pack, and the article .* is fed by a supply",
        ),
        (None, "goes by its article's pack and aircraft; say what is tested"),
    ],
)
def test_what_the_article_does_not_say_is_asked_for(quad: object, why: str) -> None:
    with pytest.raises(InputFault, match=why):
        expand(load_recipe("hover-endurance"), quad)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"start_percent": 10}, "start_percent is 10"),
        ({"highest_percent": 20}, "start_percent is 25"),
        ({"longest_s": 20}, "longest_s"),
        ({"highest_percent": 99, "longest_s": 36}, "from start_percent to"),
        ({"thrust_gf": '"half"'}, "thrust_gf"),
        ({"thrust_gf": 0}, "thrust_gf"),
        ({"floor_cell_v": 1.0}, "floor_cell_v"),
        ({"after": 60.0}, "rest_s.after is 60.0; an armed stand"),
    ],
)
def test_a_file_that_cannot_be_is_refused_in_a_sentence(
    tmp_path: Path, changes: dict[str, object], why: str
) -> None:
    text = Path(recipe_file(tmp_path, **changes)).read_text(encoding="utf-8")
    path = tmp_path / "mine.toml"
    if "after" in changes:
        text = SHIPPED.read_text(encoding="utf-8").replace(
            "after = 20.0", "after = 60.0"
        )
        path.write_text(text, encoding="utf-8")
    with pytest.raises(InputFault, match=why):
        expand(load_recipe(str(path)), article())


def test_a_floor_where_the_guard_trips_is_refused(tmp_path: Path) -> None:
    path = recipe_file(tmp_path, floor_cell_v=3.3)
    with pytest.raises(InputFault, match=r"let it end at 3.35 V or above"):
        expand(load_recipe(path), article())


def test_a_limit_tightened_above_the_floor_is_refused() -> None:
    quad = article()
    plan = expand(load_recipe("hover-endurance"), quad)
    limits = limits_for(quad, 1000.0)
    assert unheld_goal(plan, limits) is None
    tight = tighten(limits, [Tightening("voltage", low=10.2)])
    with pytest.raises(InputFault, match=r"ends at 10.05 V under load, where"):
        Task(plan, tight, NONCE)


def test_a_stand_that_cannot_see_it_holds_no_thrust() -> None:
    quad = article()
    plan = expand(load_recipe("hover-endurance"), quad)
    with pytest.raises(InputFault, match="must measure thrust, with a limit"):
        Task(plan, limits_for(quad, None), NONCE)
    with pytest.raises(InputFault, match="holds 45 gf, and the limit on thrust is 40"):
        order_for("hover-endurance", quad, 40.0)
    assert "measures no thrust" in str(blind_hold(plan, ["thrust"]))
    assert blind_hold(plan, ["speed"]) is None


def test_no_thrust_is_held_on_a_stand_that_cannot_protect_itself() -> None:
    plan = expand(load_recipe("hover-endurance"), article())
    assert "no thrust is held" in str(objection(plan, described()))


def test_the_budget_is_all_that_a_pack_may_hold_and_no_more() -> None:
    quad = article()
    plain = rules_for(quad)
    rules = ruled(expand(load_recipe("hover-endurance"), quad), plain)
    assert plain.charge_c == pytest.approx(USABLE_CHARGE * 1620)
    assert rules.charge_c == pytest.approx(EMPTIED_SHARE * 1620)
    assert rules.energy_j == pytest.approx(EMPTIED_SHARE * 1620 * 3 * 3.7)
    staircase = expand(load_recipe("staircase"))
    assert ruled(staircase, plain) == plain


def test_on_paper_it_takes_most_of_the_pack_at_the_throttle_that_it_needs() -> None:
    quad = article()
    plan = expand(load_recipe("hover-endurance"), quad)
    seen = preview(plan, quad, limits_for(quad, 1000.0))
    (row,) = (row for row in seen.rows if row.held is not None)
    assert row.charge_c == pytest.approx(HELD_SHARE * 1620)
    assert 0.25 < row.end_frac < 0.4
    assert row.lasts_s == pytest.approx(row.charge_c / row.mean_current_a)
    assert seen.expected_s < seen.duration_s == plan.duration_s
    # Limits are held against the highest throttle that it may use.
    assert seen.peak_current_a > 4 * row.mean_current_a
    assert any("empties the pack" in warning for warning in seen.warnings)
    assert not any("split it over two packs" in warning for warning in seen.warnings)


def test_without_a_thrust_coefficient_the_guess_says_so() -> None:
    quad = article("propeller__thrust_coefficient")
    seen = preview(expand(load_recipe("hover-endurance"), quad), quad)
    (row,) = (row for row in seen.rows if row.held is not None)
    assert row.end_frac == 0.25
    assert any("guesses" in said for said in seen.assumptions)

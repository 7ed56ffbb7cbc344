from collections import Counter
from importlib import resources
from pathlib import Path

import pytest

from daq.errors import InputFault
from daq.records.wirelog import Reader
from protocols.plan import MAX_RAMP_FRAC_PER_S
from protocols.recipe import Recipe, catalogue_names, expand, load_recipe
from tests.protocols.articles import article

SHIPPED = resources.files("protocols.catalogue").joinpath("short-staircase.toml")


def written(folder: Path, old: str = "", new: str = "") -> Path:
    """The short staircase as a person's own file, one line changed."""
    text = SHIPPED.read_text(encoding="utf-8")
    assert text.count(old) >= 1
    path = folder / "mine.toml"
    path.write_text(text.replace(old, new, 1) if old else text, encoding="utf-8")
    return path


def levels_dwelt_on(recipe: Recipe) -> list[float]:
    return [
        round(100 * segment.end_frac, 9)
        for segment in expand(recipe).segments
        if segment.kind == "dwell"
    ]


def test_the_catalogue_ships_every_kind() -> None:
    assert catalogue_names() == (
        "glide",
        "hover-endurance",
        "idle-spin",
        "low-staircase",
        "pack-pulses",
        "plug-load",
        "plug-steps",
        "punch",
        "round-robin",
        "short-staircase",
        "shuffled-staircase",
        "staircase",
        "supply-noise",
    )


@pytest.mark.parametrize("name", catalogue_names())
def test_a_shipped_protocol_is_named_like_its_file_and_expands(name: str) -> None:
    recipe = load_recipe(name)
    assert recipe.name == name
    plan = expand(recipe, article())
    assert (plan.protocol, plan.title) == (name, recipe.title)
    assert plan.segments[0].kind == plan.segments[-1].kind == "rest"
    assert any(segment.is_data for segment in plan.segments)


@pytest.mark.parametrize("name", catalogue_names())
def test_a_recipe_is_told_in_whole_sentences(name: str) -> None:
    told = load_recipe(name).told()
    assert len(told) >= 3
    for sentence in told:
        assert sentence[0].isupper()
        assert sentence.endswith(".")
        assert sentence.isascii()


@pytest.mark.parametrize("name", ["staircase", "short-staircase"])
def test_a_rising_staircase_goes_up_to_95_percent(name: str) -> None:
    assert expand(load_recipe(name)).max_throttle_frac == 0.95


def test_the_staircase_takes_as_long_as_its_parts_add_up_to() -> None:
    # 12 levels of 1.2 + 2.5 s; 4 x 95 % of ramp at 50 %/s; rests of 3 + 4 + 4 s.
    plan = expand(load_recipe("staircase"))
    assert plan.duration_s == pytest.approx(12 * 3.7 + 4 * 95 / 50 + 11)
    assert 60 <= plan.duration_s <= 75


def test_the_short_staircase_takes_as_long_as_its_parts_add_up_to() -> None:
    # 12 levels of 0.6 + 1.2 s; 4 x 95 % of ramp at 100 %/s; rests of 2 + 2.5 + 2.5 s.
    plan = expand(load_recipe("short-staircase"))
    assert plan.duration_s == pytest.approx(12 * 1.8 + 4 * 95 / 100 + 7)
    assert 30 <= plan.duration_s <= 35


def test_levels_are_walked_up_and_then_down_and_the_top_is_held_twice() -> None:
    up = [20, 35, 50, 65, 80, 95]
    assert levels_dwelt_on(load_recipe("staircase")) == up + up[::-1]


def test_a_level_has_the_same_step_on_both_legs() -> None:
    dwells = [
        segment
        for segment in expand(load_recipe("staircase")).segments
        if segment.kind == "dwell"
    ]
    seen = Counter((segment.step, segment.end_frac) for segment in dwells)
    assert set(seen.values()) == {2}
    assert len(seen) == 6


def test_the_motor_rests_before_between_and_after() -> None:
    plan = expand(load_recipe("staircase"))
    rests = [segment for segment in plan.segments if segment.kind == "rest"]
    assert [segment.duration_s for segment in rests] == [3.0, 4.0, 4.0]
    assert plan.segments[0].kind == plan.segments[-1].kind == "rest"


def test_a_ramp_to_zero_belongs_to_the_rest_it_leads_to() -> None:
    segments = expand(load_recipe("staircase")).segments
    downward = [
        segment
        for segment in segments
        if segment.kind == "ramp" and segment.end_frac == 0
    ]
    assert [(segment.leg, segment.step) for segment in downward] == [("rest", -1)] * 2


def test_a_staircase_may_go_up_only(tmp_path: Path) -> None:
    path = written(tmp_path, "up_and_down = true", "up_and_down = false")
    path.write_text(path.read_text().replace("between = 2.5\n", ""))
    recipe = load_recipe(path)
    assert levels_dwelt_on(recipe) == [20, 35, 50, 65, 80, 95]
    assert {segment.leg for segment in expand(recipe).segments} == {"rest", "up"}


def test_the_lease_reaches_the_plan_in_seconds(tmp_path: Path) -> None:
    path = written(tmp_path, "lease_ms = 200", "lease_ms = 150")
    assert expand(load_recipe(path)).lease_s == 0.15


def test_a_path_as_text_is_taken_as_a_path(tmp_path: Path) -> None:
    assert load_recipe(str(written(tmp_path))).name == "short-staircase"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("dwell_s = 1.2", "dwell_s = -1.2", "dwell_s is -1.2; it must be at least 0.2"),
        (
            "80, 95]",
            "80, 140]",
            "levels_percent value 6 is 140; it must be at most 100",
        ),
        ("[20, 35", "[0, 35", "levels_percent value 1 is 0; it must be at least 1"),
        ("[20, 35", "[40, 40", "at least 1 above the one before"),
        ("[20, 35", "[60, 40", "at least 1 above the one before"),
        ("[20, 35, 50, 65, 80, 95]", "[]", "levels_percent .* at least 1 value"),
        ("[20, 35, 50, 65, 80, 95]", "20", "levels_percent is 20; .* list"),
        ("[20, 35", '["20", 40', 'value 1 is "20"; it must be a number'),
        ("= 100\n", "= 201\n", "ramp_percent_per_s is 201; it must be at most 200"),
        ("= 100\n", "= 0\n", "ramp_percent_per_s is 0; it must be at least 1"),
        ("= 100\n", "= nan\n", "ramp_percent_per_s is nan; .* finite"),
        ("settle_s = 0.6", "settle_s = inf", "settle_s is inf; .* finite"),
        ("settle_s = 0.6", "", "settle_s is missing"),
        (
            "settle_s",
            "setle_s",
            "setle_s is not a known key; settle_s was probably meant",
        ),
        ("before = 2.0", "before = 1.9", "rest_s.before is 1.9; .* at least 2"),
        ("before = 2.0", "befor = 2.0", "rest_s.befor .* before was probably meant"),
        ("between = 2.5", "", "rest_s.between is missing"),
        ("up_and_down = true", "up_and_down = false", "no meaning without up_and_down"),
        ("up_and_down = true", "up_and_down = 1", "up_and_down is 1; .* true or false"),
        ("lease_ms = 200", "lease_ms = 501", "lease_ms is 501; it must be at most 500"),
        ("lease_ms = 200", "lease_ms = 49", "lease_ms is 49; it must be at least 50"),
        ("lease_ms = 200", "lease_ms = 200.5", "lease_ms is 200.5; .* whole number"),
        ("format = 1", "format = 2", "format is 2; it must be 1"),
        ('kind = "staircase"', "", "kind is missing"),
        ("up_and_down = true", "", "up_and_down is missing; a rising staircase needs"),
        ("up_and_down = true", "up_and_down = true\nseed = 1", "seed has no meaning"),
        (
            '"staircase"',
            '"spiral"',
            "kind is \"spiral\"; it must be 'staircase', 'glide'",
        ),
        ('"short-staircase"', '"Short one"', "lower-case letters, digits and hyphens"),
    ],
)
def test_a_fault_in_a_file_names_file_and_key_and_what_is_allowed(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    path = written(tmp_path, old, new)
    with pytest.raises(InputFault, match=says) as caught:
        load_recipe(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert "\n" not in str(caught.value)


def test_broken_toml_names_the_line(tmp_path: Path) -> None:
    path = written(tmp_path, "dwell_s = 1.2", "dwell_s = = 1.2")
    line = path.read_text().splitlines().index("dwell_s = = 1.2") + 1
    with pytest.raises(InputFault, match=rf"mine\.toml is not valid TOML.*line {line}"):
        load_recipe(path)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"gone\.toml: there is no such file"):
        load_recipe(tmp_path / "gone.toml")


def test_an_unknown_name_lists_the_known_ones_and_suggests_the_nearest() -> None:
    with pytest.raises(InputFault, match="shuffled-staircase, staircase and") as caught:
        load_recipe("stairs")
    assert "Did you mean staircase?" in str(caught.value)


@pytest.mark.parametrize("name", ["", "..", "__init__", "staircase ", "STAIRCASE"])
def test_a_name_cannot_lead_out_of_the_catalogue(name: str) -> None:
    with pytest.raises(InputFault, match="no protocol"):
        load_recipe(name)


def test_the_steepest_ramp_a_file_may_ask_for_is_one_that_a_plan_takes(
    tmp_path: Path,
) -> None:
    recipe = load_recipe(written(tmp_path, "= 100\n", "= 200\n"))
    steepest = max(
        abs(segment.end_frac - segment.start_frac) / segment.duration_s
        for segment in expand(recipe).segments
    )
    assert steepest == pytest.approx(MAX_RAMP_FRAC_PER_S)


def test_a_shipped_staircase_expands_as_it_did_when_the_sample_run_was_made() -> None:
    # What an older version wrote into the record of sample_runs/short-staircase-a.
    log = Path(__file__).parents[2] / "sample_runs/short-staircase-a/wire.log"
    header = next(Reader.open(log).records()).json()
    task = header["task"]
    assert isinstance(task, dict)
    assert expand(load_recipe("short-staircase")).to_dict() == task["plan"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "format is missing"),
        ("format = 1", "kind is missing"),
        ('format = 1\nkind = ["glide"]', "kind is \\['glide'\\]; it must be"),
        ("kind = 3\nformat = 2", "format is 2; it must be 1"),
        (
            'format = 1\nkind = "glide"\nglide = 3',
            "glide is not a known key; known are",
        ),
        ("format = 1\nname = 'a", "is not valid TOML"),
        ("\x00", "is not valid TOML"),
    ],
)
def test_a_file_that_is_hardly_a_protocol_is_still_one_sentence(
    tmp_path: Path, text: str, says: str
) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputFault, match=says) as caught:
        load_recipe(path)
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)

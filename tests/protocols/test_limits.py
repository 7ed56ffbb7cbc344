import json
import math
import tomllib
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq import units
from daq.errors import InputFault
from daq.records.shelf import Article
from protocols.limits import (
    Limit,
    Tightening,
    allowed,
    brief,
    derive,
    inside,
    limits_from_dicts,
    tighten,
    to_trade,
)
from protocols.rated import Ratings
from protocols.ratings import ratings_of
from tests.protocols.articles import article

REFERENCE = Path(__file__).parents[1] / "reference"

RATINGS = Ratings(
    plug_current_a=12,
    motor_max_current_a=14,
    esc_continuous_a=20,
    pack_max_current_a=33.75,
    pack_cells=3,
    propeller_max_speed_rad_s=units.rpm_to_rad_s(42_000),
    no_load_speed_rad_s=units.rpm_to_rad_s(50_000),
    load_cell_range_n=units.gf_to_n(1000),
)
CURRENT_RATINGS = (
    "plug_current_a",
    "motor_max_current_a",
    "esc_continuous_a",
    "pack_max_current_a",
)
ALL = ("thrust", "current", "voltage", "speed")


def one(ratings: Ratings, channel: str) -> Limit:
    (limit,) = derive(ratings, (channel,))
    return limit


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (math.nan, False),
        (math.inf, False),
        (-math.inf, False),
        (0.0, True),
        (10.0, True),
        (10.000001, False),
        (-0.000001, False),
    ],
)
def test_only_a_finite_value_between_the_bounds_is_inside(
    value: float, expected: bool
) -> None:
    assert inside(0.0, value, 10.0) is expected
    assert Limit("x", 0.0, 10.0, 1, 0.1, "test").allows(value) is expected


def test_nothing_is_inside_bounds_that_are_not_numbers() -> None:
    assert not inside(math.nan, 1.0, 2.0)
    assert not inside(0.0, 1.0, math.nan)


def test_an_infinite_reading_is_outside_even_an_open_side() -> None:
    assert not inside(-math.inf, -math.inf, 10.0)


def test_the_tightest_current_rating_wins_and_names_what_it_beat() -> None:
    limit = one(RATINGS, "current")
    assert limit.high == 12
    assert limit.source == "plug 12 A, tighter than motor 14 A"


@pytest.mark.parametrize("key", CURRENT_RATINGS)
def test_each_current_rating_can_be_the_tightest(key: str) -> None:
    known = {key: getattr(RATINGS, key) for key in CURRENT_RATINGS} | {key: 3.5}
    assert one(Ratings(**known), "current").high == 3.5


def test_a_single_rating_says_that_it_stands_alone() -> None:
    assert one(Ratings(plug_current_a=12), "current").source == (
        "plug 12 A, the only rating known"
    )


def test_a_short_time_rating_counts_only_where_there_is_no_other() -> None:
    short = Ratings(motor_short_current_a=16, motor_short_s=30, esc_burst_a=25)
    limit = one(short, "current")
    assert limit.high == 16
    assert limit.source == (
        "motor 16 A for 30 s, tighter than ESC burst of 25 A, taken for 10 s"
    )
    assert one(replace(short, motor_max_current_a=9), "current").high == 9
    assert one(replace(short, esc_continuous_a=10), "current").high == 10


@pytest.mark.parametrize("channel", ALL)
def test_no_limit_is_derived_without_any_current_rating(channel: str) -> None:
    unrated = Ratings(pack_cells=3, load_cell_range_n=10)
    with pytest.raises(InputFault, match=r"plug\.rated_a.*motor\.max_current_a"):
        derive(unrated, (channel,))


def test_a_current_sensor_wired_backwards_is_outside() -> None:
    limit = one(RATINGS, "current")
    assert limit.low == -3  # a quarter of 12 A
    assert not limit.allows(-4.0)
    assert limit.allows(-0.2)


def test_voltage_bounds_a_cell_are_the_usual_ones() -> None:
    # Open flight controllers ship 3.3 V least and 4.3 V most a cell, for cells
    # charged to 4.2 V: tests/reference/connectors_batteries.toml, lipo_cell.
    practice = tomllib.loads((REFERENCE / "connectors_batteries.toml").read_text())
    shipped = practice["lipo_cell"]["flight_controller_defaults"]
    assert "maximum 4.3 V" in shipped
    assert "minimum 3.3 V per cell" in shipped
    limit = one(RATINGS, "voltage")
    assert limit.low == pytest.approx(3 * 3.3)
    assert limit.high == pytest.approx(3 * 4.3)
    assert limit.allows(3 * practice["lipo_cell"]["full_V"])
    assert not limit.allows(3 * practice["lipo_cell"]["damage_below_V"])


def test_voltage_follows_the_pack_it_is_given() -> None:
    limit = one(
        replace(RATINGS, pack_cells=4, pack_min_cell_v=3.0, pack_max_cell_v=4.35),
        "voltage",
    )
    assert limit.low == pytest.approx(12.0)
    assert limit.high == pytest.approx(17.8)


def test_voltage_without_a_source_names_the_keys_to_add() -> None:
    with pytest.raises(InputFault, match=r"pack\.cells, or supply\.voltage_v"):
        one(replace(RATINGS, pack_cells=None), "voltage")


def test_a_load_cell_mounted_backwards_is_outside_at_a_tenth_of_its_range() -> None:
    limit = one(RATINGS, "thrust")
    # 1 gf = 9.80665e-3 N exactly: CGPM 1901.
    assert limit.high == pytest.approx(9.80665)
    assert limit.low == pytest.approx(-0.980665)
    assert "load cell 1000 gf" in limit.source


def test_thrust_without_a_load_cell_range_is_refused() -> None:
    with pytest.raises(InputFault, match="load cell"):
        one(replace(RATINGS, load_cell_range_n=None), "thrust")


def test_speed_takes_the_tighter_of_propeller_and_motor() -> None:
    limit = one(RATINGS, "speed")
    assert units.rad_s_to_rpm(limit.high) == pytest.approx(42_000)
    assert limit.source.endswith("tighter than motor without load 55000 rpm")
    unmarked = replace(RATINGS, propeller_max_speed_rad_s=None)
    assert units.rad_s_to_rpm(one(unmarked, "speed").high) == pytest.approx(55_000)


def test_speed_has_no_limit_where_no_speed_is_known() -> None:
    blind = replace(RATINGS, propeller_max_speed_rad_s=None, no_load_speed_rad_s=None)
    assert [limit.channel for limit in derive(blind, ALL)] == [
        "current",
        "voltage",
        "thrust",
    ]


@pytest.mark.parametrize(
    ("channel", "persistence", "max_age_s"),
    [("current", 3, 0.1), ("voltage", 10, 0.1), ("thrust", 2, 0.5), ("speed", 5, 0.5)],
)
def test_each_channel_has_its_patience(
    channel: str, persistence: int, max_age_s: float
) -> None:
    # Common practice, no source.
    limit = one(RATINGS, channel)
    assert (limit.persistence, limit.max_age_s) == (persistence, max_age_s)


def test_sources_are_one_short_clause() -> None:
    assert {x.channel: x.source for x in derive(RATINGS, ALL)} == {
        "current": "plug 12 A, tighter than motor 14 A",
        "voltage": "3 cells of 3.3 V under load to 4.3 V",
        "thrust": "load cell 1000 gf",
        "speed": "propeller 42000 rpm, tighter than motor without load 55000 rpm",
    }


def test_a_part_that_is_timed_counts_with_its_short_time_current() -> None:
    timed = replace(RATINGS, plug_short_a=18, plug_short_s=10)
    assert one(timed, "current").high == 12
    (limit,) = derive(timed, ("current",), timed=("plug",))
    assert limit.high == 14
    assert limit.source == "motor 14 A, tighter than plug 18 A for 10 s"
    both = replace(timed, motor_short_current_a=30, motor_short_s=5)
    (limit,) = derive(both, ("current",), timed=("plug", "motor"))
    assert limit.high == 18
    assert limit.source == "plug 18 A for 10 s, tighter than ESC 20 A"


@pytest.mark.parametrize(
    ("part", "keys"),
    [
        ("plug", r"plug\.short_a and plug\.short_s"),
        ("motor", r"motor\.short_current_a and motor\.short_s"),
        ("esc", r"esc\.burst_a and esc\.burst_s"),
    ],
)
@pytest.mark.parametrize("channels", [("current",), ("voltage",)])
def test_a_part_cannot_be_timed_without_a_short_time_rating(
    part: str, keys: str, channels: tuple[str, ...]
) -> None:
    with pytest.raises(InputFault, match=f"without a short-time rating: add {keys}"):
        derive(RATINGS, channels, timed=(part,))


def test_an_esc_whose_maker_does_not_say_how_long_cannot_be_timed() -> None:
    with pytest.raises(InputFault, match=r"the ESC cannot be timed.*esc\.burst_s"):
        derive(replace(RATINGS, esc_burst_a=25), ("current",), timed=("esc",))


@pytest.mark.parametrize("short_a", [12, 11])
def test_a_short_time_rating_has_to_lie_above_the_continuous_one(short_a: int) -> None:
    flat = replace(RATINGS, plug_short_a=short_a, plug_short_s=10)
    with pytest.raises(InputFault, match=f"short-time {short_a} A does not lie above"):
        derive(flat, ("current",), timed=("plug",))


def test_what_cannot_be_timed_lists_what_can() -> None:
    with pytest.raises(InputFault, match=r"'pack' has no timed.*plug, motor, esc"):
        derive(RATINGS, ("current",), timed=("pack",))


SUPPLIED = Ratings(plug_current_a=12, supply_v=12, supply_current_a=5)


def test_a_bench_supply_bounds_the_voltage_about_what_it_is_set_to() -> None:
    limit = one(SUPPLIED, "voltage")
    assert limit.low == pytest.approx(10.8)
    assert limit.high == pytest.approx(13.2)
    assert limit.source == "supply 12 V, 10 % either way"


def test_a_bench_supply_counts_with_the_current_it_can_give() -> None:
    limit = one(SUPPLIED, "current")
    assert limit.high == 5
    assert limit.source == "supply 5 A, tighter than plug 12 A"


def test_only_channels_that_the_stand_has_get_a_limit() -> None:
    limits = derive(RATINGS, ("temperature", "voltage"))
    assert [limit.channel for limit in limits] == ["voltage"]


def test_a_stand_on_which_nothing_can_be_guarded_is_refused() -> None:
    with pytest.raises(InputFault, match="no limit can be set"):
        derive(RATINGS, ("temperature",))


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_a_rating_that_is_no_positive_number_is_refused(value: float) -> None:
    with pytest.raises(InputFault, match="plug_current_a"):
        Ratings(plug_current_a=value)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"low": 5.0, "high": 5.0}, "below the high one"),
        ({"low": math.nan}, "below the high one"),
        ({"high": math.nan}, "below the high one"),
        ({"low": -math.inf, "high": math.inf}, "no bound at all"),
        ({"persistence": 0}, "from 1 to 255"),
        ({"persistence": 256}, "from 1 to 255"),
        ({"max_age_s": 0.0}, "silence"),
        ({"max_age_s": 3.0}, "silence"),
        ({"max_age_s": math.nan}, "silence"),
        ({"channel": ""}, "must name"),
        ({"source": ""}, "must name"),
    ],
)
def test_a_limit_that_cannot_guard_is_refused(
    changes: dict[str, float], says: str
) -> None:
    sound = Limit("current", 0.0, 12.0, 3, 0.1, "test")
    with pytest.raises(InputFault, match=says):
        replace(sound, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("age_s", [0.01, 2.55])
@pytest.mark.parametrize("persistence", [1, 255])
def test_what_the_link_can_just_carry_is_a_limit(
    persistence: int, age_s: float
) -> None:
    limit = Limit("current", -math.inf, 12.0, persistence, age_s, "test")
    assert (limit.persistence, limit.max_age_s) == (persistence, age_s)


def test_limits_survive_their_trip_through_json() -> None:
    limits = derive(RATINGS, ALL)
    text = json.dumps([limit.to_dict() for limit in limits], allow_nan=False)
    assert limits_from_dicts(json.loads(text)) == limits


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("high", "12", "must be a number"),
        ("high", True, "must be a number"),
        ("high", math.inf, "must be finite"),
        ("low", math.nan, "must be finite"),
        ("persistence", 2.0, "whole number"),
        ("source", None, "must be text"),
        ("note", "x", "'note' is not a field"),
    ],
)
def test_a_damaged_limit_is_refused(key: str, value: object, says: str) -> None:
    row = one(RATINGS, "current").to_dict() | {key: value}
    with pytest.raises(InputFault, match=says):
        limits_from_dicts([row])


def test_an_empty_or_doubled_set_is_refused() -> None:
    row = one(RATINGS, "current").to_dict()
    with pytest.raises(InputFault, match="empty"):
        limits_from_dicts([])
    with pytest.raises(InputFault, match="current twice"):
        limits_from_dicts([row, row])


def test_a_limit_tightened_by_hand_says_so_and_keeps_its_origin() -> None:
    tightened = tighten(derive(RATINGS, ALL), [Tightening("current", high=8.0)])
    assert [limit.channel for limit in tightened] == [
        "current",
        "voltage",
        "thrust",
        "speed",
    ]
    assert tightened[0].high == 8.0
    assert tightened[0].source.startswith("tightened by hand, from plug 12 A")
    assert tightened[1:] == derive(RATINGS, ALL)[1:]


@given(
    low=st.none() | st.floats(allow_nan=True),
    high=st.none() | st.floats(allow_nan=True),
    persistence=st.none() | st.integers(-5, 300),
    max_age_s=st.none() | st.floats(allow_nan=True),
)
def test_no_wish_of_any_kind_ever_loosens_a_limit(
    low: float | None,
    high: float | None,
    persistence: int | None,
    max_age_s: float | None,
) -> None:
    before = one(RATINGS, "current")
    wish = Tightening("current", low, high, persistence, max_age_s)
    try:
        (after,) = tighten([before], [wish])
    except InputFault:
        return
    assert after.low >= before.low
    assert after.high <= before.high
    assert after.persistence <= before.persistence
    assert after.max_age_s <= before.max_age_s


@pytest.mark.parametrize(
    "wish",
    [
        Tightening("current", high=12.5),
        Tightening("current", high=math.nan),
        Tightening("current", low=-20.0),
        Tightening("current", persistence=4),
        Tightening("current", max_age_s=0.2),
    ],
)
def test_a_loosening_is_refused_and_names_what_it_would_loosen(
    wish: Tightening,
) -> None:
    with pytest.raises(InputFault, match=r"only be tightened.*plug 12 A"):
        tighten(derive(RATINGS, ALL), [wish])


def test_two_wishes_for_one_channel_add_up() -> None:
    wishes = [Tightening("current", high=8.0), Tightening("current", high=9.0)]
    with pytest.raises(InputFault, match=r"would loosen 8\.0"):
        tighten(derive(RATINGS, ALL), wishes)


def test_a_wish_for_a_channel_without_a_limit_lists_those_with_one() -> None:
    with pytest.raises(InputFault, match="current, voltage"):
        tighten(
            derive(RATINGS, ("current", "voltage")), [Tightening("thrust", high=1.0)]
        )


def test_ratings_of_an_article_are_its_own_in_si() -> None:
    ratings = ratings_of(article(), load_cell_range_n=9.8)
    assert ratings.plug_current_a == 12
    # 75 C of 450 mAh: IEC 61960-3 counts current in multiples of the rated capacity
    # over one hour, 0.45 A here (tests/reference/connectors_batteries.toml).
    assert ratings.pack_max_current_a == pytest.approx(75 * 0.45)
    assert ratings.load_cell_range_n == 9.8
    assert ratings.propeller_max_speed_rad_s == pytest.approx(60_000 * math.pi / 30)
    assert ratings.no_load_speed_rad_s == pytest.approx(4600 * 12.6 * math.pi / 30)


def test_every_rating_comes_from_its_own_key() -> None:
    rated = article(
        plug__short_a=18,
        plug__short_s=10,
        motor__max_current_a=13,
        motor__short_current_a=16,
        motor__short_s=30,
        motor__max_winding_c=100,
        esc__burst_s=8,
        esc__max_temperature_c=90,
    )
    expected = Ratings(
        motor_max_current_a=13,
        motor_short_current_a=16,
        motor_short_s=30,
        esc_continuous_a=20,
        esc_burst_a=25,
        esc_burst_s=8,
        plug_current_a=12,
        plug_short_a=18,
        plug_short_s=10,
        pack_max_current_a=33.75,
        pack_cells=3,
        pack_min_cell_v=3.3,
        pack_max_cell_v=4.2,
        pack_capacity_c=1620,  # 0.45 A h
        propeller_max_speed_rad_s=60_000 * math.pi / 30,
        no_load_speed_rad_s=4600 * 12.6 * math.pi / 30,
        speed_per_volt_rad_s=4600 * math.pi / 30,
        load_cell_range_n=9.8,
        winding_max_k=373.15,
        esc_max_k=363.15,
    )
    ratings = ratings_of(rated, load_cell_range_n=9.8)
    assert asdict(ratings) == pytest.approx(asdict(expected))


def test_an_article_on_a_bench_supply_has_no_pack_to_rate() -> None:
    data = article().to_dict()
    del data["pack"], data["plug"]
    data["supply"] = {"name": "supply", "voltage_v": 12, "current_limit_a": 10}
    ratings = ratings_of(Article.from_dict(data, "test.toml"))
    assert (ratings.supply_v, ratings.supply_current_a) == (12, 10)
    assert ratings.no_load_speed_rad_s == pytest.approx(4600 * 12 * math.pi / 30)
    for missing in ("pack_max_current_a", "pack_cells", "pack_capacity_c"):
        assert getattr(ratings, missing) is None
    assert ratings.plug_current_a is None
    assert ratings.plug_short_a is None


@pytest.mark.parametrize(
    ("channel", "value", "shown", "unit"),
    [
        ("thrust", 0.980665, 100.0, "gf"),  # 1 gf = 9.80665e-3 N: CGPM 1901
        ("speed", 100 * math.pi, 3000.0, "rpm"),
        ("current", 1.5, 1.5, "A"),
        ("current-high", 1.5, 1.5, "A"),
        ("voltage", 11.1, 11.1, "V"),
        ("voltage-low", 11.1, 11.1, "V"),
        ("winding-temp", 373.15, 100.0, "degC"),
        ("esc-temp", 273.15, 0.0, "degC"),
        ("pulse", 1e-3, 1e-3, ""),
        ("plug-plus", 0.0321, 32.1, "mV"),
    ],
)
def test_a_person_reads_the_units_of_the_trade(
    channel: str, value: float, shown: float, unit: str
) -> None:
    read, read_unit = to_trade(channel, value)
    assert read == pytest.approx(shown)
    assert read_unit == unit


def test_an_article_that_rates_nothing_is_told_which_keys_to_add() -> None:
    unrated = article(
        "plug__rated_a",
        "motor__max_current_a",
        "esc__continuous_a",
        "esc__burst_a",
        "pack__c_rate",
    )
    with pytest.raises(InputFault, match=r"plug\.rated_a"):
        derive(ratings_of(unrated), ("current",))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (33.75, "33.8"),
        (12, "12"),
        (1000, "1000"),
        (41_963.4, "42000"),
        (-0.5, "-0.5"),
        (-4.67e-5, "-0.0000467"),
        (1.5e12, "1500000000000"),
        (-1e-12, "0"),
        (-math.inf, "-inf"),
    ],
)
def test_figures_in_words_have_three_digits_and_no_exponent(
    value: float, words: str
) -> None:
    assert brief(value) == words


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (9.9, 12.9, "9.9 to 12.9 V"),
        (-math.inf, 5, "up to 5 V"),
        (3, math.inf, "from 3 V"),
    ],
)
def test_what_a_limit_allows_is_said_without_an_infinity(
    low: float, high: float, words: str
) -> None:
    assert allowed(Limit("voltage", low, high, 1, 0.1, "a test")) == words

"""Rules: what only adds up over time, from ratings, and its way through JSON."""

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputFault
from protocols.rated import Ratings
from protocols.ratings import ratings_of
from protocols.rules import NO_RULES, Burst, Rules, derive_rules, plug_heat
from tests.protocols.articles import article

PLUG = Burst("plug", 12.0, 18.0, 10.0, "plug 18 A for 10 s, continuous 12 A")
WHOLE = Rules((PLUG,), 1296.0, 14385.6, 373.15, 363.15, 481.7, propeller_on=False)
TIMED = Ratings(
    plug_current_a=12,
    plug_short_a=18,
    plug_short_s=10,
    motor_max_current_a=14,
    motor_short_current_a=16,
    motor_short_s=30,
    esc_continuous_a=20,
    esc_burst_a=25,
    esc_burst_s=8,
)


def test_a_burst_may_take_the_square_above_the_continuous_one() -> None:
    assert PLUG.budget_a2s == (18 * 18 - 12 * 12) * 10


def test_a_part_that_nobody_asked_for_has_no_burst() -> None:
    assert derive_rules(TIMED).bursts == ()


def test_a_part_that_is_timed_has_one_with_its_words() -> None:
    assert derive_rules(TIMED, ("plug",)).bursts == (PLUG,)


def test_each_part_that_is_timed_is_counted_by_itself() -> None:
    bursts = derive_rules(TIMED, ("esc", "plug", "motor")).bursts
    assert [(b.part, b.continuous_a, b.short_a, b.short_s) for b in bursts] == [
        ("plug", 12, 18, 10),
        ("motor", 14, 16, 30),
        ("ESC", 20, 25, 8),
    ]


def test_a_part_with_nothing_but_a_short_time_rating_always_has_one() -> None:
    only = Ratings(motor_short_current_a=16, motor_short_s=30)
    assert derive_rules(only).bursts == (
        Burst(
            "motor",
            8.0,  # half the current is a quarter of the heat: common practice
            16.0,
            30.0,
            "motor 16 A for 30 s, continuous rating unknown and taken as 8 A",
        ),
    )


def test_a_burst_whose_maker_does_not_say_how_long_is_taken_for_ten_seconds() -> None:
    (burst,) = derive_rules(Ratings(esc_burst_a=25)).bursts
    assert burst.short_s == 10.0
    assert burst.source == (
        "ESC burst of 25 A, taken for 10 s, continuous rating unknown and taken as "
        "12.5 A"
    )


def test_a_part_cannot_be_timed_without_a_short_time_rating() -> None:
    with pytest.raises(InputFault, match=r"plug\.short_a and plug\.short_s"):
        derive_rules(Ratings(plug_current_a=12), ("plug",))


def test_a_pack_gives_four_fifths_of_what_it_is_rated_for() -> None:
    rules = derive_rules(ratings_of(article()))
    # 450 mAh; four fifths is common practice, 3.7 V a cell is what labels use.
    assert rules.charge_c == pytest.approx(0.8 * 0.45 * 3600)
    assert rules.energy_j == pytest.approx(0.8 * 0.45 * 3600 * 3 * 3.7)


def test_a_charge_without_cells_has_no_energy() -> None:
    rules = derive_rules(Ratings(pack_capacity_c=1000))
    assert rules.charge_c == pytest.approx(800)
    assert rules.energy_j is None


def test_what_nobody_rated_has_no_rule() -> None:
    rules = derive_rules(Ratings(plug_current_a=12))
    assert replace(rules, plug_heat_w=None) == NO_RULES


@pytest.mark.parametrize(
    ("rated", "heat_w", "why"),
    [
        ({}, 2.0, "usual for a plug that nobody rated"),
        ({"plug_current_a": 12.0}, 1.0, "which the smallest plug bears"),
        (
            {"plug_current_a": 30.0},
            3.6,
            "twice its rated 30 A in a usual contact of 1 milliohm",
        ),
        (
            {"plug_current_a": 30.0, "plug_contact_ohm": 0.5e-3, "plug_lead_ohm": 1e-3},
            5.4,
            "twice its rated 30 A in its data sheet's contact of 0.5 milliohm and the "
            "lead between its sense wires",
        ),
    ],
)
def test_what_a_pole_of_the_plug_may_have_of_heat(
    rated: dict[str, float], heat_w: float, why: str
) -> None:
    found_w, found = plug_heat(Ratings(**rated))  # type: ignore[arg-type]
    assert found_w == pytest.approx(heat_w)
    assert found == why


def test_a_plug_that_is_timed_may_be_as_hot_as_its_seconds_allow() -> None:
    rated = Ratings(plug_current_a=10, plug_short_a=40, plug_short_s=5)
    assert plug_heat(rated, ("plug",)) == (
        1.6,
        "40 A for seconds in a usual contact of 1 milliohm",
    )


def test_a_bench_supply_has_no_budget() -> None:
    rules = derive_rules(Ratings(plug_current_a=12, supply_v=12, supply_current_a=5))
    assert (rules.charge_c, rules.energy_j) == (None, None)


def test_temperatures_and_kv_go_through_as_they_are() -> None:
    rules = derive_rules(
        Ratings(winding_max_k=373.15, esc_max_k=363.15, speed_per_volt_rad_s=481.7)
    )
    assert replace(rules, plug_heat_w=None) == Rules(
        winding_max_k=373.15, esc_max_k=363.15, speed_per_volt_rad_s=481.7
    )


def test_a_plan_without_propeller_says_so() -> None:
    assert derive_rules(TIMED).propeller_on
    assert not derive_rules(TIMED, propeller_on=False).propeller_on


@pytest.mark.parametrize("rules", [NO_RULES, WHOLE])
def test_rules_survive_their_trip_through_json(rules: Rules) -> None:
    text = json.dumps(rules.to_dict(), allow_nan=False)
    assert Rules.from_dict(json.loads(text)) == rules


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"charge_c": 0}, "charge_c is 0"),
        ({"energy_j": -1.0}, "energy_j is -1"),
        ({"winding_max_k": "hot"}, "must be a number"),
        ({"esc_max_k": True}, "must be a number"),
        ({"speed_per_volt_rad_s": math.inf}, "must be finite"),
        ({"propeller_on": 1}, "propeller_on must be true or false"),
        ({"bursts": "plug"}, "must be a list"),
        ({"bursts": [1]}, "must be an object"),
        ({"note": 1}, "'note' is not a field"),
        ({"bursts": [PLUG.to_dict(), PLUG.to_dict()]}, "plug, plug"),
    ],
)
def test_damaged_rules_are_refused(changes: dict[str, object], says: str) -> None:
    with pytest.raises(InputFault, match=says):
        Rules.from_dict(WHOLE.to_dict() | changes)


def test_rules_from_before_the_plug_was_guarded_are_read() -> None:
    row = WHOLE.to_dict()
    del row["plug_max_k"], row["plug_heat_w"]
    assert Rules.from_dict(row) == WHOLE


@pytest.mark.parametrize(
    "key", [key for key in WHOLE.to_dict() if not key.startswith("plug")]
)
def test_rules_without_one_of_their_fields_are_refused(key: str) -> None:
    row = WHOLE.to_dict()
    del row[key]
    with pytest.raises(InputFault, match=f"the rules: {key} is missing"):
        Rules.from_dict(row)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"part": ""}, "must name its part"),
        ({"source": ""}, "must name its part"),
        ({"part": 5}, "part is 5; it must be text"),
        ({"continuous_a": 0}, "continuous_a of the plug's burst is 0"),
        ({"continuous_a": 18}, "does not lie above its continuous 18"),
        ({"short_a": 12.0}, "burst of 12.0 A does not lie above"),
        ({"short_a": "18"}, "must be a number"),
        ({"short_s": 0.0}, "short_s of the plug's burst is 0.0"),
        ({"short_s": math.nan}, "must be finite"),
        ({"short_s": None}, "must be a number"),
        ({"note": 1}, "a burst: 'note' is not a field"),
    ],
)
def test_a_damaged_burst_is_refused(changes: dict[str, object], says: str) -> None:
    with pytest.raises(InputFault, match=says):
        Burst.from_dict(PLUG.to_dict() | changes)


@pytest.mark.parametrize("value", [math.nan, math.inf, 0.0, -5.0])
def test_a_rule_that_is_no_positive_number_is_refused(value: float) -> None:
    with pytest.raises(InputFault, match="must be above zero"):
        replace(WHOLE, charge_c=value)
    with pytest.raises(InputFault, match="must be above zero"):
        replace(PLUG, short_s=value)


@given(st.dictionaries(st.sampled_from(list(WHOLE.to_dict())), st.none() | st.text()))
def test_nothing_but_an_input_fault_escapes(changes: dict[str, object]) -> None:
    try:
        Rules.from_dict(WHOLE.to_dict() | changes)
    except InputFault:
        pass


def test_a_rule_below_one_is_a_rule() -> None:
    assert replace(WHOLE, charge_c=0.5).charge_c == 0.5

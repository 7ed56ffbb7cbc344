"""Each pole of the plug: heat over seconds, resistance against its own begin."""

import math

import pytest

from daq.analysis.copper import PER_K, REFERENCE_K
from daq.stand.plant.bench import Plant
from protocols.guard.now import Now
from protocols.guard.plug import REL_PER_K, PlugCheck
from protocols.guard.trip import Action, Trip
from protocols.rules import NO_RULES, PLUG_COLD_K, Rules
from tests.daq.stand.plant.builder import changed
from tests.protocols.guard.play import Play, Value, sees
from tests.protocols.guard.spell import RULES, Spell, from_then_on, levels

RULE = Rules(plug_heat_w=1.0)
STEPS = levels(0.4, 0.8, hold_s=6.0)


def play(rules: Rules = RULE, channel: str = "plug-plus") -> Play:
    now = Now(0.0)
    check = PlugCheck(channel, rules, now)
    takes = {"current": check.current, channel: check.drop}
    return Play(now, takes, rate_hz=10.0)


def holds(played: Play, for_s: float, current_a: float, drop_v: Value) -> Trip | None:
    return played.hold(for_s, 0.5, **{"current": current_a, "plug-plus": drop_v})


def test_copper_is_that_of_the_analysis() -> None:
    assert REL_PER_K == PER_K
    assert PLUG_COLD_K == REFERENCE_K


def test_less_heat_than_the_bound_may_go_on_for_ever() -> None:
    assert holds(play(), 600.0, 10.0, 0.099) is None


def test_more_heat_ramps_down_once_it_has_lasted() -> None:
    played = play()
    trip = sees(holds(played, 60.0, 10.0, 0.2))  # twice the bound
    # A first-order lag of ten seconds is half way after 0.69 of it: ln 2.
    assert played.took_s == pytest.approx(10.0 * math.log(2.0), abs=0.3)
    assert (trip.check, trip.action) == ("plug", Action.RAMP_DOWN)
    assert "The plus pole of the plug turns 1 W into heat" in trip.cause
    assert "may 1 W: 200 mV at 10 A" in trip.cause
    assert "do not touch it, let it cool" in trip.advice


def test_a_contact_that_fails_altogether_is_seen_within_a_second() -> None:
    played = play()
    holds(played, 10.0, 10.0, 0.03)
    sees(holds(played, 10.0, 10.0, 3.0))  # thirty watt
    assert played.took_s < 1.0


def test_a_short_burst_is_forgiven() -> None:
    assert holds(play(), 5.0, 10.0, 0.2) is None


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_drop_that_is_wired_backwards_is_as_hot(sign: float) -> None:
    assert holds(play(), 60.0, 10.0, 0.2 * sign) is not None


def test_a_resistance_that_heat_explains_is_left_alone() -> None:
    played = play(Rules(plug_heat_w=100.0))
    holds(played, 5.0, 10.0, 0.03)
    assert holds(played, 60.0, 10.0, 0.03 * 1.32) is None


def test_a_resistance_beyond_what_heat_explains_ramps_down() -> None:
    played = play(Rules(plug_heat_w=100.0))
    holds(played, 5.0, 10.0, 0.03)
    trip = sees(holds(played, 60.0, 10.0, 0.06))
    assert played.took_s < 3.5
    assert (trip.check, trip.action) == ("plug", Action.RAMP_DOWN)
    assert "has 6 milliohm, 2.0 times the 3 milliohm" in trip.cause
    assert "warm to 105 degrees Celsius it would have 1.3 times" in trip.cause


def test_how_hot_it_may_get_decides_how_far_its_resistance_may_grow() -> None:
    played = play(Rules(plug_heat_w=100.0, plug_max_k=333.15))  # 60 degrees
    holds(played, 5.0, 10.0, 0.03)
    assert holds(played, 60.0, 10.0, 0.03 * 1.2) is not None


def test_at_little_heat_a_resistance_says_nothing() -> None:
    played = play()
    holds(played, 5.0, 2.0, 0.004)
    assert holds(played, 60.0, 2.0, 0.04) is None  # 80 mW


def test_a_drop_of_the_amplifiers_own_size_is_no_reference() -> None:
    played = play()
    holds(played, 5.0, 0.5, 0.0005)  # one milliohm, if one believed it
    assert holds(played, 60.0, 10.0, 0.03) is None


def test_while_the_throttle_moves_no_resistance_is_taken() -> None:
    played = play(Rules(plug_heat_w=100.0))
    holds(played, 5.0, 10.0, 0.03)
    for _ in range(20):
        moving: dict[str, Value] = {"current": 10.0, "plug-plus": 0.06}
        assert played.ramp(0.3, 0.3, 0.7, **moving) is None
        assert played.ramp(0.3, 0.7, 0.3, **moving) is None


def test_what_is_no_number_is_no_heat_and_no_sign_of_it() -> None:
    played = play()
    assert holds(played, 5.0, 10.0, math.nan) is None
    assert holds(played, 5.0, math.nan, 10.0) is None


def test_a_drop_beyond_the_amplifiers_range_ramps_down() -> None:
    played = play()
    trip = sees(holds(played, 5.0, 10.0, math.inf))
    assert 0.5 <= played.took_s < 0.8
    assert (trip.check, trip.action) == ("plug", Action.RAMP_DOWN)
    assert "more than its amplifier can read" in trip.cause


def test_a_spike_beyond_the_amplifiers_range_is_left_alone() -> None:
    def spikes(into_s: float) -> float:
        return math.inf if round(10 * into_s) % 3 == 0 else 0.03

    assert holds(play(), 20.0, 10.0, spikes) is None


def test_a_gap_is_no_heat() -> None:
    check = PlugCheck("plug-plus", RULE, Now(0.0))
    for now_s in (0.0, 100.0, 200.0):
        check.current(20.0, now_s)
        assert check.drop(1.0, now_s) is None


# ------------------------------------------------------- over a simulated stand


def spell(rules: Rules = RULES, **changes: object) -> Spell:
    keys = {name.replace("__", "."): value for name, value in changes.items()}
    return Spell(changed(keys, "rough"), rules=rules)


WORN: dict[str, object] = {
    "leads__plug_resistance_ohm": 0.100,
    "plug_sense__counts_per_v": 40_000.0,
}
GUARDED = Rules.from_dict(RULES.to_dict() | {"plug_heat_w": 1.0})


def test_a_plug_in_order_is_left_alone() -> None:
    assert spell(GUARDED).walk(STEPS).trip is None


def test_a_worn_plug_is_stopped_by_its_heat() -> None:
    worn = spell(GUARDED, **WORN).walk(STEPS)
    trip = sees(worn.trip)
    assert trip.check == "plug"
    assert "into heat" in trip.cause


def test_without_a_rule_nothing_is_judged() -> None:
    worn = spell(NO_RULES, **WORN).walk(STEPS)
    assert worn.trip is None


def test_a_contact_that_lets_go_is_stopped_by_its_resistance() -> None:
    loose = spell(GUARDED)
    loose.act = from_then_on(9.0, plug_ohm=0.006)
    trip = sees(loose.walk(STEPS).trip)
    assert trip.check == "plug"
    assert "times the" in trip.cause
    assert 9.0 < loose.at_s < 12.0


def test_a_plug_with_a_sensor_of_its_own_is_held_to_its_temperature() -> None:
    sensed = {
        "plug_sensor.counts_per_k": 50.0,
        "plug_sensor.gain_u": 0.002,
        "plug_sensor.zero_error_counts": 0.0,
        "plug_sensor.noise_counts_rms": 2.0,
        "plug.capacity_j_k": 0.1,
    }
    truth = changed(sensed, "rough")
    assert "plug-temp" in [x.name for x in Plant(truth, 1).slow_specs]
    rules = Rules(plug_heat_w=100.0, plug_max_k=308.15)
    warm = Spell(truth, rules=rules).walk(STEPS)
    trip = sees(warm.trip)
    assert (trip.check, trip.action) == ("heat", Action.RAMP_DOWN)
    assert "The plug is at 2" in trip.cause

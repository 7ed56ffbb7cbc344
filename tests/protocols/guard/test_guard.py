"""The guard as a whole: who is asked, in which order, and what NaN and silence do."""

import math
import random
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.guard.beat import PATIENCE_S, BeatCheck
from protocols.guard.guard import Guard, _floors
from protocols.guard.readings import ReadingCheck
from protocols.guard.silence import LINK_ALLOWANCE_S, SilenceCheck
from protocols.guard.trip import Action, Trip
from protocols.limits import Limit
from protocols.rules import NO_RULES, Burst, Rules

CURRENT = Limit("current", -3.0, 12.0, 3, 0.1, "plug 12 A")
VOLTAGE = Limit("voltage", 9.9, 12.9, 1, 0.1, "3 cells")
THRUST = Limit("thrust", -1.0, 9.8, 2, 0.5, "load cell 1000 gf")
SPEED = Limit("speed", -math.inf, 6000.0, 5, 0.5, "motor without load")
PLUG = Burst("plug", 5.0, 10.0, 1.0, "plug 10 A for 1 s")


def guard(rules: Rules = NO_RULES, *more: Limit) -> Guard:
    return Guard((CURRENT, VOLTAGE, *more), rules, 0.0)


def running(
    watch: Guard,
    for_s: float,
    throttle: float,
    *,
    from_s: float = 0.0,
    rate_hz: float = 100.0,
    **values: float | Callable[[float], float],
) -> tuple[Trip | None, float]:
    """Readings at held throttle; the first trip and when."""
    for step in range(1, round(for_s * rate_hz) + 1):
        now_s = from_s + step / rate_hz
        watch.setpoint(throttle, now_s)
        watch.beat(now_s)
        for channel, given_value in values.items():
            value = given_value(now_s) if callable(given_value) else given_value
            trip = watch.reading(channel, value, now_s)
            if trip is not None:
                return trip, now_s
        trip = watch.judge(now_s)
        if trip is not None:
            return trip, now_s
    return None, from_s + for_s


REST = {"current": 0.0, "voltage": 12.6, "thrust": 0.0, "speed": 0.0}
HALF = {"current": 2.0, "voltage": 12.0, "thrust": 1.0, "speed": 2500.0}


def at_half(rules: Rules = NO_RULES) -> tuple[Guard, float]:
    """A guard that saw a rest and two seconds of half throttle."""
    watch = guard(rules, THRUST, SPEED)
    assert running(watch, 1.0, 0.0, **REST)[0] is None
    assert running(watch, 2.0, 0.5, from_s=1.0, **HALF)[0] is None
    return watch, 3.0


# ------------------------------------------------------------- limits


def test_readings_inside_never_trip() -> None:
    watch = guard()
    assert all(watch.reading("current", v, 0.0) is None for v in (-3.0, 0.0, 12.0))


def test_it_trips_at_the_persistence_and_not_before() -> None:
    watch = guard()
    assert watch.reading("current", 12.1, 0.0) is None
    assert watch.reading("current", 12.1, 0.0) is None
    trip = watch.reading("current", 12.1, 0.0)
    assert trip is not None
    assert (trip.check, trip.action) == ("limit", Action.CUT)
    assert trip.cause == "current was 12.1 A, above its limit of 12 A (plug 12 A)."
    assert trip.clears == "current reads inside its limit"


def test_below_its_limit_is_called_below() -> None:
    trip = guard().reading("voltage", 9.8, 0.0)
    assert trip is not None
    assert trip.cause == "voltage was 9.8 V, below its limit of 9.9 V (3 cells)."


def test_one_reading_inside_starts_the_count_again() -> None:
    watch = guard()
    for value in (13.0, 13.0, 11.0, 13.0, 13.0):
        assert watch.reading("current", value, 0.0) is None


@pytest.mark.parametrize(
    ("value", "what"),
    [
        (math.nan, "gave no number"),
        (math.inf, "is off its scale"),
        (-math.inf, "is off its scale"),
    ],
)
def test_a_reading_that_is_no_number_is_outside(value: float, what: str) -> None:
    trip = guard().reading("voltage", value, 0.0)
    assert trip is not None
    assert (trip.check, trip.cause) == ("limit", f"voltage {what}.")
    assert trip.clears == "readings of it are numbers again"
    assert trip.advice == "Look at the voltage sensor and its wiring."


@pytest.mark.parametrize(
    ("channel", "value", "advice"),
    [
        (
            "current",
            20.0,
            "A stalled or rubbing motor, too large a propeller or a short; if the plan "
            "really needs this current, the named part is too small for it.",
        ),
        ("current", -5.0, "The current sensor is wired backwards or not connected."),
        (
            "voltage",
            9.0,
            "The pack is empty, cold, worn or has too few cells for this article.",
        ),
        ("voltage", 14.0, "The pack has more cells than the article says."),
        ("thrust", 11.0, "The load cell is near its range: use a larger one."),
        ("thrust", -2.0, "The propeller or the cell pulls the wrong way round."),
        ("speed", 7000.0, "The propeller may be off, or the pole count is wrong."),
        ("heat", 9.0, "Look at the heat sensor."),
    ],
)
def test_the_advice_fits_the_side(channel: str, value: float, advice: str) -> None:
    known = {x.channel: x for x in (CURRENT, VOLTAGE, THRUST, SPEED)}
    limit = known.get(channel, Limit(channel, 0.0, 5.0, 1, 0.1, "test"))
    assert ReadingCheck(limit).advice(value) == advice


def test_what_counts_as_nothing_goes_with_the_limits() -> None:
    assert _floors((CURRENT, THRUST)) == {
        "current": pytest.approx(0.24),
        "voltage": 0.0,
        "thrust": pytest.approx(0.049),
        "speed": 31.4,
    }
    unlimited = Limit("thrust", -1.0, math.inf, 2, 0.5, "nobody knows")
    assert _floors((VOLTAGE, unlimited))["thrust"] == 0.05
    assert _floors(())["thrust"] == 0.05


def test_any_channel_may_have_a_limit() -> None:
    watch = guard(NO_RULES, Limit("winding-temp", 250.0, 370.0, 1, 2.0, "a person"))
    trip = watch.reading("winding-temp", 373.15, 0.0)
    assert trip is not None
    assert "winding-temp was 100 degC, above its limit of 96.9 degC" in trip.cause


# ------------------------------------------------------------- silence and beat


def test_readings_that_are_no_number_are_no_sign_of_life() -> None:
    watch = Guard((Limit("current", -3.0, 12.0, 255, 0.1, "plug"),), NO_RULES, 0.0)
    watch.beat(0.3)
    for step in range(30):
        watch.reading("current", math.nan, step * 0.01)
    trip = watch.judge(0.3)
    assert trip is not None
    assert trip.check == "silence"


def test_a_channel_that_never_speaks_is_silent_from_the_start() -> None:
    watch = guard()
    late_s = CURRENT.max_age_s + LINK_ALLOWANCE_S
    assert watch.deadline_s == pytest.approx(late_s)
    assert watch.judge(late_s - 1e-3) is None
    assert watch.judge(late_s + 1e-3) == Trip(
        "silence",
        "current has been silent for 201 ms.",
        "current is heard again",
        "Look at the cable, the sensor's wiring and the stand's power.",
        Action.CUT,
    )


def test_silence_counts_from_when_a_channel_was_heard() -> None:
    check = SilenceCheck("current", 1.4, 50.0)
    check.heard(60.0)
    assert check.judge(61.4999) is None
    trip = check.judge(61.5)
    assert trip is not None
    assert trip.cause == "current has been silent for 1500 ms."
    unlimited = SilenceCheck.once_heard("speed")
    assert unlimited.deadline_s == math.inf
    unlimited.heard(60.0)
    assert unlimited.deadline_s == pytest.approx(60.6)


def test_a_channel_without_a_limit_is_missed_once_it_was_heard() -> None:
    watch = guard()
    assert running(watch, 1.0, 0.0, **REST)[0] is None
    lean = {"current": 0.0, "voltage": 12.6}
    trip, at_s = running(watch, 2.0, 0.0, from_s=1.0, **lean)
    assert trip is not None
    assert trip.check == "silence"
    assert at_s == pytest.approx(1.6, abs=0.02)


def test_a_channel_that_was_never_there_is_not_missed() -> None:
    watch = guard()
    lean = {"current": 0.0, "voltage": 12.6}
    assert running(watch, 5.0, 0.0, **lean)[0] is None


def test_a_client_that_falls_silent_trips() -> None:
    watch = guard()
    for step in range(int(PATIENCE_S / 0.05) + 1):
        for channel, value in (("current", 0.0), ("voltage", 12.0)):
            watch.reading(channel, value, step * 0.05)
    assert watch.judge(PATIENCE_S - 1e-3) is None
    assert watch.judge(PATIENCE_S) == Trip(
        "beat",
        "The program before the person was silent for 700 ms.",
        "the program runs again",
        "It hung, was suspended or was killed: is the machine well?",
        Action.CUT,
    )


def test_a_beat_counts_from_the_last_one() -> None:
    check = BeatCheck(50.0)
    check.heard(60.0)
    assert check.judge(60.6999) is None
    trip = check.judge(60.75)
    assert trip is not None
    assert "silent for 750 ms" in trip.cause


def test_beats_and_readings_keep_it_quiet() -> None:
    watch = guard()
    for step in range(100):
        now_s = step * 0.05
        watch.beat(now_s)
        watch.reading("current", 0.0, now_s)
        watch.reading("voltage", 12.0, now_s)
        assert watch.judge(now_s) is None
        assert watch.deadline_s == pytest.approx(now_s + 0.2)


def test_a_channel_no_check_knows_is_not_its_business() -> None:
    assert guard().reading("pulse", math.nan, 0.0) is None
    assert guard().reading("winding-temp", math.nan, 0.0) is None


# ------------------------------------------------------------- all the others


def test_a_good_spin_is_left_alone() -> None:
    watch, now_s = at_half()
    assert running(watch, 3.0, 0.0, from_s=now_s, **REST)[0] is None


@pytest.mark.parametrize(
    ("check", "throttle", "values"),
    [
        ("thrown", 0.5, {"current": 0.5, "speed": 2900.0}),
        ("stalled", 0.5, {"speed": 500.0}),
        ("stalled", 0.5, {"current": 6.0}),
        ("plausible", 0.5, {"thrust": 0.4}),
        ("plausible", 0.5, {"current": 1.1}),
        ("plausible", 0.5, {"speed": 2000.0}),
        ("follows", 0.25, {"current": 2.01, "speed": 1200.0, "thrust": 0.3}),
        ("follows", 0.25, {"current": 0.5, "speed": 2501.0, "thrust": 0.3}),
        ("follows", 0.0, {"current": 2.01, "speed": 0.0, "thrust": 0.0}),
        ("follows", 0.0, {"current": 0.0, "speed": 2501.0, "thrust": 0.0}),
        ("frozen", 0.3, {"current": 0.6, "speed": 2500.0, "thrust": 0.3}),
        ("frozen", 0.3, {"current": 2.0, "speed": 1500.0, "thrust": 0.3}),
        ("frozen", 0.3, {"current": 0.6, "speed": 1500.0, "thrust": 1.0}),
        ("bounds", 0.0, {"current": -0.3, "speed": 0.0, "thrust": 0.0}),
    ],
)
def test_every_check_is_asked(
    check: str, throttle: float, values: dict[str, float]
) -> None:
    watch, now_s = at_half()
    trip, _ = running(watch, 4.0, throttle, from_s=now_s, **HALF | values)
    assert trip is not None
    assert trip.check == check


def test_a_load_cell_is_given_more_time_than_the_rest() -> None:
    # Settled after 0.6 s to 1.2 s, where current and speed are after 0.4 s to 0.8 s.
    watch, now_s = at_half()
    high = {"voltage": 12.0, "current": 5.12, "thrust": 2.56, "speed": 4000.0}
    assert running(watch, 2.0, 0.8, from_s=now_s, **high)[0] is None

    def late(t: float) -> float:
        return 2.56 if t < 5.95 else 1.0

    trip, _ = running(
        watch,
        2.0,
        0.5,
        from_s=5.0,
        voltage=12.0,
        current=2.0,
        thrust=late,
        speed=2500.0,
    )
    assert trip is None


def test_a_current_is_told_from_half_of_what_rest_may_read() -> None:
    for off, trips in ((0.1, False), (0.15, True)):
        watch, now_s = at_half()
        current = 2.0 * 1.3 + off
        trip, _ = running(watch, 1.0, 0.5, from_s=now_s, **HALF | {"current": current})
        assert (trip is not None) is trips


def test_a_speed_that_cannot_be_is_asked_about() -> None:
    watch = guard(Rules(speed_per_volt_rad_s=200.0))
    assert running(watch, 1.0, 0.0, **REST)[0] is None
    trip, _ = running(watch, 4.0, 0.5, from_s=1.0, **HALF)
    assert trip is not None
    assert trip.check == "bounds"


def test_a_lively_voltage_that_freezes_is_asked_about() -> None:
    watch = guard()
    drawn = random.Random(5)

    def flicker(_: float) -> float:
        return 12.0 + 0.001 * drawn.randrange(20)

    assert running(watch, 2.0, 0.0, current=0.0, voltage=flicker)[0] is None
    trip, _ = running(watch, 1.0, 0.0, from_s=2.0, current=0.0, voltage=12.0)
    assert trip is not None
    assert trip.check == "frozen"


@pytest.mark.parametrize("channel", ["thrust", "current", "speed"])
def test_a_channel_that_is_stuck_is_asked_about(channel: str) -> None:
    watch = guard()
    assert running(watch, 1.0, 0.0, **REST)[0] is None
    trip, _ = running(watch, 4.0, 0.5, from_s=1.0, **HALF | {channel: 0.0})
    assert trip is not None
    assert trip.check == "stuck" if channel != "speed" else "stalled"


def test_without_a_propeller_no_thrust_is_due() -> None:
    watch = guard(Rules(propeller_on=False))
    assert running(watch, 1.0, 0.0, **REST)[0] is None
    bare = HALF | {"thrust": 0.0, "current": 0.5}
    assert running(watch, 4.0, 0.5, from_s=1.0, **bare)[0] is None


def test_charge_and_bursts_ramp_down() -> None:
    watch, now_s = at_half(Rules(charge_c=6.0))
    trip, at_s = running(watch, 4.0, 0.5, from_s=now_s, **HALF)
    assert trip is not None
    assert (trip.check, trip.action) == ("pack", Action.RAMP_DOWN)
    assert at_s == pytest.approx(4.0, abs=0.05)
    watch = guard(Rules(bursts=(PLUG,)))
    trip, at_s = running(watch, 4.0, 0.5, current=10.0, voltage=12.0)
    assert trip is not None
    assert (trip.check, trip.action) == ("burst", Action.RAMP_DOWN)
    assert at_s == pytest.approx(1.0, abs=0.05)


def test_every_burst_is_counted() -> None:
    slow = Burst("motor", 5.0, 10.0, 60.0, "motor 10 A for 60 s")
    for bursts in ((PLUG, slow), (slow, PLUG)):
        watch = guard(Rules(bursts=bursts))
        trip, _ = running(watch, 4.0, 0.5, current=10.0, voltage=12.0)
        assert trip is not None
        assert "plug" in trip.cause


@pytest.mark.parametrize("channel", ["winding-temp", "esc-temp"])
def test_temperatures_are_asked_about_and_missed(channel: str) -> None:
    rules = Rules(winding_max_k=373.15, esc_max_k=373.15)
    watch = guard(rules)
    assert running(watch, 1.0, 0.0, **REST, **{channel: 300.0})[0] is None
    hot, _ = running(watch, 1.0, 0.0, from_s=1.0, **REST, **{channel: 365.0})
    assert hot is not None
    assert (hot.check, hot.action) == ("heat", Action.RAMP_DOWN)
    watch = guard(rules)
    assert running(watch, 1.0, 0.0, **REST, **{channel: 300.0})[0] is None
    lost, at_s = running(watch, 4.0, 0.0, from_s=1.0, **REST)
    assert lost is not None
    assert lost.check == "heat"
    assert at_s == pytest.approx(3.0, abs=0.02)


def test_a_temperature_that_the_stand_has_is_missed_from_the_start() -> None:
    rules = Rules(winding_max_k=373.15, esc_max_k=373.15)
    watch = Guard((CURRENT, VOLTAGE), rules, 0.0, ("current", "winding-temp"))
    trip, at_s = running(watch, 4.0, 0.0, **REST)
    assert trip is not None
    assert (trip.check, trip.action) == ("heat", Action.RAMP_DOWN)
    assert "winding-temp" in trip.cause
    assert at_s == pytest.approx(2.0, abs=0.02)


def test_a_part_without_a_maximum_is_not_judged() -> None:
    watch = guard(Rules(winding_max_k=373.15))
    assert running(watch, 1.0, 0.0, **REST, **{"esc-temp": 500.0})[0] is None


def test_a_poor_link_is_asked_about() -> None:
    watch = guard()
    assert watch.link(100, 0, 0.0) is None
    trip = watch.link(0, 100, 0.01)
    assert trip is not None
    assert trip.check == "link"


# ------------------------------------------------------------- which comes first


def test_what_cuts_wins_over_what_ramps_down() -> None:
    # The charge is used up a moment before the current is beyond its limit.
    watch = guard(Rules(charge_c=0.001))
    trips = []
    for step in range(5):
        now_s = 0.01 * step
        trips.append(watch.reading("current", 13.0, now_s))
    actions = [None if trip is None else trip.action for trip in trips]
    assert actions == [None, Action.RAMP_DOWN, *[Action.CUT] * 3]


def test_of_two_that_ramp_down_the_first_is_told() -> None:
    watch = guard(Rules(bursts=(PLUG,), charge_c=0.001))
    trip, _ = running(watch, 4.0, 0.5, current=10.0, voltage=12.0)
    assert trip is not None
    assert trip.check == "pack"
    for step in range(200):
        trip = watch.reading("current", 10.0, 0.1 + 0.01 * step)
        assert trip is not None
        assert trip.check == "pack" or trip.action is Action.CUT


def test_silence_that_cuts_wins_over_heat_that_ramps_down() -> None:
    watch = guard(Rules(winding_max_k=373.15))
    watch.reading("winding-temp", 300.0, 0.0)
    watch.beat(3.0)
    trip = watch.judge(3.0)
    assert trip is not None
    assert trip.check == "silence"


def test_a_limit_names_its_cause_before_all_others() -> None:
    watch, now_s = at_half()
    trip, _ = running(watch, 1.0, 0.5, from_s=now_s, **HALF | {"current": 13.0})
    assert trip is not None
    assert trip.check == "limit"


def test_a_trip_is_plain_values() -> None:
    trip = Trip("pack", "cause.", "clears", "advice.", Action.RAMP_DOWN)
    assert trip.to_dict() == {
        "check": "pack",
        "cause": "cause.",
        "clears": "clears",
        "advice": "advice.",
        "action": "ramp down",
    }
    assert Trip("limit", "", "", "").to_dict()["action"] == "cut"


CHANNELS = ("current", "voltage", "thrust", "speed", "winding-temp", "esc-temp", "x")


@given(
    st.lists(
        st.tuples(
            st.floats(0.0, 1.0),
            st.sampled_from(CHANNELS),
            st.floats(allow_nan=True, allow_infinity=True),
            st.floats(0.0, 1.0),
        ),
        max_size=60,
    )
)
def test_nothing_that_may_come_raises_and_every_trip_is_whole(
    steps: list[tuple[float, str, float, float]],
) -> None:
    rules = Rules((PLUG,), 5.0, 50.0, 373.15, 373.15, 480.0)
    watch, now_s = guard(rules, THRUST, SPEED), 0.0
    for gap_s, channel, value, throttle in steps:
        now_s += gap_s
        watch.setpoint(throttle, now_s)
        trips = (
            watch.reading(channel, value, now_s),
            watch.link(1, 0, now_s),
            watch.judge(now_s),
        )
        for trip in trips:
            if trip is not None:
                assert trip.cause.endswith((".", ")."))
                assert all(trip.to_dict().values())
                assert "nan" not in trip.cause
        assert not math.isnan(watch.deadline_s)

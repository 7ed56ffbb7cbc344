"""What a throttle gave before is what it gives again."""

import math

import pytest

from protocols.guard.now import Now
from protocols.guard.plausible import KINDS, Kind, PlausibleCheck
from protocols.guard.trip import Action, Trip
from tests.protocols.guard.play import Play, Value, sees

FLOORS = {"thrust": 0.05, "current": 0.12, "speed": 31.0}


def play(channel: str, *, rate_hz: float = 100.0) -> Play:
    now = Now(0.0)
    recent = now.slow if channel == "thrust" else now.fast
    check = PlausibleCheck(channel, FLOORS[channel], now, recent)
    return Play(now, {channel: check.take}, rate_hz=rate_hz)


def value(channel: str, throttle: float, voltage: float = 12.0) -> float:
    """An ideal motor on an ideal bridge: speed with throttle times voltage, and the
    rest with its square."""
    drive = throttle * voltage
    return {
        "thrust": 0.03 * drive**2,
        "current": 0.06 * drive**2,
        "speed": 400 * drive,
    }[channel]


def walked(channel: str, *levels: float, voltage: float | None = 12.0) -> Play:
    """Two seconds at each level, as an ideal motor would."""
    bench = play(channel)
    for level in levels:
        values: dict[str, Value] = {channel: value(channel, level)}
        if voltage is not None:
            values = {"voltage": voltage, channel: value(channel, level, voltage)}
        assert bench.hold(2.0, level, **values) is None
    return bench


CHANNELS = list(KINDS)


@pytest.mark.parametrize("channel", CHANNELS)
def test_a_walk_up_and_down_is_plausible(channel: str) -> None:
    walked(channel, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95, 0.8, 0.65, 0.5, 0.35, 0.2)


@pytest.mark.parametrize("channel", CHANNELS)
def test_a_pack_that_sags_is_plausible(channel: str) -> None:
    bench = walked(channel, 0.5, voltage=12.6)
    sagged = value(channel, 0.5, 10.5)
    assert bench.hold(2.0, 0.5, voltage=10.5, **{channel: sagged}) is None
    # What it gave with the pack full is not: the voltage is in it.
    full = value(channel, 0.5, 12.6)
    limit = sagged * (1 + KINDS[channel].share) + FLOORS[channel]
    trip = bench.hold(2.0, 0.5, voltage=10.5, **{channel: full})
    assert (trip is not None) == (full > limit)


@pytest.mark.parametrize("channel", CHANNELS)
@pytest.mark.parametrize("sign", [-1, 1])
def test_while_held_a_value_has_to_stay_within_its_share(
    channel: str, sign: int
) -> None:
    due, kind = value(channel, 0.5), KINDS[channel]
    room = kind.share * due + FLOORS[channel]
    bench = walked(channel, 0.5)
    assert (
        bench.hold(3.0, 0.5, voltage=12.0, **{channel: due + 0.98 * sign * room})
        is None
    )
    bench = walked(channel, 0.5)
    trip = sees(
        bench.hold(3.0, 0.5, voltage=12.0, **{channel: due + 1.05 * sign * room})
    )
    assert (trip.check, trip.action) == ("plausible", Action.CUT)


def test_the_cause_says_what_was_due() -> None:
    bench = walked("current", 0.9)
    # 7 A were learned: 30 % and 0.12 A either way.
    assert bench.hold(3.0, 0.9, voltage=12.0, current=12.0) == Trip(
        "plausible",
        "current was 11.7 A at 90 % throttle; going by what this spin showed before, "
        "4.78 to 9.22 A was due.",
        "current is again what the throttle gave before",
        "Look at the propeller, whether the motor rubs or is hot, and the current "
        "sensor's wiring.",
        Action.CUT,
    )


@pytest.mark.parametrize(
    ("channel", "advice"),
    [
        (
            "thrust",
            "Look at the propeller (chipped, loose, wrong way round), the mount, and "
            "whether something touches the load cell.",
        ),
        (
            "speed",
            "Look at the propeller, the rpm sensor and whether the motor is hot.",
        ),
    ],
)
def test_the_advice_is_the_channels(channel: str, advice: str) -> None:
    bench = walked(channel, 0.5)
    trip = sees(bench.hold(3.0, 0.5, voltage=12.0, **{channel: 1e5}))
    assert trip.advice == advice


@pytest.mark.parametrize(
    ("channel", "least_s"), [("thrust", 0.3), ("current", 0.15), ("speed", 0.15)]
)
def test_it_acts_once_it_has_lasted(channel: str, least_s: float) -> None:
    bench = walked(channel, 0.5)
    sees(bench.hold(3.0, 0.5, voltage=12.0, **{channel: 10 * value(channel, 0.5)}))
    assert least_s <= bench.took_s <= least_s + 0.1


def test_a_glitch_is_smoothed() -> None:
    bench = walked("current", 0.5)
    for _ in range(10):
        assert bench.hold(0.02, 0.5, voltage=12.0, current=9.0) is None
        assert bench.hold(0.5, 0.5, voltage=12.0, current=2.16) is None


def test_when_the_throttle_comes_again_it_is_judged_by_what_it_gave() -> None:
    bench = walked("thrust", 0.3, 0.6, 0.9)
    trip = bench.hold(3.0, 0.3, voltage=12.0, thrust=1.7 * value("thrust", 0.3))
    assert trip is not None


def test_it_is_learned_once_and_not_led_away() -> None:
    bench = walked("current", 0.5)
    due = value("current", 0.5)
    # A sensor that drifts is inside what was learned until it is not.
    trip = bench.hold(60.0, 0.5, voltage=12.0, current=lambda t: due * (1 + 0.01 * t))
    assert trip is not None
    assert 30.0 <= bench.took_s <= 42.0


@pytest.mark.parametrize("channel", CHANNELS)
def test_a_level_that_is_not_known_is_judged_by_its_neighbour(channel: str) -> None:
    bench = walked(channel, 0.5)
    assert bench.hold(3.0, 0.7, voltage=12.0, **{channel: value(channel, 0.7)}) is None
    bench = walked(channel, 0.5)
    low = 0.4 * value(channel, 0.7)
    assert bench.hold(3.0, 0.7, voltage=12.0, **{channel: low}) is not None
    bench = walked(channel, 0.5)
    high = 2.5 * value(channel, 0.7)
    assert bench.hold(3.0, 0.7, voltage=12.0, **{channel: high}) is not None


def test_the_margin_of_a_neighbour_grows_with_its_distance() -> None:
    # At twice the throttle 30 % and 50 % more are allowed, and 0.12 A.
    due = value("current", 0.6)
    assert (
        walked("current", 0.3).hold(3.0, 0.6, voltage=12.0, current=1.8 * due + 0.11)
        is None
    )
    assert walked("current", 0.3).hold(3.0, 0.6, voltage=12.0, current=1.8 * due + 0.2)
    assert (
        walked("current", 0.3).hold(3.0, 0.6, voltage=12.0, current=due / 1.8 - 0.11)
        is None
    )
    assert walked("current", 0.3).hold(3.0, 0.6, voltage=12.0, current=due / 1.8 - 0.2)


@pytest.mark.parametrize(
    ("throttle", "nearest"), [(0.75, 0.9), (0.65, 0.5), (0.7, 0.5)]
)
def test_the_nearest_neighbour_counts_and_of_two_the_lower(
    throttle: float, nearest: float
) -> None:
    # At 90 % it takes half as much again as it should: the two disagree.
    bench = play("current")
    for level, factor in ((0.5, 1.0), (0.9, 1.5)):
        current = factor * value("current", level)
        assert bench.hold(2.0, level, voltage=12.0, current=current) is None
    due = value("current", throttle) * (1.0 if nearest == 0.5 else 1.5)
    far, near = max(nearest, throttle), min(nearest, throttle)
    high = due * (1.3 + 0.5 * (far / near - 1)) + 0.12
    trip = sees(bench.hold(3.0, throttle, voltage=12.0, current=20.0))
    assert f" to {high:.3g} A was due" in trip.cause


def test_levels_of_mostly_idle_current_are_no_neighbours() -> None:
    bench = play("current")
    assert bench.hold(2.0, 0.12, voltage=12.0, current=5.0) is None
    assert bench.hold(2.0, 0.2, voltage=12.0, current=0.35) is None


def test_a_level_that_was_implausible_is_not_learned() -> None:
    bench = walked("current", 0.5)
    due = value("current", 0.7)
    assert bench.hold(0.6, 0.7, voltage=12.0, current=due) is None
    for _ in range(40):
        assert bench.hold(0.1, 0.7, voltage=12.0, current=8.0) is None
        assert bench.hold(0.1, 0.7, voltage=12.0, current=due) is None
    assert bench.hold(3.0, 0.7, voltage=12.0, current=due) is None
    assert bench.hold(3.0, 0.7, voltage=12.0, current=1.25 * due) is None
    assert bench.hold(3.0, 0.7, voltage=12.0, current=0.75 * due) is None


def test_in_the_deadband_and_before_anything_is_known_nothing_is_judged() -> None:
    bench = play("current")
    assert bench.hold(3.0, 0.07, voltage=12.0, current=9.0) is None
    assert bench.hold(3.0, 0.07, voltage=12.0, current=0.1) is None
    assert bench.hold(3.0, 0.5, voltage=12.0, current=2.0) is None


def test_a_fast_ramp_is_mostly_inertia() -> None:
    bench = walked("current", 0.3)
    assert bench.ramp(0.2, 0.3, 0.7, voltage=12.0, current=30.0) is None
    assert bench.hold(0.3, 0.7, voltage=12.0, current=30.0) is None
    assert bench.hold(2.0, 0.7, voltage=12.0, current=value("current", 0.7)) is None


def test_a_glide_is_learned_from_and_judged() -> None:
    bench = play("speed")

    def gliding(t: float) -> float:
        return value("speed", 0.2 + 0.05 * t)

    assert bench.ramp(12.0, 0.2, 0.8, voltage=12.0, speed=gliding) is None
    trip = bench.ramp(
        12.0,
        0.8,
        0.2,
        voltage=12.0,
        speed=lambda t: 1.3 * value("speed", 0.8 - 0.05 * t),
    )
    assert trip is not None
    assert bench.took_s < 2.0


def test_a_rotor_that_coasts_is_not_judged() -> None:
    bench = walked("speed", 0.3, 0.9)
    due = value("speed", 0.3)

    def heavy(t: float) -> float:
        return max(due, value("speed", 0.9) / (1 + t / 1.5))

    assert bench.hold(6.0, 0.3, voltage=12.0, speed=heavy) is None


def test_a_thrust_is_not_judged_while_the_rotor_coasts() -> None:
    bench = walked("thrust", 0.3, 0.9)
    due = value("thrust", 0.3)
    speeds = {"speed": lambda t: 4000 / (1 + t / 1.5)}
    late = {"thrust": lambda t: due if t > 4.4 else 3 * due}
    assert bench.hold(5.0, 0.3, voltage=12.0, **speeds, **late) is None


@pytest.mark.parametrize("channel", CHANNELS)
def test_without_a_voltage_the_margins_are_wider(channel: str) -> None:
    due, kind = value(channel, 0.5), KINDS[channel]
    room = kind.blind_share * due + FLOORS[channel]
    bench = walked(channel, 0.5, voltage=None)
    assert bench.hold(3.0, 0.5, **{channel: due + 0.98 * room}) is None
    bench = walked(channel, 0.5, voltage=None)
    assert bench.hold(3.0, 0.5, **{channel: due + 1.05 * room}) is not None


def test_a_voltage_that_was_heard_is_not_done_without() -> None:
    bench = walked("current", 0.5)
    assert bench.hold(5.0, 0.5, current=9.0) is not None  # fresh for a while yet
    bench = walked("current", 0.5)
    assert bench.hold(0.21, 0.5, current=value("current", 0.5)) is None
    assert bench.hold(5.0, 0.5, current=9.0) is None


def test_a_voltage_that_comes_late_begins_it_anew() -> None:
    bench = walked("current", 0.5, voltage=None)
    due = value("current", 0.5)
    assert bench.hold(3.0, 0.5, voltage=12.0, current=due) is None
    assert bench.hold(3.0, 0.5, voltage=12.0, current=1.3 * due) is None
    assert bench.hold(3.0, 0.5, voltage=12.0, current=1.4 * due) is not None


def test_a_thrust_comes_back_to_zero_at_rest() -> None:
    bench = walked("thrust", 0.3, 0.9)  # 3.5 N at most
    assert bench.hold(5.0, 0.0, voltage=12.5, thrust=0.15 * 3.49) is None
    trip = sees(bench.hold(5.0, 0.0, voltage=12.5, thrust=0.15 * 3.51))
    assert "thrust was 53.7 gf at 0 % throttle" in trip.cause
    assert "-53.5 to 53.5 gf was due" in trip.cause


def test_a_thrust_is_zero_before_the_motor_runs() -> None:
    # Four times the floor: something leans on the stand.
    assert play("thrust").hold(5.0, 0.0, voltage=12.5, thrust=0.2) is None
    assert play("thrust").hold(5.0, 0.0, voltage=12.5, thrust=0.21) is not None
    assert play("thrust").hold(5.0, 0.0, voltage=12.5, thrust=-0.21) is not None


def test_after_a_run_a_load_cell_is_given_its_time_to_come_back() -> None:
    bench = walked("thrust", 0.9)
    assert bench.hold(0.55, 0.0, voltage=12.5, thrust=3.5) is None
    assert bench.hold(3.0, 0.0, voltage=12.5, thrust=0.0) is None


@pytest.mark.parametrize("channel", ["current", "speed"])
def test_at_rest_current_and_speed_are_the_business_of_others(channel: str) -> None:
    bench = walked(channel, 0.5)
    assert bench.hold(5.0, 0.0, voltage=12.5, **{channel: 1e4}) is None


def test_thrust_without_a_propeller_is_about_zero_and_may_be() -> None:
    bench = play("thrust")
    for level in (0.2, 0.4, 0.6, 0.4, 0.2):
        for bump in (0.02, -0.03):
            assert bench.hold(1.6, level, voltage=12.0, thrust=bump) is None


def test_a_pusher_that_pulls_down_is_judged_likewise() -> None:
    bench = play("thrust")
    due = -value("thrust", 0.5)
    assert bench.hold(3.0, 0.5, voltage=12.0, thrust=due) is None
    assert bench.hold(3.0, 0.5, voltage=12.0, thrust=1.2 * due) is None
    assert bench.hold(3.0, 0.5, voltage=12.0, thrust=1.5 * due) is not None


def test_no_numbers_show_nothing() -> None:
    bench = walked("current", 0.5)
    assert bench.hold(3.0, 0.5, voltage=12.0, current=math.nan) is None


def test_margins_are_what_the_module_says() -> None:
    # Common practice, no source; here so that a change is seen.
    assert {
        "thrust": Kind(2, 0.3, 0.5, 0.5, 0.3),
        "current": Kind(2, 0.3, 0.5, 0.5, 0.15),
        "speed": Kind(1, 0.15, 0.3, 0.2, 0.15),
    } == KINDS


def learned_s(rate_hz: float) -> float:
    """How long a level is held until it is known."""
    now = Now(0.0)
    check = PlausibleCheck("current", 0.12, now, now.fast)
    bench = Play(now, {"current": check.take}, rate_hz=rate_hz)
    while math.isnan(check._learned[10]):
        assert bench.hold(1 / rate_hz, 0.5, voltage=12.0, current=2.0) is None
    return bench.now_s


def test_a_level_is_known_after_a_seventh_of_a_second_and_eight_readings() -> None:
    # The throttle's range has settled after 0.8 s.
    assert learned_s(100.0) == pytest.approx(0.81 + 0.15, abs=0.011)
    assert learned_s(20.0) == pytest.approx(0.8 + 0.35, abs=0.051)


def test_on_a_slow_stand_it_takes_three_readings() -> None:
    bench = play("current", rate_hz=10.0)
    assert bench.hold(3.0, 0.5, voltage=12.0, current=2.0) is None
    assert bench.hold(3.0, 0.5, voltage=12.0, current=9.0) is not None
    assert bench.took_s == pytest.approx(0.3)


def test_what_lasts_has_to_last_without_a_break() -> None:
    bench = walked("current", 0.5)
    for _ in range(9):
        assert bench.hold(0.1, 0.5, voltage=12.0, current=9.0) is None
        assert bench.hold(0.01, 0.5, voltage=12.0, current=math.nan) is None
    assert bench.hold(0.1, 0.5, voltage=12.0, current=9.0) is None
    assert bench.hold(2.0, 0.3, voltage=12.0, current=value("current", 0.3)) is None


def test_just_above_the_deadband_a_level_is_judged() -> None:
    bench = play("current")
    assert bench.hold(2.0, 0.09, voltage=12.0, current=0.5) is None
    assert bench.hold(2.0, 0.09, voltage=12.0, current=1.5) is not None
    bench = play("current")
    assert bench.hold(2.0, 0.079, voltage=12.0, current=0.5) is None
    assert bench.hold(2.0, 0.079, voltage=12.0, current=1.5) is None


@pytest.mark.parametrize(("throttle", "next_to_it"), [(0.15, 0.2), (1.0, 0.9)])
def test_the_first_and_the_last_neighbour(throttle: float, next_to_it: float) -> None:
    bench = play("current")
    assert bench.hold(2.0, throttle, voltage=12.0, current=2.0) is None
    assert bench.hold(2.0, next_to_it, voltage=12.0, current=20.0) is not None


@pytest.mark.parametrize(("swing", "judged"), [(0.055, True), (0.065, False)])
def test_six_points_of_throttle_are_no_move(swing: float, judged: bool) -> None:
    bench = walked("current", 0.5)
    trips = []
    for _ in range(20):
        trips.append(bench.hold(0.05, 0.5, voltage=12.0, current=9.0))
        trips.append(bench.hold(0.05, 0.5 + swing, voltage=12.0, current=9.0))
    # Before the first swing is seen it is a throttle that is held.
    assert any(trips[4:]) is judged

"""What breaks while the motor turns is cut in time, and under its right name.

Simulated throughout. Times are from when it breaks to the guard's trip; readings
wait for up to 16 ms in the adapter before the guard sees them.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.stand.plant.bench import Plant
from daq.stand.plant.condition import Condition
from protocols.guard.trip import Action
from protocols.rules import Burst
from tests.daq.stand.plant.builder import changed
from tests.protocols.guard.spell import (
    RULES,
    Act,
    Change,
    Spell,
    begins,
    from_then_on,
    levels,
)

STAIRS = levels(0.2, 0.4, 0.6, 0.8, 0.6, 0.4, 0.2)
# Well into a hold on the way up, and on the way down.
HOLDS = {
    f"at {100 * frac:.0f} %": begins(STAIRS, n) + 1.1
    for n, frac in ((1, 0.4), (2, 0.6), (3, 0.8), (5, 0.4))
}


def broken(act: Act, **changes: object) -> Spell:
    return Spell(act=act, **changes).walk(STAIRS)  # type: ignore[arg-type]


def falsified(change: Change, **changes: object) -> Spell:
    return Spell(change=change, **changes).walk(STAIRS)  # type: ignore[arg-type]


def assert_tripped(
    walked: Spell, checks: tuple[str, ...], start_s: float, within_s: float
) -> None:
    assert walked.trip is not None
    assert walked.trip.check in checks
    assert start_s < walked.at_s <= start_s + within_s


holds = pytest.mark.parametrize("start_s", HOLDS.values(), ids=list(HOLDS))


@holds
def test_a_thrown_propeller_is_cut_before_the_load_cell_shows_it(
    start_s: float,
) -> None:
    # Its filter alone holds a reading back for four conversions of 12.5 ms.
    walked = broken(from_then_on(start_s, propeller_on=False))
    assert_tripped(walked, ("thrown",), start_s, 0.05)


@holds
def test_a_thrown_propeller_is_cut_without_an_rpm_sensor(start_s: float) -> None:
    walked = broken(from_then_on(start_s, propeller_on=False), without=("speed",))
    assert_tripped(walked, ("thrown",), start_s, 0.17)


def test_a_propeller_thrown_on_a_ramp_is_cut() -> None:
    start_s = begins(STAIRS, 2) - 0.1
    walked = broken(from_then_on(start_s, propeller_on=False))
    assert_tripped(walked, ("thrown",), start_s, 0.1)


def test_a_propeller_lost_at_low_throttle_is_cut() -> None:
    start_s = begins(STAIRS, 0) + 1.2
    walked = broken(from_then_on(start_s, propeller_on=False))
    assert_tripped(walked, ("thrown", "plausible"), start_s, 0.7)


@holds
@pytest.mark.parametrize("lacking", [(), ("speed",)])
def test_a_blocked_rotor_is_cut(start_s: float, lacking: tuple[str, ...]) -> None:
    walked = broken(from_then_on(start_s, rotor_free=False), without=lacking)
    # At high throttle it takes more current than its limit at once.
    assert_tripped(walked, ("stalled", "limit"), start_s, 0.15)


def test_a_motor_that_is_blocked_from_the_start_is_cut() -> None:
    walked = broken(from_then_on(0.0, rotor_free=False))
    assert_tripped(walked, ("stalled",), begins(STAIRS, 0), 1.0)


@holds
def test_a_motor_out_of_step_is_cut(start_s: float) -> None:
    drawn = np.random.default_rng(3)

    def act(plant: Plant, at_s: float) -> None:
        if at_s >= start_s:
            out = Condition(
                grip_frac=-0.3 + 0.7 * drawn.random(),
                loop_factor=1.0 + 1.5 * drawn.random(),
            )
            plant.suffer(out)

    assert_tripped(broken(act), ("stalled", "plausible", "limit"), start_s, 0.3)


@holds
def test_an_esc_that_stops_driving_is_cut(start_s: float) -> None:
    walked = broken(from_then_on(start_s, esc_arms=False))
    assert_tripped(walked, ("stalled",), start_s, 0.25)


def test_an_esc_that_never_arms_is_told() -> None:
    walked = broken(from_then_on(0.0, esc_arms=False))
    assert_tripped(walked, ("not started",), begins(STAIRS, 1), 1.3)


def test_an_esc_that_ignores_zero_is_told() -> None:
    start_s = begins(STAIRS, 6) + 1.0
    walked = broken(from_then_on(start_s, esc_heeds_zero=False))
    # At a fifth of throttle its current is next to nothing: the speed shows it.
    assert_tripped(walked, ("follows",), begins(STAIRS, 7), 1.05)
    assert walked.trip is not None
    assert "Cut the power" in walked.trip.advice


def test_an_esc_that_ignores_a_lower_throttle_is_cut() -> None:
    walked = Spell(stubborn=True).walk(STAIRS)
    assert_tripped(walked, ("follows",), begins(STAIRS, 4), 1.0)


# ------------------------------------------------------------- sensors


def frozen(channel: str, start_s: float) -> Change:
    held: list[float] = []

    def change(name: str, value: float, at_s: float) -> float:
        if name != channel or at_s < start_s:
            return value
        if not held:
            held.append(value)
        return held[0]

    return change


def off_by(channel: str, start_s: float, offset: float) -> Change:
    return lambda name, value, at_s: (
        value + offset if name == channel and at_s >= start_s else value
    )


@holds
@pytest.mark.parametrize("channel", ["thrust", "current", "voltage"])
def test_a_lively_sensor_that_freezes_is_cut(channel: str, start_s: float) -> None:
    walked = falsified(frozen(channel, start_s))
    # The load cell gives 80 readings a second.
    within_s = 0.45 if channel == "thrust" else 0.2
    assert_tripped(walked, ("frozen",), start_s, within_s)


@holds
def test_an_rpm_sensor_that_freezes_is_cut_at_the_next_level(start_s: float) -> None:
    walked = falsified(frozen("speed", start_s))
    assert_tripped(walked, ("frozen",), start_s, 0.7 + 0.2 + 0.85)


@pytest.mark.parametrize("channel", ["thrust", "current"])
def test_a_sensor_that_is_frozen_from_the_start_is_told(channel: str) -> None:
    walked = falsified(frozen(channel, 0.0))
    assert_tripped(walked, ("stuck",), begins(STAIRS, 1), 1.3)


def test_an_rpm_sensor_that_is_dead_from_the_start_is_told() -> None:
    walked = falsified(frozen("speed", 0.0))
    # As soon as the current is more than a sensor's zero may be off by.
    assert_tripped(walked, ("stalled",), begins(STAIRS, 1) - 0.2, 1.0)
    assert walked.trip is not None
    assert "rpm sensor" in walked.trip.advice


@pytest.mark.parametrize(
    ("channel", "offset"),
    [("thrust", 0.6), ("thrust", -0.6), ("current", 1.6), ("current", -1.4)],
)
def test_a_sensor_that_is_off_by_a_third_is_cut_once_the_level_is_known(
    channel: str, offset: float
) -> None:
    start_s = begins(STAIRS, 4) + 1.2  # the second time at 60 %
    walked = falsified(off_by(channel, start_s, offset))
    assert_tripped(walked, ("plausible", "stalled"), start_s, 0.6)


@pytest.mark.parametrize("offset", [600.0, -600.0])
def test_an_rpm_sensor_that_is_off_by_a_fifth_is_cut(offset: float) -> None:
    start_s = begins(STAIRS, 4) + 0.9
    walked = falsified(off_by("speed", start_s, offset))
    assert_tripped(walked, ("plausible",), start_s, 0.9)


@pytest.mark.parametrize("channel", ["thrust", "current", "voltage", "speed"])
def test_a_sensor_that_gives_no_numbers_is_cut(channel: str) -> None:
    start_s = HOLDS["at 60 %"]

    def nothing(name: str, value: float, at_s: float) -> float:
        return math.nan if name == channel and at_s >= start_s else value

    assert_tripped(falsified(nothing), ("limit",), start_s, 0.05)


@pytest.mark.parametrize(
    ("channel", "check", "within_s"),
    [
        ("thrust", "silence", 0.65),
        ("current", "silence", 0.25),
        ("voltage", "silence", 0.25),
        ("speed", "silence", 0.65),
        ("winding-temp", "heat", 2.2),
        ("esc-temp", "heat", 2.2),
    ],
)
def test_a_sensor_that_falls_silent_is_cut(
    channel: str, check: str, within_s: float
) -> None:
    start_s = HOLDS["at 60 %"]

    def nothing(name: str, value: float, at_s: float) -> float | None:
        return None if name == channel and at_s >= start_s else value

    assert_tripped(falsified(nothing), (check,), start_s, within_s)


# ------------------------------------------------------------- what adds up


def test_a_motor_that_gets_hot_is_ramped_down() -> None:
    start_s = HOLDS["at 60 %"]
    hot = from_then_on(start_s, winding_rise_k=40.0, heating_factor=6.0)
    walked = Spell(act=hot, rules=replace(RULES, winding_max_k=363.15)).walk(STAIRS)
    assert_tripped(walked, ("heat",), start_s, 10.0)
    assert walked.trip is not None
    assert walked.trip.action is Action.RAMP_DOWN


def test_a_burst_that_lasts_too_long_is_ramped_down_when_it_is_used_up() -> None:
    full = levels(0.5, 1.0, hold_s=6.0, rate_frac_s=2.0)
    plug = Burst("plug", 6.0, 12.0, 3.0, "test")
    walked = Spell(rules=replace(RULES, bursts=(plug,))).walk(full)
    assert walked.trip is not None
    assert (walked.trip.check, walked.trip.action) == ("burst", Action.RAMP_DOWN)
    # The simulated motor takes 11.6 A falling to 11.1 A as the pack sags.
    least_s, most_s = (324 / (a * a - 36) for a in (12.0, 10.5))
    assert least_s < walked.at_s - begins(full, 1) < most_s


def test_a_pack_that_gave_what_it_may_is_spared() -> None:
    walked = Spell(rules=replace(RULES, charge_c=20.0)).walk(STAIRS)
    assert walked.trip is not None
    assert (walked.trip.check, walked.trip.action) == ("pack", Action.RAMP_DOWN)
    truth: list[float] = []

    def watch(plant: Plant, at_s: float) -> None:
        if at_s >= walked.at_s and not truth:
            truth.append(plant.integrals.bus_charge_c)

    Spell(act=watch, rules=replace(RULES, charge_c=1e6)).walk(STAIRS)
    # The ESC's own draw at rest went into the zero; the sensor's gain is 1 % good.
    assert truth[0] == pytest.approx(20.0, rel=0.06)


@pytest.mark.slow
@pytest.mark.parametrize(
    "stand",
    [
        {"pack.charge_frac": 0.3},
        {"load_cell.samples_s": 10.0},
        {"propeller.inertia_kg_m2": 1e-6},
        {"current_sensor.noise_counts_rms": 60.0},
    ],
    ids=str,
)
@pytest.mark.parametrize(
    ("checks", "condition"),
    [
        (("thrown",), {"propeller_on": False}),
        (("stalled", "limit"), {"rotor_free": False}),
        (("stalled",), {"esc_arms": False}),
    ],
)
@holds
def test_on_other_stands_as_well(
    stand: dict[str, object],
    checks: tuple[str, ...],
    condition: dict[str, object],
    start_s: float,
) -> None:
    act = from_then_on(start_s, **condition)
    assert_tripped(Spell(changed(stand), act=act).walk(STAIRS), checks, start_s, 0.4)

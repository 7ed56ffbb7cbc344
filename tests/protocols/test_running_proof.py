"""The proof with the supply on: gently up, no further than allowed, seen to fall."""

import math
from dataclasses import dataclass, replace

import pytest
from typing_extensions import override

from daq.link import messages as m
from protocols.proof import trial as t
from protocols.proof.running import (
    DRAWS_A,
    HOLD_S,
    LOOK_S,
    TURNS_RAD_S,
    _bring_up,
    _mean,
    _turns,
    running,
)
from tests.protocols.trials import Willing, trial

REST_A = 0.25


def armed_trial(**changes: object) -> t.Trial:
    return trial(grant=m.Arm, raised=0, seen={"current": REST_A}, **changes)


@dataclass
class Motor(Willing):
    """A stand with a motor that turns from a throttle on, with 512 rad/s and 1 A.

    Attributes:
        turns_from: hundredths of a percent.
        after: what it reads once the stand has tripped.
        tachometer: it measures its speed.
    """

    turns_from: int = 1_000
    after: tuple[float, float] = (REST_A, 0.0)
    tachometer: bool = True

    @override
    def shows(self) -> None:
        turns = self.setpoint >= self.turns_from
        current_a, speed_rad_s = (REST_A + 1.0, 512.0) if turns else (REST_A, 0.0)
        if self.tried.state is m.State.TRIPPED:
            current_a, speed_rad_s = self.after
        self.tried.seen["current"] = current_a
        if self.tachometer:
            self.tried.seen["speed"] = speed_rad_s


def brought_up(motor: Motor, highest: float = 0.6) -> Motor:
    motor.goes_through(running(motor.tried, highest))
    return motor


def raised(motor: Motor) -> list[tuple[float, int]]:
    """When which throttle was held, from the first to the last."""
    return [(at_s, hold) for at_s, hold in motor.held if hold is not None]


# ------------------------------------------------------------------ the way up


def test_the_throttle_rises_by_fifteen_percent_of_full_a_second() -> None:
    motor = Motor(armed_trial(), turns_from=m.THROTTLE_FULL)
    with pytest.raises(t.NotProven):
        brought_up(motor)
    holds = raised(motor)
    begun_s = next(at_s for at_s, _ in holds)
    assert len(holds) > 200
    for at_s, hold in holds:
        assert hold == pytest.approx(1500 * (at_s - begun_s), abs=0.51)


def test_the_rise_is_looked_at_fifty_times_a_second() -> None:
    tried = armed_trial(now_s=4.0)
    assert next(_bring_up(tried, 0.3, REST_A)) == pytest.approx(4.02)


@pytest.mark.parametrize(
    ("plan_highest", "sought"),
    [(0.125, 0.125), (0.25, 0.25), (0.35, 0.35), (0.6, 0.35)],
)
def test_a_motor_that_does_not_turn_is_given_up_at_the_plans_highest_or_35_percent(
    plan_highest: float, sought: float
) -> None:
    motor = Motor(armed_trial(), turns_from=m.THROTTLE_FULL)
    with pytest.raises(t.NotProven, match="not seen to turn") as failure:
        brought_up(motor, plan_highest)
    assert f"at {100 * sought:.0f} % throttle" in str(failure.value)
    assert "beeps" in failure.value.advice
    assert failure.value.guard == "lease while running"
    highest = max(hold for _, hold in raised(motor))
    assert sought - 0.003 < highest / m.THROTTLE_FULL <= sought


def test_the_highest_throttle_allowed_is_itself_tried() -> None:
    tried = armed_trial(now_s=0.0)
    steps = _bring_up(tried, 0.15, REST_A)
    next(steps)
    tried.now_s = 1.0
    next(steps)
    assert tried.hold == 1500
    tried.now_s = math.nextafter(1.0, 2.0)
    with pytest.raises(t.NotProven):
        next(steps)


def test_it_is_held_three_percent_above_where_it_began_to_turn() -> None:
    motor = brought_up(Motor(armed_trial(), turns_from=1000))
    holds = [hold for _, hold in raised(motor)]
    turned_at = next(hold for hold in holds if hold >= 1000)
    assert turned_at <= 1015
    assert holds[-1] == max(holds) == turned_at + 300


def test_three_percent_more_never_exceeds_the_plans_highest() -> None:
    motor = brought_up(Motor(armed_trial(), turns_from=1000), highest=0.11)
    assert max(hold for _, hold in raised(motor)) == 1100


def test_a_motor_that_turns_by_itself_is_held_at_three_percent() -> None:
    motor = brought_up(Motor(armed_trial(), turns_from=0))
    assert max(hold for _, hold in raised(motor)) == 300


def test_what_it_draws_at_rest_is_read_before_it_is_armed() -> None:
    motor = brought_up(Motor(armed_trial(now_s=5.0)))
    assert motor.when(m.Arm) == [pytest.approx(5.0 + LOOK_S)]


# ---------------------------------------------------------------- what turns is


@pytest.mark.parametrize(
    ("seen", "turns"),
    [
        ({"speed": 100.0, "current": 9.0}, False),
        ({"speed": 100.1, "current": 0.0}, True),
        ({"speed": math.nan, "current": 0.08}, False),
        ({"speed": math.nan, "current": 0.081}, True),
        ({"speed": math.inf, "current": 0.0}, False),
        ({"current": 0.08}, False),
        ({"current": 0.081}, True),
        ({"current": math.nan}, False),
        ({}, False),
    ],
)
def test_a_motor_turns_by_its_speed_and_only_without_one_by_its_current(
    seen: dict[str, float], turns: bool
) -> None:
    assert (TURNS_RAD_S, DRAWS_A) == (100.0, 0.08)
    assert _turns(trial(seen=seen), 0.0) is turns


def test_what_it_draws_counts_from_what_it_drew_at_rest() -> None:
    assert not _turns(trial(seen={"current": 1.05}), 1.0)
    assert _turns(trial(seen={"current": 1.1}), 1.0)


def test_a_mean_is_of_the_numbers_read_within_150_ms() -> None:
    tried = trial()
    steps = _mean(tried, "current")
    for now_s, reads in ((0.0, 1.0), (0.05, math.nan), (0.1, 2.0), (0.149, 6.0)):
        tried.now_s, tried.seen["current"] = now_s, reads
        assert next(steps) == 0.15
    tried.now_s, tried.seen["current"] = 0.15, 100.0
    with pytest.raises(StopIteration) as over:
        next(steps)
    assert over.value.value == 3.0


def test_a_mean_of_nothing_is_no_number() -> None:
    tried = trial(seen={"current": math.nan})
    for name in ("current", "speed"):
        tried.now_s = 0.0
        steps = _mean(tried, name)
        next(steps)
        tried.now_s = 0.15
        with pytest.raises(StopIteration) as over:
            next(steps)
        assert math.isnan(over.value.value)


# ------------------------------------------------------- the lease and the fall


def test_the_lease_is_let_lapse_after_a_steady_while_and_the_latch_is_cleared() -> None:
    motor = brought_up(Motor(armed_trial(), turns_from=1000))
    tried = motor.tried
    highest = max(hold for _, hold in raised(motor))
    steady = [at_s for at_s, hold in raised(motor) if hold == highest]
    assert HOLD_S == 0.4
    # Held, and then current and speed averaged, one after the other.
    assert steady[-1] - steady[0] == pytest.approx(0.4 + 0.15 + 0.15, abs=0.021)
    assert tried.state is m.State.LOCKED
    assert [type(c) for _, c in motor.said] == [m.Arm, m.Acknowledge]
    # From the last throttle to the stop: the lease of 200 ms, less one renewal.
    assert tried.took_s == pytest.approx(0.2, abs=0.011)


def test_only_the_end_of_the_lease_is_expected_and_only_once_it_is_let_lapse() -> None:
    expected: list[tuple[int | None, m.Cause | None]] = []

    @dataclass
    class Watched(Motor):
        @override
        def acts(self) -> None:
            expected.append((self.tried.hold, self.tried.expected))
            super().acts()

    brought_up(Watched(armed_trial()))
    assert {cause for hold, cause in expected if hold is not None} == {None}
    assert m.Cause.LEASE_ENDED in {cause for _, cause in expected}


def test_a_stand_that_lets_the_motor_run_on_is_waited_for_150_ms_past_its_lease() -> (
    None
):
    class NoLease(Motor):
        @override
        def acts(self) -> None:
            self.renewed_s = self.tried.now_s
            super().acts()

    motor = NoLease(armed_trial())
    with pytest.raises(t.NotProven, match="did not act on lease ended"):
        brought_up(motor)
    waited_s = motor.done_s - motor.tried.marked_s
    assert waited_s == pytest.approx(0.2 + 0.15, abs=0.011)


@pytest.mark.parametrize(
    ("current_a", "speed_rad_s"),
    [(REST_A, 0.0), (REST_A + 0.5, 256.0), (REST_A, 256.0), (REST_A + 0.5, 0.0)],
)
def test_current_and_speed_at_half_or_less_have_fallen(
    current_a: float, speed_rad_s: float
) -> None:
    motor = brought_up(Motor(armed_trial(), after=(current_a, speed_rad_s)))
    assert motor.tried.state is m.State.LOCKED


@pytest.mark.parametrize(
    ("current_a", "speed_rad_s"),
    [
        (REST_A + 0.501, 0.0),  # the current alone stays up
        (REST_A, 256.1),  # the speed alone does
        (REST_A + 1.0, 512.0),
        (REST_A, math.nan),  # a speed that is not known has not fallen
        (math.nan, 0.0),  # nor has such a current
    ],
)
def test_a_motor_that_is_not_seen_to_stop_within_a_second_ends_the_proof(
    current_a: float, speed_rad_s: float
) -> None:
    motor = Motor(armed_trial(), after=(current_a, speed_rad_s))
    with pytest.raises(t.NotProven, match="the motor ran on") as failure:
        brought_up(motor)
    assert failure.value.advice.startswith("PULL THE PLUG")
    waited_s = motor.done_s - motor.tried.marked_s
    assert waited_s == pytest.approx(0.2 + 1.0, abs=0.021)
    assert motor.when(m.Acknowledge) == []  # its latch stays


def test_a_stand_without_a_tachometer_is_judged_by_its_current_alone() -> None:
    motor = brought_up(Motor(armed_trial(), tachometer=False))
    assert motor.tried.state is m.State.LOCKED
    draws = Motor(armed_trial(), tachometer=False, after=(REST_A + 0.6, 0.0))
    with pytest.raises(t.NotProven, match="the motor ran on"):
        brought_up(draws)


def test_a_speed_never_known_while_it_turned_does_not_have_to_fall() -> None:
    class Blind(Motor):
        @override
        def shows(self) -> None:
            super().shows()
            if self.tried.state is not m.State.TRIPPED:
                self.tried.seen["speed"] = math.nan

    motor = brought_up(Blind(armed_trial(), after=(REST_A, 400.0)))
    assert motor.tried.state is m.State.LOCKED


def test_a_tachometer_that_gives_no_number_is_not_taken_for_none() -> None:
    class Broken(Motor):
        @override
        def shows(self) -> None:
            super().shows()
            self.tried.seen["speed"] = math.nan

    with pytest.raises(t.NotProven, match="the motor ran on"):
        brought_up(Broken(armed_trial()))


def test_the_fall_may_take_most_of_a_second() -> None:
    class Coasts(Motor):
        @override
        def shows(self) -> None:
            late = self.tried.now_s - self.tried.marked_s > 1.1
            self.after = (REST_A, 200.0 if late else 500.0)
            super().shows()

    motor = brought_up(Coasts(armed_trial()))
    assert motor.tried.took_s == pytest.approx(1.11, abs=0.011)


# ------------------------------------------------------------ one reading is none


class Coarse(Motor):
    """Its sensor tells steps of 0.1 A, and now and then reads a step or more off."""

    off_a = 0.1

    @override
    def shows(self) -> None:
        super().shows()
        if round(self.tried.now_s / 0.01) % 10 == 3:
            self.tried.seen["current"] += self.off_a


def coarse_trial() -> t.Trial:
    tried = armed_trial()
    pages = tuple(replace(page, counts_per_unit=10.0) for page in tried.stand.channels)
    tried.stand = replace(tried.stand, channels=pages)
    return tried


def test_a_step_of_a_coarse_sensor_is_no_motor_that_turns() -> None:
    tried = coarse_trial()
    tried.seen["current"] = 0.3
    assert not _turns(tried, 0.0)
    tried.seen["current"] = 0.31
    assert _turns(tried, 0.0)
    motor = brought_up(Coarse(coarse_trial(), turns_from=1000, tachometer=False))
    assert max(hold for _, hold in raised(motor)) >= 1300


def test_a_spike_is_no_motor_that_turns() -> None:
    motor = Coarse(armed_trial(), turns_from=2000, tachometer=False)
    motor.off_a = 0.5
    brought_up(motor)
    assert max(hold for _, hold in raised(motor)) >= 2000


def test_a_motor_that_only_spikes_is_not_seen_to_turn() -> None:
    motor = Coarse(armed_trial(), turns_from=m.THROTTLE_FULL, tachometer=False)
    motor.off_a = 0.5
    with pytest.raises(t.NotProven, match="not seen to turn"):
        brought_up(motor)


def test_one_reading_that_fell_is_no_motor_that_stopped() -> None:
    motor = Coarse(armed_trial(), tachometer=False, after=(REST_A + 1.0, 0.0))
    motor.off_a = -1.0
    with pytest.raises(t.NotProven, match="the motor ran on"):
        brought_up(motor)
    assert motor.when(m.Acknowledge) == []


class Again(Motor):
    """What it reads after the stop depends on when."""

    @override
    def shows(self) -> None:
        tripped = self.tried.state is m.State.TRIPPED
        since_s = self.tried.now_s - self.tried.marked_s - 0.2 if tripped else 0.0
        self.after = self.reads(since_s)
        super().shows()

    def reads(self, since_s: float) -> tuple[float, float]:
        raise NotImplementedError


class Dips(Again):
    """Low wherever one looks, and high between."""

    @override
    def reads(self, since_s: float) -> tuple[float, float]:
        dips = round(since_s / 0.01) % 15 in (0, 1, 14)
        return (REST_A if dips else REST_A + 1.0), 0.0


class TurnsAgain(Again):
    """Its speed comes back every tenth of a second."""

    @override
    def reads(self, since_s: float) -> tuple[float, float]:
        return REST_A, 0.0 if round(since_s / 0.01) % 10 < 3 else 512.0


@pytest.mark.parametrize("kind", [Dips, TurnsAgain])
def test_what_comes_back_is_no_motor_that_stopped_and_is_not_waited_for_long(
    kind: type[Again],
) -> None:
    motor = kind(armed_trial(), tachometer=kind is TurnsAgain)
    with pytest.raises(t.NotProven, match="the motor ran on"):
        brought_up(motor)
    assert motor.done_s - motor.tried.marked_s < 0.2 + 1.0 + 2 * LOOK_S


def test_what_comes_slowly_is_looked_at_for_longer() -> None:
    tried = trial()
    slowly = [
        replace(layout, page=replace(layout.page, period_us=100_000))
        for layout in tried.stand.layouts
    ]
    tried.stand = replace(tried.stand, layouts=tuple(slowly))
    assert next(_mean(tried, "current")) == pytest.approx(0.35)
    assert next(_mean(tried, "speed")) == LOOK_S

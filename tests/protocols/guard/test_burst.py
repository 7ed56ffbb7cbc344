"""Time in the burst: I squared t above the continuous rating."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.guard.burst import CUT_SHARE, BurstCheck
from protocols.guard.integral import GAP_S
from protocols.guard.trip import Action, Trip
from protocols.rules import Burst
from tests.protocols.guard.play import sees

PLUG = Burst("plug", 12.0, 20.0, 10.0, "plug 20 A for 10 s, continuous 12 A")
STEP_S = 0.05


def carries(
    check: BurstCheck, current_a: float, from_s: float, for_s: float
) -> tuple[Trip | None, float]:
    """The part carries that current; the first trip and when."""
    now_s = from_s
    for step in range(round(for_s / STEP_S) + 1):
        now_s = from_s + step * STEP_S
        trip = check.current(current_a, now_s)
        if trip is not None:
            return trip, now_s
    return None, now_s


def test_the_continuous_current_may_flow_for_ever() -> None:
    check = BurstCheck(PLUG)
    assert carries(check, 12.0, 0.0, 600.0)[0] is None
    assert check.used_share == 0.0


def test_the_short_time_current_ramps_down_after_the_short_time() -> None:
    trip, at_s = carries(BurstCheck(PLUG), 20.0, 0.0, 60.0)
    assert at_s == pytest.approx(10.0, abs=STEP_S)
    assert trip == Trip(
        "burst",
        "The plug's time above 12 A is used up: 100 % of 20 A for 10 s (plug 20 A for "
        "10 s, continuous 12 A).",
        "the plug has cooled below its continuous rating",
        "Let the plug cool and feel for heat with the supply off; use a shorter burst "
        "or a larger part.",
        Action.RAMP_DOWN,
    )


def test_it_cuts_where_the_current_goes_on() -> None:
    check = BurstCheck(PLUG)
    carries(check, 20.0, 0.0, 10.0)
    now_s = 10.0
    actions: list[tuple[float, Action]] = []
    while len(actions) < 100:
        now_s += STEP_S
        actions.append((now_s, sees(check.current(20.0, now_s)).action))
    cut_s = next(at_s for at_s, action in actions if action is Action.CUT)
    assert cut_s == pytest.approx(10.0 * CUT_SHARE, abs=2 * STEP_S)
    assert {action for at_s, action in actions if at_s < cut_s} == {Action.RAMP_DOWN}


@pytest.mark.parametrize("current_a", [15.0, 25.0, 40.0])
def test_other_currents_have_the_same_budget(current_a: float) -> None:
    # (I^2 - I_cont^2) t is the same for all: common practice in drives, no source.
    _, at_s = carries(BurstCheck(PLUG), current_a, 0.0, 100.0)
    assert at_s == pytest.approx(2560 / (current_a**2 - 144), abs=STEP_S)


@given(st.floats(13.0, 60.0))
def test_beside_a_thermal_relay(current_a: float) -> None:
    """A first-order relay of the same two ratings, started cold.

    t = tau ln(I^2/(I^2 - I_cont^2)): the characteristic of IEC 60255-149 (from
    memory), tau such that the relay acts at the rated point too.
    """
    tau_s = 10.0 / math.log(400 / (400 - 144))
    relay_s = tau_s * math.log(current_a**2 / (current_a**2 - 144))
    ours_s = PLUG.budget_a2s / (current_a**2 - 144)
    if current_a >= 20.0:
        assert ours_s <= relay_s * (1 + 1e-9)  # beyond the rating: earlier
    else:
        assert ours_s >= relay_s * (1 - 1e-9)


def test_a_part_recovers_below_its_continuous_current() -> None:
    check = BurstCheck(PLUG)
    assert carries(check, 20.0, 0.0, 9.0)[0] is None
    assert check.used_share == pytest.approx(0.9)
    # 2304 A^2 s run down at 144 - 36 A^2.
    assert carries(check, 6.0, 9.0, 10.0)[0] is None
    assert check.used_share == pytest.approx((2304 - 1080 + 4) / 2560, abs=0.01)
    assert carries(check, 0.0, 19.0, 60.0)[0] is None
    assert check.used_share == 0.0
    _, at_s = carries(check, 20.0, 79.05, 60.0)
    assert at_s - 79.05 == pytest.approx(10.0, abs=0.1)


def test_a_part_that_did_not_recover_has_less_time() -> None:
    check = BurstCheck(PLUG)
    carries(check, 20.0, 0.0, 8.0)
    carries(check, 12.0, 8.05, 60.0)
    _, at_s = carries(check, 20.0, 70.0, 60.0)
    assert at_s - 70.0 < 2.2


def test_current_the_other_way_heats_as_well() -> None:
    _, at_s = carries(BurstCheck(PLUG), -20.0, 0.0, 60.0)
    assert at_s == pytest.approx(10.0, abs=STEP_S)


def test_a_gap_counts_with_the_higher_end() -> None:
    check = BurstCheck(PLUG)
    check.current(20.0, 0.0)
    assert check.current(0.0, 5.0) is None
    assert check.used_share == pytest.approx(0.5)
    check = BurstCheck(PLUG)
    check.current(0.0, 0.0)
    assert check.current(20.0, 5.0) is None
    assert check.used_share == pytest.approx(0.5)


def test_a_reading_that_is_no_number_is_a_gap() -> None:
    check = BurstCheck(PLUG)
    check.current(20.0, 0.0)
    for step in range(1, 100):
        assert check.current(math.nan, 0.1 * step) is None
    assert sees(check.current(0.0, 10.0)).action is Action.RAMP_DOWN


def test_a_short_step_counts_with_its_mean() -> None:
    check = BurstCheck(PLUG)
    check.current(20.0, 0.0)
    check.current(10.0, GAP_S)
    assert check.used_share == pytest.approx((250 - 144) * GAP_S / 2560)


def test_readings_of_the_same_moment_count_once() -> None:
    check = BurstCheck(PLUG)
    for _ in range(1000):
        check.current(100.0, 1.0)
    assert check.used_share == 0.0


def test_the_budget_is_used_up_exactly_at_its_end() -> None:
    burst = Burst("ESC", 0.5, 1.5, 2.0, "test")  # 4 A^2 s
    check = BurstCheck(burst)
    check.current(1.5, 0.0)
    assert check.current(1.5, 1.9375) is None
    assert sees(check.current(1.5, 2.0)).action is Action.RAMP_DOWN
    assert sees(check.current(1.5, 2.4375)).action is Action.RAMP_DOWN
    trip = sees(check.current(1.5, 2.5))
    assert trip.action is Action.CUT
    assert "125 % of 1.5 A for 2 s" in trip.cause

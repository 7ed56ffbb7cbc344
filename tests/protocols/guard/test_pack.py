"""Charge and energy of one spin, against their budgets."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.guard.integral import Integral
from protocols.guard.now import Now
from protocols.guard.pack import PackCheck
from protocols.guard.trip import Action, Trip
from protocols.rules import NO_RULES, Rules
from tests.protocols.guard.play import Play, sees

CHARGE_C = 90.0  # 25 mAh
ENERGY_J = 900.0  # 0.25 Wh


def play(rules: Rules) -> Play:
    now = Now(0.0)
    return Play(now, {"current": PackCheck(rules, now).current})


def test_the_charge_that_a_spin_may_take_ramps_down() -> None:
    bench = play(Rules(charge_c=CHARGE_C))
    assert bench.hold(60.0, 0.5, voltage=12.0, current=6.0) == Trip(
        "pack",
        "This spin took 25 mAh from the pack, all of the 25 mAh that it may.",
        "a charged pack is connected",
        "Charge the pack, or split the plan over two packs.",
        Action.RAMP_DOWN,
    )
    assert bench.took_s == pytest.approx(15.0, abs=0.02)


def test_the_energy_that_it_may_take_does_so_too() -> None:
    bench = play(Rules(charge_c=CHARGE_C, energy_j=ENERGY_J))
    trip = sees(bench.hold(60.0, 0.5, voltage=15.0, current=6.0))
    assert bench.took_s == pytest.approx(10.0, abs=0.02)
    assert trip.cause == (
        "This spin took 0.25 Wh from the pack, all of the 0.25 Wh that it may."
    )


def test_a_budget_is_used_up_exactly_at_its_end() -> None:
    for rules in (Rules(charge_c=2.0), Rules(energy_j=2.0)):
        now = Now(0.0)
        check = PackCheck(rules, now)
        for now_s, trips in ((0.0, False), (1.0, False), (2.0, True)):
            now.heard("voltage", 1.0, now_s)
            assert (check.current(1.0, now_s) is not None) is trips


def test_without_a_budget_nothing_is_judged() -> None:
    assert play(NO_RULES).hold(60.0, 0.5, voltage=12.0, current=1e6) is None


def test_without_a_voltage_the_charge_alone_is_judged() -> None:
    bench = play(Rules(charge_c=CHARGE_C, energy_j=1.0))
    assert "mAh" in sees(bench.hold(60.0, 0.5, current=6.0)).cause
    assert bench.took_s == pytest.approx(15.0, abs=0.02)


def test_it_goes_on_asking_once_the_budget_is_used() -> None:
    bench = play(Rules(charge_c=CHARGE_C))
    bench.hold(60.0, 0.5, voltage=12.0, current=6.0)
    assert bench.hold(0.02, 0.0, voltage=12.0, current=0.0) is not None


def test_current_that_comes_back_does_not_fill_the_budget() -> None:
    bench = play(Rules(charge_c=CHARGE_C))
    assert bench.hold(10.0, 0.5, current=6.0) is None
    assert bench.hold(60.0, 0.5, current=-6.0) is None
    bench.hold(60.0, 0.5, current=6.0)
    assert bench.took_s == pytest.approx(5.0, abs=0.05)


def test_an_integral_begins_with_its_first_reading() -> None:
    integral = Integral()
    assert integral.take(5.0, 100.0) == 0.0
    assert integral.take(5.0, 100.05) == pytest.approx(0.25)


def test_it_is_the_trapezoid_up_to_the_length_of_a_gap() -> None:
    integral = Integral()
    integral.take(1.0, 0.0)
    assert integral.take(3.0, 0.1) == pytest.approx(0.2)
    integral.take(1.0, 0.2)
    assert integral.take(3.0, 0.31) == pytest.approx(0.2 + 0.2 + 0.33)


@pytest.mark.parametrize(("before", "after"), [(1.0, 3.0), (3.0, 1.0)])
def test_beyond_that_the_higher_end_counts(before: float, after: float) -> None:
    integral = Integral()
    integral.take(before, 0.0)
    assert integral.take(after, 2.0) == pytest.approx(6.0)


def test_no_number_is_a_gap_and_a_negative_one_is_zero() -> None:
    integral = Integral()
    integral.take(3.0, 0.0)
    assert integral.take(math.nan, 0.05) == 0.0
    assert integral.take(math.inf, 0.10) == 0.0
    assert integral.take(1.0, 0.2) == pytest.approx(0.6)
    assert integral.take(-8.0, 0.25) == pytest.approx(0.6 + 0.025)
    assert integral.take(-8.0, 0.30) == pytest.approx(0.625)


def test_time_that_stands_or_goes_back_adds_nothing() -> None:
    integral = Integral()
    integral.take(3.0, 5.0)
    assert integral.take(3.0, 5.0) == 0.0
    assert integral.take(3.0, 4.0) == 0.0


@given(
    st.lists(
        st.tuples(st.floats(0.0, 2.0), st.just(math.nan) | st.floats(-1e300, 1e300)),
        max_size=40,
    )
)
def test_an_integral_never_falls_and_never_is_no_number(
    readings: list[tuple[float, float]],
) -> None:
    integral, now_s, before = Integral(), 0.0, 0.0
    for gap_s, value in readings:
        now_s += gap_s
        total = integral.take(value, now_s)
        assert total >= before
        before = total

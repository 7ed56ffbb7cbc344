"""The way down after a trip that need not cut."""

import pytest

from protocols.retreat import RETREAT_S, Retreat


def test_it_falls_in_a_straight_line_from_where_it_began() -> None:
    retreat = Retreat(0.8, 10.0)
    assert pytest.approx(0.4) == RETREAT_S
    assert retreat.setpoint(10.0) == pytest.approx(0.8)
    assert retreat.setpoint(10.1) == pytest.approx(0.6)
    assert retreat.setpoint(10.3) == pytest.approx(0.2)


def test_it_ends_at_zero_and_stays_there() -> None:
    retreat = Retreat(0.8, 10.0)
    assert retreat.setpoint(10.4) == pytest.approx(0.0)
    assert retreat.setpoint(11.0) == 0.0
    assert not retreat.over(10.399)
    assert retreat.over(10.4001)


def test_it_never_rises_above_where_it_began() -> None:
    assert Retreat(0.8, 10.0).setpoint(9.0) == pytest.approx(0.8)


def test_its_last_moment_is_over() -> None:
    assert Retreat(0.5, 0.0).over(RETREAT_S)

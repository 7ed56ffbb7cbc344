import math
from itertools import pairwise

import pytest

from daq.stand.plant.esc import Esc
from daq.stand.plant.truth_parts import EscTruth

STEP_S = 1e-3


def esc(**changes: object) -> Esc:
    figures: dict[str, object] = {
        "on_resistance_ohm": 0.016,
        "idle_current_a": 0.03,
        "electronics_draw_a": 0.05,
        "pulse_low_s": 1.0e-3,
        "pulse_high_s": 2.0e-3,
        "start_throttle_frac": 0.05,
        "bus_capacitance_f": 220e-6,
        "dropout_v": 4.0,
    }
    return Esc(EscTruth.model_validate(figures | changes), STEP_S)


def duty(one: Esc, pulse_s: float) -> float:
    one.command(pulse_s)
    return one.advance(12.0)


@pytest.mark.parametrize(
    ("pulse_s", "expected"),
    [
        (1.0e-3, 0.0),
        (1.25e-3, 0.25),
        (2.0e-3, 1.0),
        (2.1e-3, 1.0),  # above the upper end point: full
        (0.9e-3, 0.0),  # below the lower one: zero
        (1.049e-3, 0.0),  # below the start threshold
        (1.051e-3, 0.051),
    ],
)
def test_duty_is_proportional_between_the_end_points(
    pulse_s: float, expected: float
) -> None:
    # 1000 to 2000 us: documented servo-pulse range of speed controllers
    # (reference figures: PWM documentation of an open autopilot).
    assert duty(esc(), pulse_s) == pytest.approx(expected, abs=1e-9)


def test_other_end_points_shift_the_scale() -> None:
    one = esc(pulse_low_s=1.12e-3, pulse_high_s=1.92e-3)
    assert duty(one, 1.52e-3) == pytest.approx(0.5)


@pytest.mark.parametrize("pulse_s", [0.0, math.nan, -1.0, 2.5e-3, 0.5e-3, math.inf])
def test_anything_but_a_valid_pulse_cuts_at_once(pulse_s: float) -> None:
    one = esc(slew_frac_s=5.0, start_throttle_frac=0.0)
    for _ in range(1000):
        duty(one, 2.0e-3)
    assert one.duty_frac == 1.0
    assert duty(one, pulse_s) == 0.0
    assert one.duty_frac == 0.0


def test_slew_limits_the_rise_and_never_the_fall() -> None:
    one = esc(slew_frac_s=10.0)
    means = [duty(one, 2.0e-3) for _ in range(101)]
    # A straight ramp of 100 ms: its mean over step k is (k + 1/2)/100.
    assert means[:100] == pytest.approx([(k + 0.5) / 100 for k in range(100)], abs=1e-9)
    assert means[100] == 1.0
    assert duty(one, 1.3e-3) == pytest.approx(0.3)


def test_below_its_drop_out_voltage_it_does_not_drive() -> None:
    one = esc()
    one.command(1.5e-3)
    assert one.advance(3.99) == 0.0
    assert one.advance(4.01) == 0.5


def test_it_draws_more_while_it_switches() -> None:
    assert esc().draw_a(0.0) == pytest.approx(0.03)
    assert esc().draw_a(0.2) == pytest.approx(0.08)


def test_a_bowed_duty_meets_the_straight_one_at_both_ends() -> None:
    one = esc(start_throttle_frac=0.0, duty_bow_frac=0.03)
    assert duty(one, 2.0e-3) == 1.0
    assert duty(one, 1.0e-3) == 0.0
    assert duty(one, 1.5e-3) == pytest.approx(0.53)
    assert duty(one, 1.25e-3) == pytest.approx(0.25 + 4 * 0.03 * 0.25 * 0.75)


@pytest.mark.parametrize("bow", [-0.249, 0.249])
def test_the_steepest_bow_still_rises_everywhere(bow: float) -> None:
    one = esc(start_throttle_frac=0.0, duty_bow_frac=bow)
    found = [duty(one, 1e-3 + k * 1e-5) for k in range(101)]
    assert all(a < b for a, b in pairwise(found))
    assert found[-1] == 1.0

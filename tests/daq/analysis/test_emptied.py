"""A pack emptied on paper: sums, resistance and the flight against closed forms.

The pack's voltage falls in a straight line with charge behind one resistance, and the
current is what a constant power takes; nothing of that is in the analysis.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad, solve_ivp

from daq.analysis.aircraft import Aircraft
from daq.analysis.emptied import Emptied, HeldGoal, read_emptied
from daq.analysis.series import Hold, Series

FULL_V, FALL_V_C, OHM = 12.6, 2.4e-3, 0.12
WATT, THRUST_N, FLOOR_V = 9.0, 0.45, 10.2
REST_S, UP_S, AFTER_S = 5.0, 0.5, 20.0
RATE_HZ = 50.0
CRAFT = Aircraft(4, 4 * THRUST_N, 0.5, 1620.0, 3)


def amp_at(charge_c: float) -> float:
    """Current of the constant power, once so much charge was drawn."""
    open_v = FULL_V - FALL_V_C * charge_c
    return (open_v - math.sqrt(open_v**2 - 4 * OHM * WATT)) / (2 * OHM)


def taken(lasts_s: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Current and charge at every reading of the hold."""
    times_s = np.arange(0.0, lasts_s, 1 / RATE_HZ)
    charge_c = solve_ivp(
        lambda _, q: [amp_at(q[0])],
        (0.0, lasts_s),
        [0.0],
        t_eval=times_s,
        rtol=1e-9,
        atol=1e-9,
    ).y[0]
    return np.array([amp_at(q) for q in charge_c]), charge_c


def channels(
    lasts_s: float, *, zero_a: float = 0.0, noise: float = 0.0
) -> dict[str, Series]:
    """Readings of rest, hold and rest; the ramps take no time worth reading."""
    amp, charge_c = taken(lasts_s)
    held_v = FULL_V - FALL_V_C * charge_c - OHM * amp
    end_v = FULL_V - FALL_V_C * charge_c[-1]
    before, after = round(REST_S * RATE_HZ), round(AFTER_S * RATE_HZ)
    volt = np.concatenate((np.full(before, FULL_V), held_v, np.full(after, end_v)))
    amps = np.concatenate((np.zeros(before), amp, np.zeros(after))) + zero_a
    thrust = np.concatenate(
        (np.zeros(before), np.full(amp.size, THRUST_N), np.zeros(after))
    )
    t_s = np.arange(volt.size) / RATE_HZ
    rng = np.random.default_rng(7)
    made = {"thrust": thrust, "current": amps, "voltage": volt}
    quantities = {"thrust": "force", "current": "current", "voltage": "voltage"}
    return {
        name: Series(
            name,
            quantities[name],
            t_s,
            value + noise * rng.standard_normal(value.size),
            0.01,
            1e-6,
        )
        for name, value in made.items()
    }


def holds(lasts_s: float) -> list[Hold]:
    end_s = REST_S + lasts_s
    return [
        Hold("rest", "rest", -1, 0.0, 0.0, REST_S - 0.02),
        Hold("hold", "rest", 0, 0.4, REST_S, end_s - 0.02, 0.25),
        Hold("rest", "rest", -1, 0.0, end_s, end_s + AFTER_S - 0.02),
    ]


def goal(lasts_s: float, end: str = "floor") -> HeldGoal:
    return HeldGoal(THRUST_N, FLOOR_V, end, 2.0, lasts_s)


def to_floor_s() -> float:
    """When the bus is down to its floor; its charge is known in closed form."""
    open_v = FLOOR_V + OHM * WATT / FLOOR_V
    charge_c = (FULL_V - open_v) / FALL_V_C
    return float(quad(lambda q: 1 / amp_at(q), 0.0, charge_c)[0])


def emptied(**changes: float) -> Emptied:
    lasts_s = to_floor_s()
    found = read_emptied(
        channels(lasts_s, **changes), holds(lasts_s), goal(lasts_s), CRAFT
    )
    assert found is not None
    return found


def test_charge_and_energy_are_those_that_were_taken() -> None:
    found, lasts_s = emptied(), to_floor_s()
    open_v = FLOOR_V + OHM * WATT / FLOOR_V
    assert found.charge_c.value[0] == pytest.approx(
        (FULL_V - open_v) / FALL_V_C, rel=5e-4
    )
    assert found.energy_j.value[0] == pytest.approx(WATT * lasts_s, rel=5e-4)
    assert found.thrust_n.value[0] == pytest.approx(THRUST_N, rel=1e-6)
    assert found.rest_v.value[0] == pytest.approx(FULL_V, rel=1e-6)


def test_the_scale_of_the_current_goes_through_the_whole_sum() -> None:
    charge = emptied().charge_c
    assert charge.standard_uncertainty()[0] == pytest.approx(
        0.01 * charge.value[0], rel=0.02
    )


def test_a_zero_that_stands_off_is_taken_off() -> None:
    assert emptied(zero_a=0.08).charge_c.value[0] == pytest.approx(
        emptied().charge_c.value[0], rel=1e-4
    )


def test_the_resistance_is_what_the_voltage_comes_back_by() -> None:
    found = emptied(noise=1e-3)
    assert found.end_ohm is not None
    low, high = found.end_ohm.interval()
    assert low[0] < OHM < high[0]
    assert found.end_ohm.value[0] == pytest.approx(OHM, rel=0.03)
    assert found.end_v.value[0] == pytest.approx(FLOOR_V, abs=2e-3)


def test_the_flight_is_that_of_all_motors_on_the_same_pack() -> None:
    found = emptied()
    assert found.in_air is not None
    watt, load_a = 4 * WATT, CRAFT.electronics_a

    def bus_v(charge_c: float) -> float:
        open_v = FULL_V - FALL_V_C * charge_c - OHM * load_a
        return (open_v + math.sqrt(open_v**2 - 4 * OHM * watt)) / 2

    floor_open_v = FLOOR_V + OHM * (watt / FLOOR_V + load_a)
    floor_c = (FULL_V - floor_open_v) / FALL_V_C
    charges = np.linspace(0.0, floor_c, 20001)
    per_a = np.array([1 / (watt / bus_v(q) + load_a) for q in charges])
    flown_s = float(np.trapezoid(per_a, charges))
    assert found.in_air.endurance_s.value[0] == pytest.approx(flown_s, rel=2e-3)
    assert found.in_air.charge_c.value[0] == pytest.approx(floor_c, rel=2e-3)
    # Four motors get less out, and last for less than a quarter of one motor's time.
    assert floor_c < 0.85 * found.charge_c.value[0]
    assert flown_s < to_floor_s() / 4


def test_its_interval_holds_what_a_wrong_scale_makes_of_it() -> None:
    lasts_s = to_floor_s()
    series = channels(lasts_s)
    wrong = {
        **series,
        "current": replace(
            series["current"], value_si=1.015 * series["current"].value_si
        ),
    }
    found = read_emptied(wrong, holds(lasts_s), goal(lasts_s), CRAFT)
    right = emptied().in_air
    assert found is not None
    assert found.in_air is not None
    assert right is not None
    low, high = found.in_air.endurance_s.interval()
    assert low[0] < right.endurance_s.value[0] < high[0]


@pytest.mark.parametrize("end", ["longest", "faded", "not reached", ""])
def test_what_was_not_emptied_says_nothing_of_a_flight(end: str) -> None:
    lasts_s = 120.0
    found = read_emptied(channels(lasts_s), holds(lasts_s), goal(lasts_s, end), CRAFT)
    assert found is not None
    assert found.in_air is None
    assert found.charge_c.value[0] > 0


def test_another_thrust_than_hover_says_nothing_of_a_flight() -> None:
    lasts_s = to_floor_s()
    craft = replace(CRAFT, all_up_n=1.5 * 4 * THRUST_N)
    found = read_emptied(channels(lasts_s), holds(lasts_s), goal(lasts_s), craft)
    assert found is not None
    assert found.in_air is None


@pytest.mark.parametrize("gone", ["thrust", "current", "voltage"])
def test_without_a_channel_there_is_nothing(gone: str) -> None:
    series = {n: s for n, s in channels(60.0).items() if n != gone}
    assert read_emptied(series, holds(60.0), goal(60.0), CRAFT) is None


def test_without_a_hold_or_for_a_moment_there_is_nothing() -> None:
    series = channels(60.0)
    rest, held, after = holds(60.0)
    assert read_emptied(series, [rest, after], goal(60.0), CRAFT) is None
    assert read_emptied(series, [rest, held, after], None, CRAFT) is None
    short = replace(held, end_s=held.start_s + 5.0)
    assert read_emptied(series, [rest, short], goal(5.0), CRAFT) is None


def test_a_run_that_was_cut_has_its_charge_and_no_resistance() -> None:
    rest, held, _ = holds(60.0)
    found = read_emptied(channels(60.0), [rest, held], goal(60.0, ""), CRAFT)
    assert found is not None
    assert found.back is None
    assert found.end_ohm is None
    assert found.charge_c.value[0] == pytest.approx(taken(60.0)[1][-1], rel=2e-3)

"""The load cell's own errors against their laws."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.stand.plant.bench import Plant
from daq.stand.plant.cell_errors import Creep, Curve, Drift, Hysteresis
from daq.stand.plant.truth_effects import (
    CellCreepTruth,
    CellCurveTruth,
    CellDriftTruth,
    CellHysteresisTruth,
)
from tests.daq.stand.plant.builder import QUIET, changed

PERIOD_S = 1.0 / 80.0


def test_creep_answers_a_load_as_one_exponential_and_gives_it_back() -> None:
    creep = Creep(CellCreepTruth(share_frac=0.002, time_s=60.0), PERIOD_S)
    loaded = [creep.answer(5.0) for _ in range(80 * 120)][-1]
    assert loaded == pytest.approx(5.0 * (1.0 + 0.002 * (1.0 - math.exp(-2.0))))
    back = [creep.answer(0.0) for _ in range(80 * 30)][-1]
    assert back == pytest.approx(0.01 * (1.0 - math.exp(-2.0)) * math.exp(-0.5))


HYSTERESIS = CellHysteresisTruth(
    rated_n=10.0, width_frac=0.01, thresholds_frac=(0.02, 0.06, 0.18)
)


def test_a_full_loop_is_as_wide_as_stated_and_closes() -> None:
    cell = Hysteresis(HYSTERESIS)

    def sweep(start: float, end: float) -> dict[float, float]:
        return {
            round(float(f), 6): cell.answer(float(f))
            for f in np.linspace(start, end, 501)
        }

    sweep(0.0, 10.0)
    down = sweep(10.0, 0.0)
    up = sweep(0.0, 10.0)
    down_again = sweep(10.0, 0.0)
    # 1 % of 10 N at half load, and higher on the way down, as in every cell.
    assert down[5.0] - up[5.0] == pytest.approx(0.1, rel=1e-9)
    assert down[0.0] == pytest.approx(up[0.0], abs=1e-12)
    assert down == pytest.approx(down_again, abs=1e-12)
    assert max(down[f] - up[f] for f in up) <= 0.1 + 1e-12


def test_after_a_load_zero_does_not_quite_return() -> None:
    cell = Hysteresis(HYSTERESIS)
    assert cell.answer(0.0) == 0.0
    cell.answer(10.0)
    assert cell.answer(0.0) == pytest.approx(0.05)


@given(
    st.lists(st.floats(0.0, 10.0), min_size=1, max_size=8),
    st.floats(0.0, 10.0),
    st.floats(0.0, 10.0),
)
def test_a_small_excursion_is_forgotten_when_its_start_is_passed(
    past: list[float], turn: float, other: float
) -> None:
    # Return-point memory, Madelung 1905: back at a turning point, it is as if the
    # excursion from there had never been (as long as it did not leave the outer loop).
    low, high = sorted((turn, other))
    one, two = Hysteresis(HYSTERESIS), Hysteresis(HYSTERESIS)
    for cell in (one, two):
        for force in [*past, low, high]:
            cell.answer(force)
    inner = low + 0.4 * (high - low)
    two.answer(inner)
    assert two.answer(high) == pytest.approx(one.answer(high), abs=1e-12)
    assert two.answer(high + 0.3) == pytest.approx(one.answer(high + 0.3), abs=1e-12)


def test_a_larger_load_wipes_out_what_was_before() -> None:
    # Wiping-out: two histories that met the same extremes since are the same.
    one, two = Hysteresis(HYSTERESIS), Hysteresis(HYSTERESIS)
    for force in (3.0, 1.0, 2.0, 0.5, 2.9, 1.5):
        two.answer(force)
    for cell in (one, two):
        cell.answer(9.0)
        cell.answer(4.0)
    assert one.answer(6.0) == pytest.approx(two.answer(6.0), abs=1e-12)


def test_the_bent_line_meets_the_straight_one_at_zero_and_rated_load() -> None:
    # Terminal-based linearity: the line through zero and rated load.
    bow = Curve(CellCurveTruth(rated_n=10.0, bow_frac=0.003))
    wave = Curve(CellCurveTruth(rated_n=10.0, bow_frac=0.0, wave_frac=0.002))
    for curve in (bow, wave):
        assert curve.answer(0.0) == 0.0
        assert curve.answer(10.0) == pytest.approx(10.0)
    loads = np.linspace(0.0, 10.0, 4001)
    bent = np.array([bow.answer(f) for f in loads]) - loads
    waved = np.array([wave.answer(f) for f in loads]) - loads
    assert bent.max() == pytest.approx(0.003 * 10.0, rel=1e-6)
    assert loads[int(bent.argmax())] == pytest.approx(5.0)
    assert waved.max() == pytest.approx(0.002 * 10.0, rel=1e-4)
    assert waved.min() == pytest.approx(-0.002 * 10.0, rel=1e-4)
    assert wave.answer(5.0) == pytest.approx(5.0)


def test_zero_walks_with_the_root_of_time() -> None:
    # A Wiener process: the difference over t has variance s^2 t, independent of the
    # difference before (NIST SP 1065: random walk of frequency).
    truth = CellDriftTruth(walk_n_sqrt_s=1e-3)
    drift = Drift(truth, 3, PERIOD_S)
    walk = np.array([drift.answer(0.0) for _ in range(80 * 4000)])
    for lag_s in (1, 10):
        steps = np.diff(walk[:: 80 * lag_s])
        spread = 5.0 / math.sqrt(2.0 * len(steps))
        assert steps.std() == pytest.approx(1e-3 * math.sqrt(lag_s), rel=spread)
        lag1 = np.corrcoef(steps[:-1], steps[1:])[0, 1]
        assert abs(lag1) < 5.0 / math.sqrt(len(steps))


def test_a_walking_gain_is_a_share_of_the_load() -> None:
    truth = CellDriftTruth(gain_walk_rel_sqrt_s=1e-3)
    light, heavy = Drift(truth, 5, PERIOD_S), Drift(truth, 5, PERIOD_S)
    one = [light.answer(1.0) for _ in range(4000)][-1]
    ten = [heavy.answer(10.0) for _ in range(4000)][-1]
    assert one != 1.0
    assert ten == pytest.approx(10.0 * one)


def test_the_cell_follows_thrust_and_heat_late_and_keeps_it_after_the_spin() -> None:
    # rise' = (a T + b dT_w + c dT_e - rise)/tau, here after the plant's own thrust
    # alone: closed form 0.5 K/N x T (1 - exp(-t/tau)), then exp(-t/tau).
    truth = changed(
        QUIET
        | {
            "pack.capacity_c": 1e9,
            "pack.slow_resistance_ohm": 0.0,
            "cell_drift.zero_n_k": 0.01,
            "cell_drift.gain_rel_k": 0.001,
            "cell_warming.time_s": 4.0,
            "cell_warming.thrust_k_n": 0.5,
        }
    )
    plant = Plant(truth, 1)
    plant.advance(20.0, 1.6e-3)
    thrust = plant.state.thrust_n
    rise = 0.5 * thrust * (1.0 - math.exp(-5.0))
    assert plant.state.cell_rise_k == pytest.approx(rise, rel=2e-3)
    count = plant.take_conversion()
    assert count is not None
    read = thrust * (1.0 + 0.001 * rise) + 0.01 * rise
    assert count / 43800.0 == pytest.approx(read, rel=1e-4)
    plant.advance(1.0, 0.0)
    then = plant.state.cell_rise_k
    plant.advance(4.0, 0.0)
    # A zero taken right after a spin is not the zero of the spin.
    assert plant.state.thrust_n == 0.0
    assert plant.state.cell_rise_k == pytest.approx(then * math.exp(-1.0), rel=2e-3)
    count = plant.take_conversion()
    assert count is not None
    assert count / 43800.0 == pytest.approx(0.01 * plant.state.cell_rise_k, abs=3e-5)


def test_winding_and_esc_warm_the_cell_by_their_shares() -> None:
    truth = changed(
        QUIET
        | {
            "winding_heat.start_c": 61.0,
            "winding_heat.capacity_j_k": 1e9,
            "esc_heat.start_c": 31.0,
            "esc_heat.capacity_j_k": 1e9,
            "cell_warming.time_s": 0.5,
            "cell_warming.winding_share_frac": 0.10,
            "cell_warming.esc_share_frac": 0.05,
        }
    )
    plant = Plant(truth, 1)
    plant.advance(10.0, 0.0)
    assert plant.state.cell_rise_k == pytest.approx(0.10 * 40.0 + 0.05 * 10.0, rel=1e-4)

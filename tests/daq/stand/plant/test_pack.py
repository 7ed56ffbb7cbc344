import math

import pytest

from daq.stand.plant.pack import Pack
from daq.stand.plant.truth_parts import PackTruth

STEP_S = 1e-3


def pack(**changes: object) -> Pack:
    figures: dict[str, object] = {
        "cells": 3,
        "charge_frac": 0.75,
        "ocv_charge_frac": [0.0, 0.5, 1.0],
        "ocv_cell_v": [3.0, 3.8, 4.2],
        "capacity_c": 1620.0,
        "resistance_ohm": 0.06,
        "slow_resistance_ohm": 0.03,
        "slow_time_s": 5.0,
    }
    return Pack(PackTruth.model_validate(figures | changes), STEP_S)


def test_a_rested_pack_shows_its_table_times_its_cells() -> None:
    assert pack().emf_v == pytest.approx(3 * 4.0)
    assert pack(charge_frac=0.25, cells=1).open_circuit_v == pytest.approx(3.4)


def test_the_slow_pair_follows_its_closed_form_and_recovers() -> None:
    # v(t) = I R (1 - exp(-t/tau)) under a constant current from rest, then decay.
    one = pack(capacity_c=1e12)
    for _ in range(4000):
        one.advance(10.0)
    grown = 10.0 * 0.03 * (1.0 - math.exp(-4.0 / 5.0))
    assert one.slow_v == pytest.approx(grown, rel=1e-10)
    assert one.emf_v == pytest.approx(12.0 - grown, rel=1e-9)
    for _ in range(3000):
        one.advance(0.0)
    assert one.slow_v == pytest.approx(grown * math.exp(-3.0 / 5.0), rel=1e-10)


def test_charge_is_counted() -> None:
    # 450 mAh is 1620 C by definition; 9 A for 18 s takes 162 C, a tenth.
    one = pack()
    for _ in range(18_000):
        one.advance(9.0)
    assert one.charge_frac == pytest.approx(0.65, rel=1e-9)
    assert one.open_circuit_v == pytest.approx(3 * (3.8 + 0.15 * 0.8), rel=1e-9)


def test_an_over_discharged_pack_falls_on_and_stops_at_zero() -> None:
    one = pack(charge_frac=0.0, slow_resistance_ohm=0.0)
    for _ in range(162):
        one.advance(1000.0)  # to a tenth of the capacity below empty
    assert one.emf_v == pytest.approx(3 * (3.0 - 0.1 * 1.6), rel=1e-9)
    for _ in range(1620 * 3):
        one.advance(1000.0)
    assert one.emf_v == 0.0

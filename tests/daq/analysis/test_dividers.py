"""The plug by two dividers: the plant's resistance in a wide and honest interval."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import bdtrik

from daq.analysis.dividers import FRONT, difference
from daq.analysis.findings import Finding
from daq.analysis.plug import BOTH, FittedPlug, PlugDrop, Trouble
from daq.analysis.run import analyse
from daq.analysis.scale import PowerPart, Scale
from daq.analysis.series import Series
from daq.stand.plant.bench import Plant
from daq.stand.plant.sensors import SensorSpec
from tests.daq.analysis.test_plug import (
    COLD,
    channel,
    holds_truth,
    ohms,
    record,
    seen,
    walk,
)
from tests.daq.stand.plant.builder import changed

DIVIDED: dict[str, object] = {
    "pack_voltage_sensor.counts_per_v": 1000.0,
    "pack_voltage_sensor.gain_u": 0.004,
    "pack_voltage_sensor.zero_error_counts": 11.0,
    "pack_voltage_sensor.noise_counts_rms": 2.0,
    "voltage_sensor.tap_resistance_ohm": 0.0,
}


def read(changes: dict[str, object], seed: int = 2) -> dict[str, Series]:
    """As the stand reads it, without its amplifiers."""
    series = record(DIVIDED | changes, seed, walk())
    del series["plug-plus"], series["plug-minus"]
    return series


def drop_of(series: dict[str, Series]) -> PlugDrop:
    found = seen(series, walk())
    assert found is not None
    assert found.by_dividers
    return found


def findings(series: dict[str, Series], **more: object) -> dict[str, Finding]:
    told = analyse(series, walk(), **more).findings  # type: ignore[arg-type]
    return {finding.id: finding for finding in told}


def by_one_meter(series: dict[str, Series], u_rel: float) -> dict[str, Series]:
    """Both dividers by one meter: its gain is a cause that they share."""
    shared = PowerPart("gain of the meter", (1,), np.array([[u_rel]]), alone=True)
    own = PowerPart("drift", (1,), np.array([[2e-5]]))
    scale = Scale((shared, own))
    divided = {name: replace(series[name], scale=scale) for name in ("voltage", FRONT)}
    return series | divided


def test_the_plants_resistance_lies_in_the_interval() -> None:
    found = drop_of(read(ohms(0.010)))
    assert found.poles[0].name == BOTH
    assert holds_truth(found.whole_ohm, 0.020)


def test_the_interval_is_as_wide_as_the_gains_may_differ_times_the_source() -> None:
    found = drop_of(read(ohms(0.010)))
    assert found.whole_ohm is not None
    u_ohm = float(found.whole_ohm.standard_uncertainty()[0])
    # Two gains of 0.4 % each, over pack, leads and plug: 0.066 + 0.012 + 0.020 ohm.
    # (And more of it on the side of the plug itself, whose drop only the front sees.)
    least_ohm = math.sqrt(2.0) * 0.004 * 0.078
    assert least_ohm < u_ohm < 3.0 * least_ohm


@pytest.mark.slow
def test_at_least_95_intervals_in_100_hold_the_plants_resistance() -> None:
    rng = np.random.default_rng(20261127)
    stands, held = 40, 0
    for seed in range(stands):
        pole_ohm = float(np.exp(rng.uniform(np.log(1e-3), np.log(30e-3))))
        offset = {
            "pack_voltage_sensor.zero_error_counts": rng.uniform(-30.0, 30.0),
            "current_sensor.zero_error_counts": rng.uniform(-30.0, 30.0),
        }
        found = drop_of(read(ohms(pole_ohm) | offset, 300 + seed))
        if found.whole_ohm is None:  # nothing but a bound
            assert found.poles[0].trouble in (Trouble.TOO_SMALL, Trouble.SWAPPED)
            held += 2 * pole_ohm <= (found.poles[0].most_ohm or 0.0)
        else:
            held += holds_truth(found.whole_ohm, 2 * pole_ohm)
    # Fewest hits that 95 % coverage gives in 999 of 1000 such tests.
    assert held >= float(bdtrik(0.001, stands, 0.95)), held


def test_what_one_meter_shares_cancels() -> None:
    exact: dict[str, object] = {
        "pack_voltage_sensor.gain_u": 0.0,
        "voltage_sensor.gain_u": 0.0,
    }
    series = read(ohms(0.010) | exact)
    apart = drop_of(by_one_meter(series, 1e-9)).whole_ohm
    together = drop_of(by_one_meter(series, 0.004)).whole_ohm
    assert apart is not None
    assert together is not None
    assert holds_truth(together, 0.020)
    # What is left of the meter is its share of the drop itself.
    u_apart = float(apart.standard_uncertainty()[0])
    u_together = float(together.standard_uncertainty()[0])
    assert u_together == pytest.approx(math.hypot(u_apart, 0.004 * 0.020), rel=0.05)


def test_dividers_of_a_10_bit_converter_cannot_tell_a_small_plug_from_none() -> None:
    coarse: dict[str, object] = {
        "pack_voltage_sensor.counts_per_v": 68.0,  # 15 V in 1023
        "pack_voltage_sensor.noise_counts_rms": 0.1,
        "pack_voltage_sensor.gain_u": 0.01,
        "voltage_sensor.counts_per_v": 68.0,
        "voltage_sensor.noise_counts_rms": 0.1,
        "voltage_sensor.gain_u": 0.01,
    }
    series = read(ohms(0.001) | coarse)
    found = drop_of(series)
    assert found.poles[0].trouble is Trouble.TOO_SMALL
    assert (found.poles[0].most_ohm or 0.0) > 0.002
    words = findings(series)["plug-doubt"].sentence
    assert "cannot be told from none by two dividers" in words
    assert "calibrate both by one meter, or fit an amplifier to each pole" in words


def test_the_finding_says_how_little_it_knows() -> None:
    told = findings(read(ohms(0.010)), fitted_plug=FittedPlug("small plug"))
    resistance = told["plug-resistance"]
    assert "by two dividers, which say nothing below" in resistance.sentence
    assert "plus " not in resistance.sentence
    assert any("what their gains differ by" in words for words in resistance.cautions)
    assert {"plug-drop", "plug-warming"} <= set(told)


def test_dividers_that_are_exchanged_are_said() -> None:
    series = read(ohms(0.030))
    front, behind = series[FRONT], series["voltage"]
    swapped = {
        FRONT: replace(behind, name=FRONT),
        "voltage": replace(front, name="voltage"),
    }
    words = findings(series | swapped)["plug-doubt"].sentence
    assert "pack-voltage and voltage are exchanged" in words


def test_amplifiers_go_before_dividers() -> None:
    series = record(DIVIDED | ohms(0.010), 2, walk())
    found = seen(series, walk())
    assert found is not None
    assert [pole.name for pole in found.poles] == ["plus", "minus"]


def test_without_the_voltage_in_front_nothing_is_said() -> None:
    series = read(ohms(0.010))
    del series[FRONT]
    assert seen(series, walk()) is None


def test_the_difference_is_of_the_same_moments() -> None:
    spec = SensorSpec("x", "voltage", "mean", 1000.0, 0, -32767, 32767, 2, 0.01, 0.0)
    front = replace(
        channel(spec, [(0.1 * k, 2000 + 100 * k) for k in range(1, 6)]), name=FRONT
    )
    behind = replace(
        channel(spec, [(0.02 * k, 1000 + 20 * k) for k in range(26)]), name="voltage"
    )
    found = difference({FRONT: front, "voltage": behind})
    # Behind is the mean of the five readings up to each, which is two steps earlier.
    assert found.value_si[1:] == pytest.approx(np.full(4, 1.0 + 0.040))


def test_the_plant_reads_in_front_of_the_plug_what_its_bus_lacks() -> None:
    plain = {**DIVIDED, **COLD, **ohms(0.010), "pack_voltage_sensor.gain_u": 0.0}
    plain |= {
        "pack_voltage_sensor.zero_error_counts": 0.0,
        "pack_voltage_sensor.noise_counts_rms": 0.0,
    }
    plant = Plant(changed(plain, "rough"), 1)
    place = [spec.name for spec in plant.slow_specs].index(FRONT)
    plant.advance(1.0, 1.6e-3)
    plant.slow_frame()
    plant.advance(0.1, 1.6e-3)
    state = plant.state
    read_v = plant.slow_frame()[place] / 1000.0
    assert read_v > state.bus_v + 0.03
    assert read_v < state.open_circuit_v

"""The plug's drop: the plant's own resistance recovered, and what must be refused.

The simulated plant shares no equations with the analysis but Ohm's law.
"""

from functools import cache

import numpy as np
import pytest
from scipy.special import bdtrik

from daq.analysis.aircraft import Aircraft
from daq.analysis.findings import Finding
from daq.analysis.measured import Measured
from daq.analysis.plateaus import average
from daq.analysis.plug import FittedPlug, PlugDrop, Trouble, read_plug
from daq.analysis.run import Analysis, analyse
from daq.analysis.series import Hold, Series
from daq.analysis.unseen import USUAL
from daq.stand.plant.bench import Plant
from daq.stand.plant.sensors import SensorSpec
from tests.daq.stand.plant.builder import changed

LEVELS = (0.25, 0.45, 0.65, 0.85)
REST_S, DWELL_S, FRAME_S, SLOW_S = 2.5, 2.0, 0.004, 0.1
READ = ("thrust", "current", "voltage", "plug-plus", "plug-minus", "pack-voltage")
COLD: dict[str, object] = {"plug.capacity_j_k": 1e6}
"""Contacts that stay as cold as they begin, so that the truth is one number."""


def walk(levels: tuple[float, ...] = LEVELS) -> list[Hold]:
    """Rest, levels up, rest, levels down, rest."""
    found = [Hold("rest", "rest", -1, 0.0, 0.0, REST_S)]
    for leg, order in (("up", levels), ("down", levels[::-1])):
        for frac in order:
            start_s = found[-1].end_s
            step = levels.index(frac)
            found.append(
                Hold("dwell", leg, step, frac, start_s, start_s + DWELL_S)  # type: ignore[arg-type]
            )
        start_s = found[-1].end_s + 0.5
        found.append(Hold("rest", "rest", -1, 0.0, start_s, start_s + REST_S))
    return found


def record(
    changes: dict[str, object],
    seed: int,
    holds: list[Hold],
    truth: list[tuple[float, float]] | None = None,
) -> dict[str, Series]:
    """What the rough stand reads, by the constants that it declares.

    Time and true resistance of the plug go into ``truth``.
    """
    plant = Plant(changed(COLD | changes, "rough"), seed, step_s=FRAME_S / 2)
    read: dict[str, list[tuple[float, int]]] = {}
    specs = {spec.name: spec for spec in (*plant.sensor_specs, *plant.slow_specs)}
    slow = [spec.name for spec in plant.slow_specs]
    steps = round(holds[-1].end_s / FRAME_S)
    throttle = 0.0
    for step in range(steps):
        now_s = step * FRAME_S
        throttle = next(
            (h.throttle_frac for h in holds if h.start_s <= now_s < h.end_s), 0.0
        )
        plant.advance(FRAME_S, 1e-3 * (1.0 + throttle))
        if truth is not None and plant._plug is not None:
            truth.append((plant.time_s, plant._plug.resistance_ohm))
        frame = plant.fast_frame()
        counts = {"current": frame[0], "voltage": frame[2]}
        if (count := plant.take_conversion()) is not None:
            counts["thrust"] = count
        if (step + 1) % round(SLOW_S / FRAME_S) == 0:
            counts.update(zip(slow, plant.slow_frame(), strict=True))
        for name, count in counts.items():
            read.setdefault(name, []).append((plant.time_s, count))
    return {
        name: channel(specs[name], pairs)
        for name, pairs in read.items()
        if name in READ
    }


def channel(spec: SensorSpec, pairs: list[tuple[float, int]]) -> Series:
    """A channel by its declared constants; none at the end of an amplifier's range."""
    at_s, counts = np.array(pairs).T
    value = counts / spec.counts_per_unit
    if spec.name.startswith("plug"):
        value[(counts <= spec.low_counts) | (counts >= spec.high_counts)] = np.nan
    step = 1.0 / spec.counts_per_unit
    return Series(spec.name, "any", at_s, value, spec.gain_tolerance_rel, step)


def seen(series: dict[str, Series], holds: list[Hold]) -> PlugDrop | None:
    return read_plug(series, holds, average(series, holds, unseen=USUAL))


def plug_of(changes: dict[str, object], seed: int = 2) -> PlugDrop:
    holds = walk()
    found = seen(record(changes, seed, holds), holds)
    assert found is not None
    return found


def holds_truth(measured: Measured | None, truth: float) -> bool:
    assert measured is not None
    low, high = measured.interval()
    return float(low[0]) <= truth <= float(high[0])


def ohms(pole_ohm: float) -> dict[str, object]:
    """Both contacts alike, and no lead between the wires."""
    return {
        "leads.plug_resistance_ohm": 2 * pole_ohm,
        "plug.plus_share_frac": 0.5,
        "plug_sense.plus_lead_ohm": 0.0,
        "plug_sense.minus_lead_ohm": 0.0,
        "plug_sense.counts_per_v": 40_000.0,  # so that 30 milliohm stay in range
    }


@pytest.mark.parametrize("pole_ohm", [0.001, 0.003, 0.010, 0.030])
def test_contacts_of_1_to_30_milliohm_are_recovered(pole_ohm: float) -> None:
    found = plug_of(ohms(pole_ohm))
    for pole in found.poles:
        assert holds_truth(pole.ohm, pole_ohm)
    assert holds_truth(found.whole_ohm, 2 * pole_ohm)
    assert found.whole_ohm is not None
    # Good for 3 % of it, or a twentieth of a milliohm.
    half = float(found.whole_ohm.half_width()[0])
    assert half < max(0.06 * pole_ohm, 1e-4)


@pytest.mark.slow
def test_at_least_95_intervals_in_100_hold_the_plants_resistance() -> None:
    """Gains, zeros and noise drawn anew, contacts from 1 to 30 milliohm."""
    rng = np.random.default_rng(20261126)
    held = dict.fromkeys(("plus", "minus", "both"), 0)
    stands = 60
    for seed in range(stands):
        pole_ohm = float(np.exp(rng.uniform(np.log(1e-3), np.log(30e-3))))
        changes = ohms(pole_ohm) | {
            "plug_sense.zero_error_counts": rng.uniform(-8.0, 8.0),
            "plug_sense.common_mode_rel": rng.uniform(-1e-4, 1e-4),
            "current_sensor.zero_error_counts": rng.uniform(-30.0, 30.0),
        }
        found = plug_of(changes, 100 + seed)
        for pole in found.poles:
            held[pole.name] += holds_truth(pole.ohm, pole_ohm)
        held["both"] += holds_truth(found.whole_ohm, 2 * pole_ohm)
    # Fewest hits that 95 % coverage gives in 999 of 1000 such tests.
    assert min(held.values()) >= float(bdtrik(0.001, stands, 0.95)), held


def test_what_lies_between_the_wires_counts_and_can_be_taken_off() -> None:
    lead_ohm = 0.002
    sensed: dict[str, object] = {
        **ohms(0.003),
        "plug_sense.plus_lead_ohm": lead_ohm,
        "plug_sense.minus_lead_ohm": lead_ohm,
    }
    found = plug_of(sensed)
    assert holds_truth(found.whole_ohm, 0.010)
    told = findings(sensed, FittedPlug("small plug", lead_ohm=lead_ohm))
    left = told["plug-contacts"]
    assert left.value is not None
    assert left.low is not None
    assert left.high is not None
    assert left.low < 6.0 < left.high
    assert "4 milliohm (copper of its gauge and length)" in left.sentence


def test_a_zero_that_the_amplifiers_have_at_rest_is_taken_off() -> None:
    offset = {"plug_sense.zero_error_counts": 500.0}
    found = plug_of(ohms(0.003) | offset)
    assert holds_truth(found.poles[0].ohm, 0.003)
    assert found.poles[0].rest_v == pytest.approx(500.0 / 40_000.0, rel=0.05)
    assert holds_truth(found.poles[0].offset_v, 0.0)


@pytest.mark.parametrize(
    ("changes", "trouble", "words"),
    [
        ({"plug_sense.swapped": ["plus"]}, Trouble.SWAPPED, "exchange its two sense"),
        ({"plug_sense.broken": ["plus"]}, Trouble.WIRE_OFF, "sense wires is off"),
        (
            {"leads.plug_resistance_ohm": 2e-6, "plug_sense.noise_counts_rms": 400.0},
            Trouble.TOO_SMALL,
            "cannot be told from none",
        ),
    ],
)
def test_what_is_wired_wrong_or_too_small_has_no_resistance(
    changes: dict[str, object], trouble: Trouble, words: str
) -> None:
    found = plug_of(ohms(0.003) | changes)
    assert found.poles[0].trouble is trouble
    assert found.poles[0].ohm is None
    assert found.whole_ohm is None
    told = findings(ohms(0.003) | changes)
    assert words in told["plug-doubt"].sentence
    assert "plug-drop" not in told


def test_levels_beyond_the_amplifiers_range_are_left_out_and_said() -> None:
    clipping = {**ohms(0.030), "plug_sense.counts_per_v": 200_000.0}  # to 164 mV
    found = plug_of(clipping)
    assert found.highest_a * 0.030 > 0.164
    for pole in found.poles:
        assert pole.clipped
        assert holds_truth(pole.ohm, 0.030)
    assert (
        "the highest currents, which are left out"
        in findings(clipping)["plug-doubt"].sentence
    )
    assert "plug-drop" not in findings(clipping)


def test_beyond_the_range_at_nearly_every_level_nothing_is_told() -> None:
    clipping = {**ohms(0.030), "plug_sense.counts_per_v": 1_500_000.0}  # to 22 mV
    found = plug_of(clipping)
    assert {pole.trouble for pole in found.poles} == {Trouble.CLIPPED}
    assert "give the amplifier less gain" in findings(clipping)["plug-doubt"].sentence


def test_one_level_is_too_few() -> None:
    holds = walk((0.6,))
    found = seen(record(ohms(0.003), 2, holds), holds)
    assert found is not None
    assert {pole.trouble for pole in found.poles} == {Trouble.FEW_LEVELS}
    told = {f.id: f for f in analyse(record(ohms(0.003), 2, holds), holds).findings}
    assert "was read at one current only" in told["plug-doubt"].sentence
    assert "plug-steps" in told["plug-doubt"].sentence


def test_levels_too_close_together_are_too_few() -> None:
    holds = walk((0.80, 0.82, 0.84))
    found = seen(record(ohms(0.003), 2, holds), holds)
    assert found is not None
    assert found.poles[0].trouble is Trouble.FEW_LEVELS


def test_with_one_pole_measured_only_that_is_told() -> None:
    holds = walk()
    series = record(ohms(0.003), 2, holds)
    del series["plug-plus"]
    told = {f.id: f for f in analyse(series, holds).findings}
    assert told["plug-resistance"].sentence.startswith("The minus pole of the plug has")
    assert "plug-drop" not in told


def test_without_the_channels_nothing_is_said() -> None:
    holds = walk()
    series = record(ohms(0.003), 2, holds)
    del series["plug-plus"], series["plug-minus"]
    assert seen(series, holds) is None
    told = [f.id for f in analyse(series, holds).findings]
    assert not [name for name in told if name.startswith("plug")]


# ------------------------------------------------------------------ findings


@cache
def on_an_aircraft() -> Analysis:
    holds = walk()
    return analyse(
        record(ohms(0.004), 2, holds),
        holds,
        unseen=USUAL,
        aircraft=Aircraft(
            motors=4, all_up_n=1.77, electronics_a=0.6, capacity_c=1620.0, cells=3
        ),
        fitted_plug=FittedPlug("small plug", rated_a=6.0, contact_ohm=0.002),
    )


def findings(
    changes: dict[str, object], fitted: FittedPlug | None = None
) -> dict[str, Finding]:
    holds = walk()
    read = analyse(record(changes, 2, holds), holds, fitted_plug=fitted)
    return {finding.id: finding for finding in read.findings}


def test_the_drop_on_the_aircraft_is_ohms_law_at_its_currents() -> None:
    analysis = on_an_aircraft()
    told = {finding.id: finding for finding in analysis.findings}
    flight, plug = analysis.evidence.flight, analysis.evidence.plug
    assert flight is not None
    assert flight.full is not None
    assert plug is not None
    assert plug.whole_ohm is not None
    amp, ohm = float(flight.full.total_a.value[0]), float(plug.whole_ohm.value[0])
    assert told["plug-in-flight"].value == pytest.approx(1e3 * amp * ohm)
    assert "extrapolated: no more than" in told["plug-in-flight"].cautions[0]


def test_the_drop_here_is_told_with_its_heat_and_rating() -> None:
    told = {finding.id: finding for finding in on_an_aircraft().findings}
    dropped = told["plug-drop"]
    plug = on_an_aircraft().evidence.plug
    assert plug is not None
    assert dropped.value == pytest.approx(8.0 * plug.highest_a, rel=0.02)  # 8 milliohm
    assert "it is rated 6 A, and carried 1." in dropped.sentence
    resistance = told["plug-resistance"].sentence
    assert "more than the 2 milliohm a contact of its data sheet" in resistance


def test_thrust_without_the_plug_is_that_of_the_plant_without_it() -> None:
    """The plant flown with and without the contacts, its truth only."""
    from daq.stand.plant.drawn import one_of
    from tests.flown import punched

    told = {finding.id: finding for finding in on_an_aircraft().findings}
    cost = told["plug-thrust"]
    thrusts = []
    for pole_ohm in (0.004, 1e-9):
        calm: dict[str, object] = {"gusts.share_frac": 0.0}
        truth = one_of(changed(COLD | ohms(pole_ohm) | calm, "rough"), 4, 0.6)
        thrusts.append(4 * punched(truth).thrust_n)
    lost_gf = (thrusts[1] - thrusts[0]) / 9.80665e-3
    assert cost.low is not None
    assert cost.high is not None
    assert lost_gf > 0
    assert cost.low - 0.1 * lost_gf < lost_gf < cost.high + 0.1 * lost_gf


def test_a_contact_that_gets_hot_is_told_by_its_legs() -> None:
    heat: dict[str, object] = {
        "plug.capacity_j_k": 0.3,
        "plug.resistance_k_w": 60.0,
    }
    told = findings(ohms(0.010) | heat)["plug-warming"]
    assert "% interval" in told.sentence
    assert "warmer" in told.sentence
    assert told.low is not None
    assert told.low > 1.0


def test_a_contact_that_stays_cold_is_told_to_change_by_little() -> None:
    told = findings(ohms(0.010))["plug-warming"]
    assert "cannot be told apart between the legs" in told.sentence
    assert told.high is not None
    assert told.low is not None
    assert told.low < 0.0 < told.high < 2.0


def test_what_a_long_hold_does_is_that_of_the_plants_contacts() -> None:
    holds = walk()
    start_s = holds[-1].end_s + 1.0
    end_s = start_s + 30.0
    holds.append(Hold("soak", "rest", -1, 0.7, start_s, end_s))
    holds.append(Hold("rest", "rest", -1, 0.0, end_s + 1.0, end_s + 1.0 + REST_S))
    warm: dict[str, object] = {"plug.capacity_j_k": 0.8, "plug.resistance_k_w": 35.0}
    known: list[tuple[float, float]] = []
    found = seen(record(ohms(0.010) | warm, 2, holds, known), holds)
    assert found is not None
    assert found.soaked is not None
    assert found.soaked.lasted_s == pytest.approx(30.0 - 3.6)
    at_s, ohm = np.array(known).T
    early = ohm[(at_s > start_s + 0.6) & (at_s < start_s + 3.6)].mean()
    late = ohm[(at_s > end_s - 3.0) & (at_s < end_s)].mean()
    assert late / early > 1.02
    assert holds_truth(found.soaked.share, float(late / early) - 1.0)


def test_far_too_much_resistance_is_doubted() -> None:
    told = findings({**ohms(0.050), "plug_sense.counts_per_v": 20_000.0})
    assert "more than the 1 to 30 milliohm" in told["plug-doubt"].sentence

"""The arming plug: what it drops, how it warms, and what is read across its poles."""

import math

import pytest

from daq.errors import InputFault
from daq.stand.plant.bench import STEP_S, WARM_STEPS, Plant
from daq.stand.plant.drawn import drawn, one_of
from daq.stand.plant.plug import Contacts
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_plug import PlugTruth
from tests.daq.stand.plant.builder import QUIET, changed

LASTING_PULSE_S = 1.6e-3
COUNTS_PER_V = 400_000.0
SENSED: dict[str, object] = {
    **QUIET,
    "leads.plug_resistance_ohm": 0.010,
    "plug.plus_share_frac": 0.6,
    "plug.resistance_k_w": 35.0,
    "plug.capacity_j_k": 1e6,
    "plug_sense.counts_per_v": COUNTS_PER_V,
    "plug_sense.gain_u": 0.0,
    "plug_sense.zero_error_counts": 0.0,
    "plug_sense.noise_counts_rms": 0.0,
}
"""A plug of 6 and 4 milliohm that stays cold, and amplifiers without error."""


def test_a_bank_across_the_bus_draws_by_ohms_law_through_plug_and_pack() -> None:
    plant = Plant(changed({"plug.capacity_j_k": 1e6}, "rough"), 1)
    plant.advance(0.5, 1e-3)
    at_rest = plant.state
    plant.bank_ohm = 0.5
    plant.advance(0.001, 1e-3)
    loaded = plant.state
    assert loaded.bus_a - at_rest.bus_a == pytest.approx(loaded.bus_v / 0.5, rel=1e-3)
    # Pack, leads and plug: 66, 12 and 6 milliohm.
    fell_v = at_rest.bus_v - loaded.bus_v
    assert fell_v == pytest.approx(0.084 * (loaded.bus_a - at_rest.bus_a), rel=2e-3)
    plant.bank_ohm = math.inf
    plant.advance(0.001, 1e-3)
    assert plant.state.bus_a == pytest.approx(at_rest.bus_a)


def read(changes: dict[str, object]) -> tuple[tuple[int, ...], float, float]:
    """Counts of both poles over a tenth of a second, mean current and bus voltage."""
    plant = Plant(changed(SENSED | changes), 1)
    plant.advance(2.0, LASTING_PULSE_S)
    plant.slow_frame()
    before = plant.integrals
    plant.advance(0.1, LASTING_PULSE_S)
    after = plant.integrals
    amp = (after.bus_charge_c - before.bus_charge_c) / 0.1
    volt = (after.bus_v_s - before.bus_v_s) / 0.1
    return plant.slow_frame()[-2:], amp, volt


def test_each_pole_reads_its_own_drop_by_ohms_law() -> None:
    (plus, minus), amp, _ = read({})
    assert amp > 2.0
    assert plus == round(0.006 * amp * COUNTS_PER_V)
    assert minus == round(0.004 * amp * COUNTS_PER_V)


def test_with_the_motor_off_only_the_zeros_are_read() -> None:
    truth = changed(
        SENSED
        | {
            "esc.idle_current_a": 0.0,
            "plug_sense.zero_error_counts": 12.0,
            "plug_sense.minus_zero_error_counts": -7.0,
        }
    )
    plant = Plant(truth, 1)
    plant.advance(0.1, 1e-3)
    assert plant.slow_frame()[-2:] == (12, -7)
    assert plant.slow_frame()[-2:] == (12, -7)  # asked again at the same moment


def test_what_lies_between_the_wires_is_read_with_the_contact() -> None:
    (plus, minus), amp, _ = read(
        {"plug_sense.plus_lead_ohm": 0.001, "plug_sense.minus_lead_ohm": 0.002}
    )
    assert plus == round(0.007 * amp * COUNTS_PER_V)
    assert minus == round(0.006 * amp * COUNTS_PER_V)


def test_a_swapped_pole_reads_below_zero_and_a_broken_one_its_end() -> None:
    (plus, minus), amp, _ = read(
        {"plug_sense.swapped": ["plus"], "plug_sense.broken": ["minus"]}
    )
    assert plus == -round(0.006 * amp * COUNTS_PER_V)
    assert minus == 32767


def test_of_the_voltage_that_both_wires_have_the_plus_pole_reads_a_share() -> None:
    (plus, minus), amp, volt = read({"plug_sense.common_mode_rel": 1e-4})
    assert plus == round((0.006 * amp + 1e-4 * volt) * COUNTS_PER_V)
    assert minus == round(0.004 * amp * COUNTS_PER_V)


def test_contacts_warm_along_the_exact_answer_of_one_lump() -> None:
    """T = P R (1 - exp(-t/RC)) for a steady power; any textbook, from memory."""
    truth = PlugTruth(resistance_k_w=40.0, capacity_j_k=0.5, rise_rel_k=0.0)
    span_s = WARM_STEPS * STEP_S
    contacts = Contacts(truth, 0.006, 294.0, span_s)
    for _ in range(500):
        contacts.take(11.0, 0.0)
    power_w, time_s = 11.0**2 * 0.006, 500 * span_s
    rise_k = power_w * 40.0 * (1.0 - math.exp(-time_s / (40.0 * 0.5)))
    assert contacts.lump.temperature_k - 294.0 == pytest.approx(rise_k, rel=1e-9)


def test_a_warm_contact_has_more_resistance_as_metal_has() -> None:
    """Copper at 75 degC has 1.21615 times its resistance at 20 degC (IEC 60028)."""
    truth = PlugTruth(resistance_k_w=1e9, capacity_j_k=1.0)
    contacts = Contacts(truth, 0.010, 293.15, 1.0)
    contacts.lump.temperature_k = 348.15
    contacts.take(0.0, 0.0)
    assert contacts.resistance_ohm == pytest.approx(0.0121615, rel=1e-6)


def test_the_bus_sags_by_what_the_contacts_have_gained() -> None:
    cold = Plant(changed(SENSED), 1)
    warm = Plant(changed(SENSED | {"plug.capacity_j_k": 0.01}), 1)
    for plant in (cold, warm):
        plant.advance(3.0, LASTING_PULSE_S)
    assert warm.bus_v < cold.bus_v


def test_with_its_plug_apart_a_stand_that_stays_cold_is_the_same_stand() -> None:
    apart = Plant(changed({**SENSED, "plug.rise_rel_k": 0.0}), 3)
    whole = Plant(changed({**QUIET, "leads.plug_resistance_ohm": 0.010}), 3)
    for plant in (apart, whole):
        plant.advance(1.0, LASTING_PULSE_S)
    assert apart.fast_frame() == whole.fast_frame()
    assert apart.bus_v == pytest.approx(whole.bus_v, rel=1e-12)


def poles_ohm(truth: Truth) -> tuple[float, float]:
    assert truth.plug is not None
    cold_ohm, share = truth.leads.plug_resistance_ohm, truth.plug.plus_share_frac
    return share * cold_ohm, (1 - share) * cold_ohm


def test_put_together_again_each_pole_has_another_resistance() -> None:
    base = changed({"scatter.mating_rel": 0.15}, "rough")
    logs = []
    for number in range(200):
        mated = drawn(base, None, None, 5, number)
        assert mated.motor == base.motor
        pairs = zip(poles_ohm(mated), poles_ohm(base), strict=True)
        logs.append([math.log(now / was) for now, was in pairs])
    plus, minus = zip(*logs, strict=True)
    for drawn_logs in (plus, minus):
        spread = math.sqrt(sum(log**2 for log in drawn_logs) / 200)
        assert spread == pytest.approx(0.15, rel=0.15)  # 3 sigma of a spread of 200
    assert drawn(base, None, None, 5, 7) == drawn(base, None, None, 5, 7)


def test_without_a_plug_there_is_nothing_to_put_together() -> None:
    with pytest.raises(InputFault, match=r"no \[plug\]"):
        drawn(changed({"scatter.mating_rel": 0.1}), None, None, 1, 1)


def test_of_four_motors_that_share_it_one_sees_the_same_temperature() -> None:
    truth = changed(SENSED)
    shared = one_of(truth, 4, 0.0)
    assert truth.plug is not None
    assert shared.plug is not None
    kw = truth.plug.resistance_k_w * truth.leads.plug_resistance_ohm * (4 * 2.0) ** 2
    one_kw = shared.plug.resistance_k_w * shared.leads.plug_resistance_ohm * 2.0**2
    assert one_kw == pytest.approx(kw)

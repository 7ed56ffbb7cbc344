"""The bus within a step: against an adaptive solver, handbooks and the slow plant."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from daq.errors import InputFault
from daq.stand.plant.bench import STEP_S, Plant
from daq.stand.plant.drawn import one_of, without_capacitor
from daq.stand.plant.fast import Array, Bridge, FastBus, Held, Moments
from daq.stand.plant.truth import shipped_truth
from daq.stand.plant.truth_fast import BusCapacitorTruth, FastTruth
from tests.daq.stand.plant.builder import changed

CHOPPING_HZ = 50e3
CALM: dict[str, object] = {
    "wiring_h": 0.3e-6,
    "esc_esr_ohm": 0.004,
    "motor_h": 1e-2,  # next to no ripple of the motor's own
    "pole_pairs": 6,
    "voltage_filter_s": 4e-6,
    "current_filter_s": 8e-6,
    "voltage_step_v": 0.02,
    "current_step_a": 0.1,
}
SOURCE_OHM, ESC_F = 0.08, 20e-6
ADDED = BusCapacitorTruth(capacitance_f=200e-6, esr_ohm=0.03)


def truth(**changes: object) -> FastTruth:
    return FastTruth.model_validate(CALM | changes)


def held(
    number: int,
    duty: float | tuple[float, float] = 0.5,
    motor_a: float | tuple[float, float] = 10.0,
    **changes: float,
) -> Held:
    """A step of a bridge that drives; a pair is what it begins and ends with."""
    duties = duty if isinstance(duty, tuple) else (duty, duty)
    amps = motor_a if isinstance(motor_a, tuple) else (motor_a, motor_a)
    ohm = changes.get("source_ohm", SOURCE_OHM)
    rest_a = changes.get("rest_a", 0.1)
    mean_a = sum(duties) / 2 * sum(amps) / 2 + rest_a
    return Held(
        number=number,
        fed=True,
        emf_v=12.0,
        source_ohm=ohm,
        duty_frac=duties,
        motor_a=amps,
        rest_a=rest_a,
        speed_rad_s=changes.get("speed_rad_s", 0.0),
        bus_v=12.0 - ohm * mean_a,
    )


def bus(
    facts: FastTruth,
    capacitor: BusCapacitorTruth | None = None,
    *,
    esc_f: float = ESC_F,
    hertz: float = CHOPPING_HZ,
) -> FastBus:
    return FastBus(facts, capacitor, esc_f, hertz, 0.0, STEP_S)


def steady(
    one: FastBus, steps: int = 5, duty: float = 0.5, **changes: float
) -> Moments:
    """The last of some steps that are alike."""
    for number in range(steps - 1):
        one.moments(held(number, duty, **changes))
    return one.moments(held(steps - 1, duty, **changes))


@pytest.mark.parametrize("capacitor", [None, ADDED], ids=["bare", "capacitor"])
def test_a_step_agrees_with_an_adaptive_solver(
    capacitor: BusCapacitorTruth | None,
) -> None:
    facts = truth(motor_h=15e-6, commutation_dip_frac=0.4)
    one, wave = bus(facts, capacitor, hertz=23_700.0), []
    told = [held(n, (0.4, 0.5), (8.0, 9.0), speed_rad_s=2500.0) for n in range(2)]
    wave = [one.moments(step) for step in told]
    bridge = Bridge(facts, 23_700.0, STEP_S)
    bridge.pieces(told[0])  # the step before anybody looked
    pieces = [bridge.pieces(step) for step in told]
    banks = [(ESC_F, 0.004)]
    if capacitor is not None:
        banks.append((capacitor.capacitance_f, capacitor.esr_ohm))

    def node_v(lead_a: float, volts: Array, drawn_a: float) -> float:
        # Kirchhoff's current law where leads, capacitors and bridge meet.
        siemens = sum(1.0 / ohm for _, ohm in banks)
        fed = sum(v / ohm for v, (_, ohm) in zip(volts, banks, strict=True))
        return float((lead_a - drawn_a + fed) / siemens)

    def slope(t: float, y: Array, first: float, grown: float) -> list[float]:
        v = node_v(y[0], y[1:], first + grown * t)
        rates = [(v - u) / (r * c) for u, (c, r) in zip(y[1:], banks, strict=True)]
        return [(12.0 - SOURCE_OHM * y[0] - v) / 0.3e-6, *rates]

    # From the end of the first step on, with what the first one left.
    settled = bus(facts, capacitor, hertz=23_700.0)
    settled.moments(told[0])
    y = settled._state[: 1 + len(banks)].copy()
    got: list[float] = []
    ends = [*pieces[1].at_s[1:], STEP_S]
    for start, end, amp, grown in zip(
        pieces[1].at_s, ends, pieces[1].amp, pieces[1].slope_a_s, strict=True
    ):
        grid = np.arange(1, 1001) * 1e-6
        at = grid[(grid > start) & (grid <= end)]
        answer = solve_ivp(
            slope,
            (0.0, end - start),
            y,
            args=(amp, grown),
            t_eval=np.unique(np.minimum([*(at - start), end - start], end - start)),
            method="LSODA",
            rtol=1e-9,
            atol=1e-10,
        )
        got += list(answer.y[0, : at.size])
        y = answer.y[:, -1]
    assert len(got) == 1000
    assert np.abs(wave[1].lead_a - np.array(got)).max() < 2e-5


def test_the_filter_in_front_of_the_converter_is_of_the_first_order() -> None:
    from scipy.signal import lfilter

    wave = steady(bus(truth(voltage_filter_s=20e-6)))
    # A ramp between grid points, exactly (bilinear would do; this is the ramp's own).
    decay = math.exp(-1e-6 / 20e-6)
    late = 1.0 - 20.0 * (1.0 - decay)
    weights = [late, 1.0 - decay - late]
    start = [wave.filtered("voltage")[0] - late * wave.bus_v[0]]
    by_hand, _ = lfilter(weights, [1.0, -decay], wave.bus_v, zi=start)
    # Edges of the bridge fall between two points, where the bus jumps by ESR I.
    assert np.abs(by_hand - wave.filtered("voltage"))[200:].max() < 5e-3


@pytest.mark.parametrize("duty", [0.25, 0.5, 0.8])
def test_ripple_follows_the_charge_balance_of_the_capacitor(duty: float) -> None:
    # dV = I d (1 - d)/(f C), leads that carry no ripple (Erickson and Maksimovic,
    # Fundamentals of Power Electronics, ch. 2, capacitor charge balance; from memory).
    one = bus(truth(wiring_h=100e-6, esc_esr_ohm=1e-4), esc_f=470e-6)
    steady(one, steps=40, duty=duty)
    swing = np.ptp(one.moments(held(40, duty)).bus_v)
    expected = 10.0 * duty * (1.0 - duty) / (CHOPPING_HZ * 470e-6)
    assert swing == pytest.approx(expected, rel=0.05)


def test_with_much_capacitance_its_series_resistance_is_left() -> None:
    # The bridge's edges of I pass through the capacitor: ESR I (the same source).
    one = bus(truth(wiring_h=10e-6, esc_esr_ohm=0.05), esc_f=10e-3)
    swing = np.ptp(steady(one, steps=30).bus_v)
    assert swing == pytest.approx(0.05 * 10.0, rel=0.05)


def test_a_chop_rings_at_the_resonance_of_leads_and_capacitor() -> None:
    # f = 1/(2 pi sqrt(L C)) (any text), little damped.
    one = bus(truth(esc_esr_ohm=1e-3), esc_f=ESC_F)
    ohm = {"source_ohm": 0.01}
    for number in range(5):
        one.moments(held(number, **ohm))
    after = one.moments(held(5, 0.0, 0.0, **ohm)).bus_v
    away = after - after[-200:].mean()
    ups = np.flatnonzero((away[:-1] < 0.0) & (away[1:] >= 0.0))
    crossed = ups - away[ups] / (away[ups + 1] - away[ups])
    period_s = float(np.diff(crossed[:6]).mean()) * 1e-6
    expected_s = 2.0 * math.pi * math.sqrt(0.3e-6 * ESC_F)
    assert period_s == pytest.approx(expected_s, rel=0.01)
    # What the leads carried goes into the capacitor: I sqrt(L/C), less the damping.
    carried_a = 0.5 * 10.0
    high_v = float(after.max()) - (12.0 - 0.01 * 0.1)
    assert 0.3 * carried_a < high_v / math.sqrt(0.3e-6 / ESC_F) < 2.5 * carried_a


def test_the_motors_own_ripple_is_v_d_1_minus_d_over_l_f() -> None:
    # Erickson and Maksimovic, ch. 2 (inductor volt-second balance; from memory).
    step = held(0)
    pieces = Bridge(truth(motor_h=30e-6), CHOPPING_HZ, STEP_S).pieces(step)
    on = pieces.slope_a_s > 0.0
    rise = float((pieces.slope_a_s[on] * 0.5 / CHOPPING_HZ)[3])
    expected = step.bus_v * 0.5 * 0.5 / (30e-6 * CHOPPING_HZ)
    assert rise == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("duty", [0.1, 0.5, 0.97, 1.0])
def test_means_are_those_of_the_slow_plant(duty: float) -> None:
    facts = truth(motor_h=15e-6, commutation_dip_frac=0.5)
    one = bus(facts, hertz=47_300.0)
    waves = [one.moments(held(n, duty, speed_rad_s=3000.0)) for n in range(60)]
    step = held(0, duty)
    mean_v = float(np.mean([wave.bus_v for wave in waves[5:]]))
    mean_a = float(np.mean([wave.lead_a for wave in waves[5:]]))
    assert 12.0 - mean_v == pytest.approx(12.0 - step.bus_v, rel=0.01)
    assert mean_a == pytest.approx(step.bus_a, rel=0.01)
    each = np.array([wave.lead_a.mean() for wave in waves[5:]])
    assert np.abs(each - step.bus_a).max() < 0.04 * step.bus_a


def test_commutation_comes_six_times_an_electrical_turn() -> None:
    facts = truth(commutation_dip_frac=0.5, motor_h=15e-6)
    one = bus(facts, hertz=400e3)
    speed = 2.0 * math.pi * 250.0  # 250 turns a second, six pole pairs: 9 kHz
    waves = [one.moments(held(n, 0.6, speed_rad_s=speed)).bus_v for n in range(20)]
    volt = np.concatenate(waves)
    spectrum = np.abs(np.fft.rfft((volt - volt.mean()) * np.hanning(volt.size)))
    hertz = np.fft.rfftfreq(volt.size, 1e-6)
    slow = hertz < 12e3
    assert hertz[slow][np.argmax(spectrum[slow])] == pytest.approx(9000.0, abs=60.0)


def test_the_capacitor_takes_most_of_the_ripple_off_the_shipped_stand() -> None:
    swings = []
    rough = shipped_truth("rough")
    for one in (rough, without_capacitor(rough)):
        plant = Plant(one, 1)
        plant.advance(0.5, 1.6e-3)
        wave = plant.moments
        assert wave is not None
        swings.append(float(np.ptp(wave.bus_v)))
    assert swings[0] < 0.4 * swings[1]


def test_within_a_run_each_step_agrees_with_what_the_slow_plant_says() -> None:
    plant = Plant(shipped_truth("rough"), 1)
    plant.advance(0.3, 1e-3)
    apart, drops = [], []
    for n in range(120):
        plant.advance(STEP_S, 1.7e-3 if n < 80 else 1e-3)
        wave = plant.moments
        assert wave is not None
        drops.append(plant.state.open_circuit_v - plant.bus_v)
        apart.append(float(wave.bus_v.mean()) - plant.bus_v)
    # A step holds no whole number of cycles and commutations.
    assert np.abs(apart).max() < 0.03 * max(drops)
    assert abs(float(np.mean(apart))) < 0.003 * max(drops)


def test_the_bus_overshoots_when_the_plug_goes_in() -> None:
    # A series circuit that is little damped goes to almost twice the step (any text).
    plant = Plant(without_capacitor(shipped_truth("rough")), 1, plug_in=False)
    plant.advance(0.05, 0.0)
    wave = plant.moments
    assert wave is not None
    assert wave.bus_v.max() < 0.1
    plant.plug_in = True
    plant.advance(STEP_S, 0.0)
    wave = plant.moments
    assert wave is not None
    assert 1.1 * plant.bus_v < wave.bus_v.max() < 2.0 * plant.bus_v


def test_looking_changes_no_other_reading() -> None:
    looked, left = (Plant(shipped_truth("rough"), 7) for _ in range(2))
    for _ in range(60):
        for plant in (looked, left):
            plant.advance(STEP_S, 1.5e-3)
        looked.conversions("voltage", 10, 10)
        looked.conversions("current", 7, 100)
        assert looked.fast_frame() == left.fast_frame()
    assert looked.state == left.state


def test_a_conversion_is_in_whole_steps_and_inside_the_range() -> None:
    facts = changed({"voltage_sensor.high_counts": 12_030}, "rough")
    plant = Plant(facts, 3)
    plant.advance(0.2, 1.4e-3)
    counts = plant.conversions("voltage", 10, 10)
    assert len(counts) == 100
    assert all(count % 20 == 0 for count in counts)
    assert max(counts) == 12_020
    assert plant.converter("voltage").step_counts == 20


def test_conversions_come_when_they_are_due_and_no_later_than_the_step() -> None:
    plant = Plant(shipped_truth("rough"), 3)
    plant.advance(0.2, 1.4e-3)
    assert len(plant.conversions("current", 1000, 10)) == 1
    assert plant.conversions("current", 1001, 10) == []
    assert len(plant.conversions("current", 13, 329)) == 4


def test_they_follow_the_truth_at_their_own_moments() -> None:
    facts = changed(
        {"voltage_sensor.gain_u": 0.0, "fast.noise_steps_rms": 0.0}, "rough"
    )
    plant = Plant(facts, 3)
    plant.advance(0.2, 1.7e-3)
    counts = np.array(plant.conversions("voltage", 7, 31))
    wave = plant.moments
    assert wave is not None
    gain = plant._voltage.counts_per_unit
    due = wave.filtered("voltage")[6::31] * gain - 6.0
    assert np.abs(counts - due).max() <= 10.0


@pytest.mark.parametrize(
    ("asked_us", "got_us"), [(0, 10), (12.4, 12), (60, 60), (1e7, 1000)]
)
def test_the_nearest_period_is_taken(asked_us: float, got_us: int) -> None:
    plant = Plant(shipped_truth("rough"), 1)
    assert plant.converter("voltage").nearest_us(asked_us) == got_us


def test_without_the_table_a_step_has_its_reading() -> None:
    slow = shipped_truth("indoor_quad").model_copy(update={"fast": None})
    plant = Plant(slow, 1)
    plant.advance(0.01, 1e-3)
    assert plant.converter("current").nearest_us(10) == 1000
    assert plant.conversions("voltage", 1000, 1000) == [
        round(plant._voltage.newest_counts)
    ]
    assert plant.moments is None


def test_a_capacitor_that_is_not_there_cannot_be_taken_off() -> None:
    with pytest.raises(InputFault, match=r"no \[bus_capacitor\]"):
        without_capacitor(shipped_truth("indoor_quad"))


def test_the_table_wants_one_frequency_of_chopping() -> None:
    with pytest.raises(InputFault, match=r"either \[chopping\] or fast\.chopping_hz"):
        changed({"fast.chopping_hz": 24e3}, "rough")


def test_motors_that_share_the_leads_each_see_more_of_their_inductance() -> None:
    shared = one_of(shipped_truth("rough"), 4, 0.0)
    assert shared.fast is not None
    assert shared.fast.wiring_h == pytest.approx(1.2e-6)

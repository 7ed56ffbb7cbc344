"""Readings to a calibration: what comes out, and what is refused with one sentence."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.calibration.fit import fit_polynomial
from daq.calibration.making import calibrate
from daq.calibration.meter import meter_from, metered
from daq.calibration.readings import Reading
from daq.calibration.reference import Level, Reference
from daq.calibration.standards import masses_of
from daq.calibration.suspects import Sensor
from daq.calibration.trials import within
from daq.calibration.value import Calibration, Subject
from daq.errors import InputFault
from tests.daq.calibration.invented import (
    SENSOR,
    SUBJECT,
    UTC,
    Cell,
    club_masses,
    made,
    reading,
    session,
)

KNOWN = masses_of(club_masses())
FORCE_N = list(KNOWN.value_si)


def from_readings(
    readings: list[Reading], reference: Reference = KNOWN, sensor: Sensor = SENSOR
) -> Calibration:
    return calibrate(readings, reference, sensor, SUBJECT, UTC)


# ------------------------------------------------------------ what comes out


@given(
    gain=st.floats(5e3, 5e5),
    zero=st.floats(-1e5, 1e5),
    square=st.floats(-0.02, 0.02),
    seed=st.integers(0, 1000),
)
def test_a_cell_that_was_invented_is_recovered(
    gain: float, zero: float, square: float, seed: int
) -> None:
    cell = Cell(
        counts_per_n=gain, zero_counts=zero, square=square, noise_counts=1e-4 * gain
    )
    sensor = replace(SENSOR, counts_per_unit=gain)
    readings = session(cell, FORCE_N, np.random.default_rng(seed))
    found = from_readings(readings, sensor=sensor)
    at = np.linspace(0.0, FORCE_N[-1], 9)
    counts = np.array([cell.counts(f) for f in at]) + zero
    read = found.value(counts) - found.value(np.array([zero]))
    assert np.abs(read - at).max() < 2e-3 * FORCE_N[-1]


def test_a_straight_cell_gets_a_line_and_a_bent_one_a_curve() -> None:
    assert made(Cell()).powers == (1,)
    assert made(Cell(square=3e-3)).powers == (1, 2)


def test_readings_taken_from_another_zero_come_out_alike() -> None:
    # A heavier motor on the arm moves zero; on a bent cell the slope there differs.
    cell = Cell(square=0.02)
    found = made(cell)
    preload_n = 0.8
    counts = np.array([cell.counts(preload_n), cell.counts(preload_n + 2.0)])
    zero, load = found.value(counts + cell.zero_counts)
    assert load - zero == pytest.approx(2.0, rel=5e-4)


def test_each_trial_is_found_as_large_as_it_was_made() -> None:
    cell = Cell(hysteresis=8e-4, creep=1e-3, cube=5e-4, noise_counts=2.0)
    trials = {trial.name: trial for trial in made(cell).trials}
    # Twice the loop's half, 4 h s (1 - s), where it is widest of the levels.
    share = np.array(FORCE_N[:-1]) / cell.full_n
    loop = 2.0 * cell.hysteresis * np.max(4.0 * share * (1.0 - share))
    largest = FORCE_N[-1] / cell.full_n
    assert trials["hysteresis"].value_rel == pytest.approx(loop / largest, rel=0.05)
    crept = cell.creep * (1.0 - np.exp(-1.0))
    assert trials["creep"].value_rel == pytest.approx(crept, rel=0.15)
    # x^3 - x reaches 0.385; a line through it takes a good part of that away.
    assert 2e-5 < trials["linearity"].value_rel < 4e-4


def test_seating_is_found_and_widens_the_scale() -> None:
    sds = [
        next(t for t in made(Cell(seating=2e-3), seed=seed).trials
             if t.name == "repeatability").value_rel
        for seed in range(40)
    ]  # fmt: skip
    assert np.sqrt(np.mean(np.square(sds))) == pytest.approx(2e-3, rel=0.25)
    calm, shaken = made(Cell()), made(Cell(seating=2e-3))
    assert shaken.budget(3.0)["seating"] > 5.0 * calm.budget(3.0)["seating"]


def test_zero_return_is_told() -> None:
    readings = session(Cell(), FORCE_N, np.random.default_rng(2))
    last = readings[-1]
    readings[-1] = replace(last, counts=last.counts + 400.0)
    told = next(t for t in from_readings(readings).trials if t.name == "zero return")
    assert told.value_rel == pytest.approx(400.0 / 43_500.0 / FORCE_N[-1], rel=0.1)


def test_what_was_not_tried_is_said_and_costs_something() -> None:
    found = made(series=1, down=False, hold_s=0.0)
    untried = {trial.name for trial in found.trials if not trial.tried}
    assert untried == {"hysteresis", "repeatability", "creep"}
    assert sum("stands in" in words for words in found.cautions) == 3
    assert found.u_rel > made().u_rel


def test_masses_that_push_against_thrust_turn_the_sign_round() -> None:
    known = masses_of(club_masses(pushes="against thrust"))
    cell = Cell(counts_per_n=43_500.0)
    readings = session(cell, [-f for f in known.value_si], np.random.default_rng(3))
    # They pull the cell the other way, as it reads: thrust then reads upwards.
    mirrored = [
        replace(
            r,
            counts=-r.counts,
            low_counts=-r.high_counts,
            high_counts=-r.low_counts,
        )
        for r in readings
    ]
    found = from_readings(mirrored, known)
    assert found.slope_si == pytest.approx(1 / 43_500.0, rel=1e-3)
    assert found.low_si == pytest.approx(float(known.value_si.min()))


def test_residuals_and_standards_are_kept() -> None:
    found = made()
    kept = [point for point in found.points if np.isfinite(point.residual_si)]
    x = np.array([p.reading.counts for p in kept])
    fitted = np.array([p.value_si - p.residual_si for p in kept])
    zero = np.array([p.reading.counts for p in found.points if p.value_si == 0.0])
    assert fitted == pytest.approx(found.slope_si * (x - zero.mean()), abs=2e-3)
    assert len(found.standards) == 5
    assert found.facts["lever_ratio"] == 1.0


# ------------------------------------------------------------ voltage, current


def volts(
    gain: float = 1003.0, offset: float = -6.0, count: int = 6
) -> tuple[list[Reading], Reference]:
    rng = np.random.default_rng(4)
    true = np.linspace(8.0, 12.6, count)
    shown = [round(float(v), 2) for v in true]
    readings = [
        reading("zero", 0, "", -1, offset + rng.normal(), 0.0),
        *(
            reading("load", 0, "", i, gain * v + offset + rng.normal(), 5.0 * i + 5.0)
            for i, v in enumerate(true)
        ),
    ]
    return readings, metered(meter_from("0.5% + 2 x 0.01"), shown, "V")


VOLTS = Sensor("voltage", "V", 1000.0, -32767, 32767)


def test_voltage_is_held_against_a_meter_with_its_offset() -> None:
    readings, known = volts()
    subject = Subject("voltage", "V", 1)
    found = calibrate(readings, known, VOLTS, subject, UTC)
    assert found.powers == (0, 1)
    assert found.slope_si == pytest.approx(1.0 / 1003.0, rel=1e-3)
    at = float(found.value(np.array([1003.0 * 11.1 - 6.0]))[0])
    assert at == pytest.approx(11.1, abs=0.01)
    # The meter's 0.5 % and its two digits: 0.29 % and 0.012 V.
    assert found.u_at(11.1) == pytest.approx(np.hypot(0.032, 0.008), rel=0.15)


# ------------------------------------------------------------ what is refused


def slipped(change: Callable[[list[Reading]], None]) -> list[Reading]:
    readings = session(Cell(), FORCE_N, np.random.default_rng(5))
    change(readings)
    return readings


def more(readings: list[Reading], place: int, counts: float) -> None:
    readings[place] = replace(readings[place], counts=readings[place].counts + counts)


def test_two_points_make_no_calibration() -> None:
    readings = session(Cell(), FORCE_N[:2], np.random.default_rng(6))
    with pytest.raises(InputFault, match="2 known values cannot show"):
        from_readings(readings)


def test_without_a_zero_there_is_none() -> None:
    readings = session(Cell(), FORCE_N, np.random.default_rng(6))
    with pytest.raises(InputFault, match="Zero was never read"):
        from_readings([r for r in readings if r.kind != "zero"])


def test_a_saturated_cell_is_named_with_what_was_on_it() -> None:
    readings = slipped(lambda r: None)
    readings[5] = replace(readings[5], high_counts=SENSOR.high_counts)
    with pytest.raises(InputFault, match=r"upper end of its range at 470 g \(series 1"):
        from_readings(readings)


def test_a_dead_cell_is_told_from_a_weak_one() -> None:
    dead = session(Cell(counts_per_n=0.5), FORCE_N, np.random.default_rng(7))
    with pytest.raises(InputFault, match="does not move"):
        from_readings(dead)
    weak = session(
        Cell(counts_per_n=15.0, noise_counts=0.3), FORCE_N, np.random.default_rng(7)
    )
    calm = [replace(r, sd_counts=0.5) for r in weak]
    with pytest.raises(InputFault, match="too few"):
        from_readings(calm)


def test_masses_out_of_order_are_named() -> None:
    readings = session(Cell(), FORCE_N, np.random.default_rng(8))
    readings[3], readings[4] = (
        replace(readings[3], counts=readings[4].counts),
        replace(readings[4], counts=readings[3].counts),
    )
    with pytest.raises(InputFault, match=r"At 270 g .* no more than at 170 g"):
        from_readings(readings)


@pytest.mark.parametrize(
    ("piece", "true_g", "words"),
    [
        (0, 10.0, '"20 g" does not fit .* seems to be 10'),
        (1, 45.0, '"50 g" does not fit .* seems to be 45'),
        (2, 50.0, '"100 g" does not fit .* seems to be 50'),
        (4, 210.0, '"200 g" does not fit .* seems to be 210'),
    ],
)
def test_a_wrong_mass_is_named_with_what_it_seems_to_be(
    piece: int, true_g: float, words: str
) -> None:
    masses_g = np.array([20.0, 50.0, 100.0, 100.0, 200.0])
    masses_g[piece] = true_g
    force_n = KNOWN.si_per_piece_unit * np.cumsum(masses_g)
    cell = Cell(hysteresis=2e-4, seating=2e-4, square=1e-3, wander_counts=10.0)
    readings = session(cell, list(force_n), np.random.default_rng(9))
    with pytest.raises(InputFault, match=words):
        from_readings(readings)


def test_one_reading_with_a_hand_on_it_is_named() -> None:
    readings = slipped(lambda r: more(r, 15, 6000.0))
    with pytest.raises(InputFault, match=r"The reading at 170 g \(series 2"):
        from_readings(readings)


def test_an_honest_set_is_hardly_ever_blamed() -> None:
    blamed = 0
    for seed in range(150):
        rng = np.random.default_rng(1000 + seed)
        cell = Cell(
            square=3e-3 * rng.standard_normal(),
            cube=5e-4 * rng.standard_normal(),
            hysteresis=5e-4 * rng.random(),
            seating=5e-4,
            wander_counts=20.0,
        )
        try:
            from_readings(session(cell, FORCE_N, rng))
        except InputFault:
            blamed += 1
    assert blamed == 0


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (1 / 9.80665e-3, "grams were given where newtons"),
        (9.80665e-3, "grams were given where newtons"),
        (1000.0, "thousandths"),
        (28.3495, "ounces"),
    ],
)
def test_a_unit_taken_for_another_is_told(factor: float, words: str) -> None:
    levels = tuple(Level(level.name, factor * level.value_si) for level in KNOWN.levels)
    causes = {name: factor * rows for name, rows in KNOWN.causes.items()}
    known = replace(KNOWN, levels=levels, causes=causes, pieces=())
    readings = session(Cell(), FORCE_N, np.random.default_rng(11))
    with pytest.raises(InputFault, match=words):
        from_readings(readings, known)


def test_a_bend_in_a_short_set_blames_no_mass() -> None:
    # Three masses cannot tell a gentle curve from a wrong mass; the curve is likelier.
    force_n = FORCE_N[2:5]
    levels = KNOWN.levels[2:5]
    pieces = tuple(replace(p) for p in KNOWN.pieces)
    causes = {name: rows[2:5] for name, rows in KNOWN.causes.items()}
    short = replace(KNOWN, levels=levels, pieces=pieces, causes=causes)
    cell = Cell(square=0.02)
    found = from_readings(session(cell, force_n, np.random.default_rng(13)), short)
    assert found.largest_si == pytest.approx(FORCE_N[4])


def test_a_scale_far_from_the_declared_one_is_a_caution() -> None:
    sensor = replace(SENSOR, counts_per_unit=20_000.0)
    readings = session(Cell(), FORCE_N, np.random.default_rng(12))
    found = from_readings(readings, sensor=sensor)
    assert any("0.46 times" in words for words in found.cautions)
    turned = from_readings(readings, sensor=replace(SENSOR, counts_per_unit=-43_500.0))
    assert any("the other way" in words for words in turned.cautions)


def test_a_bent_cell_is_told() -> None:
    found = made(Cell(square=0.07))
    assert any("no gentle curve" in words for words in found.cautions)


def test_a_fit_of_one_value_is_refused() -> None:
    with pytest.raises(InputFault, match="different values"):
        fit_polynomial(np.array([1.0, 1.0]), np.array([1.0, 2.0]), (0, 1))


def test_a_share_that_is_next_to_nothing_is_not_at_most_less_than_it() -> None:
    assert within(3e-6) == "less than 0.001 %"
    assert within(2.5e-3) == "at most 0.25 %"

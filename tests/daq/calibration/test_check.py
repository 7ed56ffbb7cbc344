"""A short check against a calibration, and two calibrations against each other."""

from dataclasses import replace

import numpy as np
import pytest

from daq.calibration.check import checked, mounted
from daq.calibration.readings import Reading
from daq.calibration.standards import masses_of
from daq.calibration.use import used
from daq.errors import InputFault
from tests.daq.calibration.invented import UTC, Cell, club_masses, made, reading

CELL = Cell()
ALONE = masses_of(club_masses(order="one at a time"))


def morning(cell: Cell, level: int = 2, rng_seed: int = 1) -> list[Reading]:
    """Zero, one mass, zero."""
    rng = np.random.default_rng(rng_seed)
    zero = cell.zero_counts
    force = float(ALONE.value_si[level])
    return [
        reading("zero", 0, "", -1, zero + 3.0 * rng.standard_normal(), 0.0),
        reading("load", 0, "up", level, cell.counts(force, "up") + zero, 5.0),
        reading("zero", 0, "", -1, zero + 3.0 * rng.standard_normal(), 10.0),
    ]


def test_a_stand_that_is_as_it_was_passes() -> None:
    found = checked(used(made(CELL), UTC, 21.0), ALONE, morning(CELL))
    assert found.passed
    assert abs(found.difference_rel) < 1e-3
    assert "The calibration holds." in found.sentence()


@pytest.mark.parametrize("changed", [0.99, 1.01])
def test_one_per_cent_is_seen_though_the_lever_is_known_to_less(changed: float) -> None:
    calibration = made(CELL)
    assert calibration.u_rel > 0.004  # with the lever: two of these are 0.8 %
    knocked = replace(CELL, counts_per_n=changed * CELL.counts_per_n)
    found = checked(used(calibration, UTC, 21.0), ALONE, morning(knocked))
    assert not found.passed
    assert found.difference_rel == pytest.approx(changed - 1.0, abs=1e-3)
    assert "It does not hold" in found.sentence()


def test_another_lever_or_place_is_counted_in() -> None:
    elsewhere = masses_of(
        club_masses(order="one at a time", gravity={"latitude_deg": 10.0})
    )
    use = used(made(CELL), UTC, 21.0)
    here, there = (checked(use, known, morning(CELL)) for known in (ALONE, elsewhere))
    assert there.u_si > 5.0 * here.u_si


def test_honest_checks_hardly_ever_fail() -> None:
    cell = Cell(hysteresis=3e-4, seating=3e-4, wander_counts=5.0)
    failed = 0
    for seed in range(200):
        use = used(made(cell, seed=seed), UTC, 21.0)
        seat = 1.0 + 3e-4 * np.random.default_rng(seed + 999).standard_normal()
        today = replace(cell, counts_per_n=seat * cell.counts_per_n)
        failed += int(not checked(use, ALONE, morning(today, 4, seed)).passed)
    assert failed <= 18  # 5 % of 200, to the 99.9 % point of the binomial


def test_a_zero_that_moved_meanwhile_is_counted_in() -> None:
    readings = morning(CELL)
    readings[2] = replace(readings[2], counts=readings[2].counts + 2000.0)
    use = used(made(CELL), UTC, 21.0)
    assert checked(use, ALONE, readings).u_si > 10.0 * (
        checked(use, ALONE, morning(CELL)).u_si
    )


def test_a_check_of_half_its_readings_is_refused() -> None:
    use = used(made(CELL), UTC)
    for part in (morning(CELL)[:1], morning(CELL)[1:2]):
        with pytest.raises(InputFault, match="zero, one known value"):
            checked(use, ALONE, part)


def test_two_mountings_differ_by_what_was_changed() -> None:
    first, second = made(CELL), made(replace(CELL, counts_per_n=42_000.0), seed=2)
    bias = mounted(first, second, "stand moved")
    assert bias.difference_rel == pytest.approx(43_500.0 / 42_000.0 - 1.0, rel=1e-2)
    assert bias.u_rel < 2e-3
    assert bias.compared == (first.id, second.id)


def test_two_things_that_are_not_the_same_are_not_compared() -> None:
    first = made(CELL)
    other = replace(first, subject=replace(first.subject, stand_id=7), id="other")
    with pytest.raises(InputFault, match="same channel of the same stand"):
        mounted(first, other, "x")
    with pytest.raises(InputFault, match="with itself"):
        mounted(first, first, "x")

"""The plant's load-cell converter against an HX711-class data sheet.

Figures: 24 bits in two's complement from 0x800000 to 0x7FFFFF; 80 samples/s;
output settled after four conversions (50 ms at that rate; the four read, the
50 ms from memory); noise 90 nV rms at gain 128, which on 5 V is 38.7 counts.
"""

import math

import pytest

from daq.stand.plant.bench import Plant
from daq.stand.plant.load_cell import LoadCell
from daq.stand.plant.truth import shipped_truth
from tests.daq.stand.plant.builder import QUIET, changed

STEP_S = 1e-3


@pytest.mark.parametrize("step_at", range(100, 126, 3))
def test_a_step_at_any_moment_is_settled_in_the_fourth_conversion(step_at: int) -> None:
    cell = LoadCell(changed(QUIET).load_cell, 40000.0, 1, STEP_S)
    after = []
    for index in range(300):
        cell.feel(2.0 if index >= step_at else 0.0)
        count = cell.take()
        if count is not None and index >= step_at:
            after.append(count)
    assert after[3] == 80_000  # settled within 50 ms
    assert all(count == 80_000 for count in after[3:])
    # And not much sooner: the first one shows at most a sixth of the step.
    assert after[0] <= 80_000 / 6 + 1
    assert after[1] < 0.9 * 80_000


def test_eighty_conversions_a_second_of_plant_time() -> None:
    plant = Plant(shipped_truth(), 1)
    counts = []
    for _ in range(3000):
        plant.advance(1e-3, 0.0)
        count = plant.take_conversion()
        if count is not None:
            counts.append(count)
    assert len(counts) == 240
    assert all(-0x800000 <= count <= 0x7FFFFF for count in counts)


def test_the_shipped_noise_is_90_nanovolt_in_counts() -> None:
    # Full scale +/- 0.5 AVDD/gain on 2^23 counts.
    lsb_v = 0.5 * 5.0 / 128 / 2**23
    assert shipped_truth().load_cell.noise_counts_rms == pytest.approx(
        90e-9 / lsb_v, rel=2e-3
    )
    assert math.isclose(lsb_v, 2.328306e-09, rel_tol=1e-6)


def test_an_overload_saturates_instead_of_wrapping() -> None:
    plant = Plant(shipped_truth(), 1)
    plant.placed_load_n = 500.0
    plant.advance(0.5, 0.0)
    assert plant.take_conversion() == 0x7FFFFF
    plant.placed_load_n = -500.0
    plant.advance(0.5, 0.0)
    assert plant.take_conversion() == -0x800000

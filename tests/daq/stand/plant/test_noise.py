import math
from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from daq.stand.plant.noise import BLOCK, Stream, standard_normals


def test_the_numbers_are_standard_normal_across_block_ends() -> None:
    draw = standard_normals(3, Stream.CURRENT_NOISE)
    numbers = [draw() for _ in range(2 * BLOCK + 100)]
    # Kolmogorov-Smirnov against scipy's normal distribution; the seed is fixed.
    assert stats.kstest(numbers, "norm").pvalue > 0.01


def test_streams_of_one_seed_are_independent() -> None:
    rows = []
    for stream in Stream:
        draw = standard_normals(5, stream)
        rows.append([draw() for _ in range(4000)])
    for one, other in combinations(rows, 2):
        # Five standard deviations of a sample correlation of independent numbers.
        assert abs(np.corrcoef(one, other)[0, 1]) < 5.0 / math.sqrt(4000)


def test_the_same_seed_repeats_and_another_does_not() -> None:
    first, again, other = (
        standard_normals(seed, Stream.VOLTAGE_NOISE) for seed in (1, 1, 2)
    )
    numbers = [first() for _ in range(10)]
    assert numbers == [again() for _ in range(10)]
    assert numbers != pytest.approx([other() for _ in range(10)])

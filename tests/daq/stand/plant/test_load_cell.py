import numpy as np
import pytest

from daq.stand.plant.load_cell import HIGH_COUNTS, LOW_COUNTS, LoadCell
from daq.stand.plant.truth_parts import LoadCellTruth

STEP_S = 1e-3
PERIOD_S = 1.0 / 80.0
FIGURES: dict[str, object] = {
    "counts_per_n": 43800.0,
    "gain_u": 0.02,
    "zero_counts": 1000.0,
    "noise_counts_rms": 0.0,
}


def cell(counts_per_n: float = 40000.0, **changes: object) -> LoadCell:
    truth = LoadCellTruth.model_validate(FIGURES | changes)
    return LoadCell(truth, counts_per_n, 1, STEP_S)


def conversions(one: LoadCell, forces: list[float]) -> list[tuple[int, int]]:
    """Step index and counts of each conversion."""
    out = []
    for index, force in enumerate(forces):
        one.feel(force)
        counts = one.take()
        if counts is not None:
            out.append((index, counts))
    return out


def test_eighty_conversions_a_second_however_the_steps_fall() -> None:
    found = conversions(cell(), [0.0] * 10_000)
    assert len(found) == 800
    ends = (np.arange(800) + 1) * 12.5
    assert [index for index, _ in found] == [int(np.ceil(end)) - 1 for end in ends]


def test_zero_and_true_gain_are_in_the_counts() -> None:
    found = conversions(cell(), [2.5] * 200)
    assert found[-1][1] == 1000 + 100_000


def test_a_moving_force_comes_out_one_and_a_half_conversions_late() -> None:
    # The declared delay: on a ramp the reading is that of 18.75 ms ago.
    forces = [(index + 0.5) * STEP_S for index in range(1000)]
    found = conversions(cell(), forces)
    for number, (_, counts) in enumerate(found[10:], start=11):
        late = number * PERIOD_S - 1.5 * PERIOD_S
        # One count is 25 uN; a step of 1 ms is shared between two conversions.
        assert counts - 1000 == pytest.approx(40000.0 * late, abs=6.0)


def test_zero_drifts_with_time() -> None:
    found = conversions(cell(zero_drift_counts_s=50.0), [0.0] * 4000)
    assert found[-1][1] == 1000 + 200


def test_noise_is_white_and_of_the_stated_size() -> None:
    one = cell(noise_counts_rms=38.7)
    counts = np.array([c for _, c in conversions(one, [0.0] * 50_000)]) - 1000.0
    n = len(counts)
    assert counts.std() == pytest.approx(38.7, rel=5.0 / np.sqrt(2.0 * n))
    assert abs(counts.mean()) < 5.0 * 38.7 / np.sqrt(n)
    lag1 = np.corrcoef(counts[:-1], counts[1:])[0, 1]
    assert abs(lag1) < 5.0 / np.sqrt(n)


def test_it_saturates_at_24_bits() -> None:
    assert conversions(cell(), [1e4] * 100)[-1][1] == HIGH_COUNTS == 0x7FFFFF
    assert conversions(cell(), [-1e4] * 100)[-1][1] == LOW_COUNTS == -0x800000


def test_a_conversion_is_handed_out_once_and_the_newest_wins() -> None:
    one = cell()
    for _ in range(30):
        one.feel(1.0)
    first = one.take()
    assert first is not None
    assert one.take() is None

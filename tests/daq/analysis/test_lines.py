"""Lines: known tones, on a bin and between two, with steps, noise and gaps."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from daq.analysis.lines import NOISE, Line, find_lines
from tests.daq.analysis.sampled import sampled, tone

PERIOD_S = 1e-5


def held(line: Line, hertz: float, size: float, times: float = 2.0) -> bool:
    """Whether both intervals, so many standard uncertainties wide, hold the truth."""
    f, a = line.frequency_hz, line.amplitude_si
    # Nothing is near it here, so what might be is left out.
    u_f, u_a = (float(one.sources[NOISE].factor[0]) for one in (f, a))
    return abs(line.hertz - hertz) <= times * u_f and abs(line.size_si - size) <= (
        times * u_a
    )


@example(hertz=29991.0, amplitude=0.0625, phase=0.0)
@example(hertz=16438.03125, amplitude=0.46875, phase=3.0)
@given(
    hertz=st.floats(1_500.0, 48_000.0),
    amplitude=st.floats(0.05, 2.0),
    phase=st.floats(0.0, 6.28),
)
def test_a_known_tone_is_found_wherever_it_lies_between_bins(
    hertz: float, amplitude: float, phase: float
) -> None:
    step = 0.02
    value = sampled(tone(hertz, amplitude, phase), step=step).value_si
    line = find_lines(value, PERIOD_S, 1_000.0)[0]
    # Where the rounding goes round with the samples it is no noise: a share of a step,
    # which of few distinct samples may be half of one and more.
    # A bin is 100 Hz: a hundredth of it, and more where a step is much of the tone.
    assert line.hertz == pytest.approx(hertz, abs=max(1.0, 10.0 * step / amplitude))
    assert line.size_si == pytest.approx(amplitude, abs=0.65 * step)


def test_a_clean_tone_is_found_to_a_millionth() -> None:
    value = sampled(tone(12_345.6, 0.3)).value_si
    (line, *_) = find_lines(value, PERIOD_S, 1_000.0)
    assert line.hertz == pytest.approx(12_345.6, rel=1e-6)
    assert line.size_si == pytest.approx(0.3, rel=1e-6)


def test_intervals_hold_the_truth_at_their_rate() -> None:
    rng = np.random.default_rng(5)
    hits = 0
    for _ in range(120):
        hertz, size = rng.uniform(3e3, 45e3), rng.uniform(0.1, 0.5)
        value = sampled(tone(hertz, size, rng.uniform(0, 6))).value_si
        value = value + rng.normal(0.0, 0.1, value.size)
        hits += held(find_lines(value, PERIOD_S, 1_000.0)[0], hertz, size)
    # Two intervals of 95 % at once: 0.90 if independent; 120 draws, three sigma.
    assert hits / 120 >= 0.82
    assert hits < 120


def test_samples_that_are_missing_bend_nothing() -> None:
    value = sampled(tone(21_300.0, 0.4)).value_si.copy()
    value[::13] = np.nan
    value[400:460] = np.nan
    line = find_lines(value, PERIOD_S, 1_000.0)[0]
    assert line.hertz == pytest.approx(21_300.0, abs=0.01)
    assert line.size_si == pytest.approx(0.4, rel=1e-4)


def test_two_tones_are_told_apart_and_the_larger_comes_first() -> None:
    value = sampled(tone(9_000.0, 0.2)).value_si + sampled(tone(9_450.0, 0.5)).value_si
    first, second = find_lines(value, PERIOD_S, 1_000.0)[:2]
    assert [first.hertz, second.hertz] == pytest.approx([9_450.0, 9_000.0], abs=0.1)
    assert [first.size_si, second.size_si] == pytest.approx([0.5, 0.2], rel=1e-3)


def test_noise_has_no_lines() -> None:
    rng = np.random.default_rng(2)
    found = sum(
        len(find_lines(rng.normal(0.0, 1.0, 1000), PERIOD_S, 1_000.0))
        for _ in range(40)
    )
    assert found <= 2


def test_what_is_slower_than_the_floor_is_left() -> None:
    value = sampled(tone(700.0, 1.0)).value_si
    lines = find_lines(value, PERIOD_S, 1_500.0)
    assert all(line.size_si < 0.05 for line in lines)


def test_too_few_samples_have_none() -> None:
    value = np.full(200, np.nan)
    value[:20] = 1.0
    assert find_lines(value, PERIOD_S, 1_000.0) == ()

"""Figures of a stretch of samples against closed forms."""

import math

import numpy as np
import pytest

from daq.analysis.waveform import rounding_u, waveform_of

# Handbook relations (any textbook of alternating current): a sine of amplitude A has an
# rms of A / sqrt 2 and a peak to peak of 2 A, a triangle A / sqrt 3, a square A.
AMPLITUDE, MEAN = 3.0, 12.0
PHASE = np.arange(4000) / 4000.0
SHAPES = {
    "sine": (np.sin(2 * np.pi * PHASE), 1 / math.sqrt(2)),
    "triangle": (4 * np.abs(PHASE - 0.5) - 1, 1 / math.sqrt(3)),
    "square": (np.where(PHASE < 0.5, 1.0, -1.0), 1.0),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_the_usual_shapes_have_their_figures(shape: str) -> None:
    samples, rms = SHAPES[shape]
    found = waveform_of((MEAN + AMPLITUDE * samples).tolist())
    assert found is not None
    assert found.mean == pytest.approx(MEAN, abs=1e-3)
    assert found.peak_to_peak == pytest.approx(2 * AMPLITUDE, rel=1e-6)
    assert found.rms_about_mean == pytest.approx(AMPLITUDE * rms, rel=1e-3)
    assert (found.low, found.high) == pytest.approx((9.0, 15.0), abs=1e-6)


def test_what_is_missing_is_in_no_figure() -> None:
    found = waveform_of([None, 1.0, None, 3.0, math.nan, 2.0])
    assert found is not None
    assert (found.number, found.mean, found.peak_to_peak) == (3, 2.0, 2.0)
    same = waveform_of([0.1 + 12.0] * 7)
    assert same is not None
    assert (same.peak_to_peak, same.rms_about_mean) == (0.0, 0.0)
    assert waveform_of([None, None]) is None
    assert waveform_of([]) is None


def test_rounding_is_a_rectangle() -> None:
    # JCGM 100:2008, F.2.2.1: u = 0,29 times the resolution.
    assert rounding_u(1.0) == pytest.approx(0.29, abs=0.002)
    rng = np.random.default_rng(1)
    values = rng.uniform(0.0, 1000.0, 200_000)
    assert np.std(values - np.round(values)) == pytest.approx(rounding_u(1.0), rel=0.01)

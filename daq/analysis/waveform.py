"""Figures of one stretch of samples that stand close together.

Says what the samples are, not what the motor did: a stretch of milliseconds knows
nothing of slower changes, and samples of a byte nothing of smaller ones.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Waveform:
    """What a stretch of samples amounts to, in the unit of the samples.

    Attributes:
        number: samples with a value.
        mean: their arithmetic mean.
        peak_to_peak: the highest less the lowest.
        rms_about_mean: root mean square of what is left without the mean.
        low: the lowest.
        high: the highest.
    """

    number: int
    mean: float
    peak_to_peak: float
    rms_about_mean: float
    low: float
    high: float


def waveform_of(values: Sequence[float | None]) -> Waveform | None:
    """The figures of a stretch; None where no sample has a value.

    Args:
        values: one a sample in order, None or NaN where there is none.
    """
    numbers = [math.nan if value is None else value for value in values]
    samples = np.asarray(numbers, float)
    samples = samples[np.isfinite(samples)]
    if not samples.size:
        return None
    low, high = float(samples.min()), float(samples.max())
    return Waveform(
        number=int(samples.size),
        mean=float(samples.mean()),
        peak_to_peak=high - low,
        rms_about_mean=float(samples.std()) if high > low else 0.0,
        low=low,
        high=high,
    )


def rounding_u(step: float) -> float:
    """Standard uncertainty of one value that was rounded to steps.

    Source: JCGM 100:2008 (GUM), F.2.2.1: a rectangle as wide as a step.
    """
    return step / math.sqrt(12.0)

"""Captures made by hand, of signals that are known."""

from collections.abc import Callable

import numpy as np

from daq.analysis.captures import Capture
from daq.analysis.series import Array


def sampled(
    signal: Callable[[Array], Array],
    *,
    period_s: float = 1e-5,
    count: int = 1000,
    before: int = 250,
    step: float = 0.0,
    label: str = "level",
    segment: int = 0,
) -> Capture:
    """A signal of time as a converter takes it; steps of 0 are as fine as can be."""
    index = np.arange(count, dtype=np.float64) - before
    t_s = np.asarray(index * period_s, dtype=np.float64)
    value = signal(t_s)
    if step:
        value = np.asarray(step * np.round(value / step), dtype=np.float64)
    return Capture(
        "voltage", label, segment, t_s, value, period_s, step or 1e-9, 0, 0, 0.0
    )


def tone(
    hertz: float, amplitude: float = 1.0, phase: float = 0.7
) -> Callable[[Array], Array]:
    """A sinusoid."""
    return lambda t: amplitude * np.sin(2.0 * np.pi * hertz * t + phase)

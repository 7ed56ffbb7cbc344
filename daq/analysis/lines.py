"""Lines in the spectrum of samples that stand close together.

Found in a windowed spectrum, measured by least squares on the samples themselves, so
that neither the bins nor samples that are missing bend them. What a line is at the
frequency where it is seen says nothing of where it came from: see ``aliases``.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.analysis.measured import Measured, exact
from daq.analysis.series import Array

#: No more lines than these are told.
MOST: Final = 6
#: A line stands so many times above the median of the spectrum.
ABOVE: Final = 6.0
#: ... and is not below this share of the largest: the sides of the window are.
SMALLEST_SHARE: Final = 0.03
#: Zeros behind the samples, so that the start of the search is near enough.
PADDING: Final = 4
#: Bins on either side of a line from which its noise is read.
NEARBY_BINS: Final = 12
#: A Hann window tells lines apart that are two bins from each other.
APART_BINS: Final = 2.0
ROUNDS: Final = 6
ROOT_3: Final = 3.0**0.5
FEWEST: Final = 32
NOISE: Final = "noise of the capture"
#: What lies closer to a line than one over the span is not told from it. So much of it
#: that it would not be told by itself turns the line's phase by as many radian over the
#: span, and its amplitude by that share (rectangular).
NEIGHBOUR: Final = "a line too near to be told apart"


@dataclass(frozen=True, slots=True)
class Line:
    """One line.

    Attributes:
        frequency_hz: Where it is seen, one value, by the stand's clock.
        amplitude_si: Half of its own peak to peak, one value.
    """

    frequency_hz: Measured
    amplitude_si: Measured

    @property
    def hertz(self) -> float:
        """The frequency alone."""
        return float(self.frequency_hz.value[0])

    @property
    def size_si(self) -> float:
        """The amplitude alone."""
        return float(self.amplitude_si.value[0])


@dataclass(frozen=True, slots=True)
class _Samples:
    """Evenly placed samples, those that are missing left out."""

    index: Array
    value: Array
    size: int
    period_s: float

    @property
    def span_s(self) -> float:
        return self.size * self.period_s

    @property
    def t_s(self) -> Array:
        return self.index * self.period_s

    def spectrum(self, value: Array) -> Array:
        """Amplitudes by a Hann window, padded with zeros.

        F. J. Harris, On the use of windows for harmonic analysis, Proc. IEEE 66, 1978.
        """
        window = self._window
        full = np.zeros(self.size)
        full[self.index.astype(np.intp)] = value * window
        size = PADDING * self.size
        return np.asarray(2.0 * np.abs(np.fft.rfft(full, size)) / window.sum())

    @property
    def _window(self) -> Array:
        return np.asarray(np.sin(np.pi * (self.index + 0.5) / self.size) ** 2)

    def white(self, amplitude: Array) -> float:
        """Standard deviation of white noise whose spectrum has such amplitudes."""
        window = self._window
        gain = window.sum() ** 2 / (4.0 * (window**2).sum())
        return float(np.sqrt((amplitude**2).mean() * gain))


def find_lines(
    value: Array, period_s: float, floor_hz: float, floor_si: float = 0.0
) -> tuple[Line, ...]:
    """The largest lines of evenly placed samples, the largest first.

    Args:
        value: Without what is slow, shape (n,); NaN where there is no sample.
        period_s: From one to the next.
        floor_hz: Lines below it are left aside.
        floor_si: Lines smaller than it are left aside.
    """
    known = np.flatnonzero(np.isfinite(value))
    if known.size < FEWEST:
        return ()
    one = _Samples(known.astype(np.float64), value[known], value.size, period_s)
    hertz = np.fft.rfftfreq(PADDING * one.size, period_s)
    usable = (hertz >= floor_hz) & (hertz <= 0.5 / period_s - 1.0 / one.span_s)
    if not usable.any():
        return ()
    first = one.spectrum(one.value)
    least = max(
        floor_si,
        ABOVE * float(np.median(first[usable])),
        SMALLEST_SHARE * float(first[usable].max()),
    )
    found, left, told = np.zeros(0), one.value, None
    for _ in range(MOST):
        spectrum = np.where(usable, one.spectrum(left), 0.0)
        for hz in found:  # what is left of a line that is no line is not another
            spectrum[np.abs(hertz - hz) < APART_BINS / one.span_s] = 0.0
        if spectrum.max() <= least:
            break
        found = np.append(found, hertz[int(np.argmax(spectrum))])
        found, told = _refined(one, found, floor_hz)
        left = one.value - told.fitted
    return () if told is None else _lines(one, found, told, left)


@dataclass(frozen=True, slots=True)
class _Fitted:
    """Sinusoids through samples: their parts, and how each sample goes with them."""

    parts: Array
    fitted: Array
    slopes: Array


def least_squares_of(matrix: Array, value: Array) -> Array:
    """Weights of the columns that come nearest to some values.

    By the normal equations of columns of equal length: a tenth of the time of an
    orthogonal solution, and as good where columns are as different as these.
    """
    norm = np.linalg.norm(matrix, axis=0)
    even = matrix / np.where(norm > 0.0, norm, 1.0)
    solved = np.linalg.lstsq(even.T @ even, even.T @ value, rcond=1e-12)[0]
    return np.asarray(solved / np.where(norm > 0.0, norm, 1.0), dtype=np.float64)


def _fit(one: _Samples, hertz: Array) -> _Fitted:
    angle = 2.0 * np.pi * np.outer(one.t_s, hertz)
    cosine, sine = np.cos(angle), np.sin(angle)
    basis = np.concatenate((cosine, sine, np.ones((one.index.size, 1))), axis=1)
    parts = least_squares_of(basis, one.value)
    a, b = parts[: hertz.size], parts[hertz.size : -1]
    turns = 2.0 * np.pi * one.t_s[:, np.newaxis] * (b * cosine - a * sine)
    return _Fitted(parts, basis @ parts, np.concatenate((basis, turns), axis=1))


def _refined(one: _Samples, hertz: Array, floor_hz: float) -> tuple[Array, _Fitted]:
    """Frequencies moved to where all lines together fit best (Gauss and Newton)."""
    top_hz = 0.5 / one.period_s
    fitted = _fit(one, hertz)
    most = 0.5 / one.span_s
    for _ in range(ROUNDS):
        step = least_squares_of(fitted.slopes, one.value - fitted.fitted)
        moved = step[-hertz.size :]
        hertz = np.clip(hertz + np.clip(moved, -most, most), floor_hz, top_hz)
        fitted = _fit(one, hertz)
        if np.abs(moved).max() < 1e-4 * most:
            break
    return hertz, fitted


def _lines(one: _Samples, hertz: Array, told: _Fitted, left: Array) -> tuple[Line, ...]:
    """Each with the noise that is around it; the rest of the spectrum is not."""
    spectrum = one.spectrum(left)
    inverse = np.linalg.pinv(told.slopes.T @ told.slopes)
    count, lines = hertz.size, []
    placed_hz = 1.0 / (np.pi * one.span_s)
    for place, hz in enumerate(hertz):
        middle = round(hz * PADDING * one.size * one.period_s)
        reach = PADDING * NEARBY_BINS
        around = spectrum[max(0, middle - reach) : middle + reach + 1]
        noise = one.white(around)
        a, b = float(told.parts[place]), float(told.parts[count + place])
        size = float(np.hypot(a, b))
        weights = np.array([a, b]) / size if size else np.ones(2)
        both = [place, count + place]
        spread = float(weights @ inverse[np.ix_(both, both)] @ weights)
        turned = float(inverse[2 * count + 1 + place, 2 * count + 1 + place])
        lines.append(
            Line(
                exact(float(hz))
                .with_source(NOISE, _of(noise, turned))
                .with_source(NEIGHBOUR, np.array([SMALLEST_SHARE * placed_hz])),
                exact(size)
                .with_source(NOISE, _of(noise, spread))
                .with_source(NEIGHBOUR, np.array([SMALLEST_SHARE * size / ROOT_3])),
            )
        )
    return tuple(sorted(lines, key=lambda line: -line.size_si))


def _of(noise: float, variance: float) -> Array:
    return np.array([noise * np.sqrt(max(0.0, variance))])

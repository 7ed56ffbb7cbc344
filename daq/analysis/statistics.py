"""The mean of one window of readings, and what it is worth.

Readings on a stand are not independent: filters, vibration and the slow
wandering of a motor tie neighbours together, so the count of readings says
little. Here the effective count comes from the autocorrelation, a trend inside
the window is carried as a component, converter glitches are rejected and
counted. Nothing here chooses the window: a window chosen by its own readings
would make the uncertainty look too small.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from daq.analysis.measured import effective_dof
from daq.analysis.series import Array

#: Fewer good readings than this are no plateau.
MIN_READINGS = 3
#: Longer windows are cut into this many blocks before they are correlated.
MAX_BLOCKS = 512
#: Readings from which the median rule takes its scale.
MAX_MEDIAN_READINGS = 501
#: Beyond this many robust standard deviations a reading is suspect. A normal
#: reading does so once in 5e8.
GLITCH_SIGMA = 6.0
#: ... and it must also be this many counts away, so that a converter that
#: hardly ever changes is not stripped of its honest last bit.
GLITCH_COUNTS = 4.0
#: An excursion of more conversions than this is an event, not a glitch.
GLITCH_CONVERSIONS = 3
#: ... and so is one that lasts longer than this share of the window.
GLITCH_SHARE = 0.05
#: The median absolute deviation of a normal distribution is 0.6745 sigma.
MAD_TO_SIGMA = 1.482602218505602
#: Readings of a window that are looked at for the converter's step.
MAX_STEP_READINGS = 4096
#: Readings this close to a window's median, as a share of it, tell what a step of
#: the converter is there ...
STEP_NEARBY = 0.02
#: ... if they take at least this many different values.
STEP_VALUES = 5
#: Batches over which MSER runs (White 1997 uses batches of five).
MSER_BATCH = 5
#: The iteration for the correlation time stops when it changes by less.
SETTLED_TAU = 1e-3
#: A trend this many of its standard uncertainties away from zero is real.
TREND_SIGMA = 3.0


@dataclass(frozen=True, slots=True)
class WindowMean:
    """The mean over one window.

    Attributes:
        mean: NaN when there are fewer than ``MIN_READINGS`` good readings.
        u: Random standard uncertainty: scatter, trend and resolution together.
        dof: Effective degrees of freedom of ``u``.
        scatter_u: Standard uncertainty from scatter alone (type A).
        trend_u: From the trend inside the window.
        resolution_u: From one count, where the scatter is too small to blur it.
        sd: Standard deviation of single readings about the trend.
        count: Good readings.
        n_eff: Independent readings worth as much.
        lost: Readings that were NaN.
        glitches: Readings rejected by the median rule.
        change: How far the trend moved the channel over the window.
        trending: Whether that trend stands out from the scatter.
        late: Whether there is a trend and MSER, too, would cut away more than
            half of the window.
        excursion: Whether a long excursion was left in.
    """

    mean: float
    u: float
    dof: float
    scatter_u: float
    trend_u: float
    resolution_u: float
    sd: float
    count: int
    n_eff: float
    lost: int
    glitches: int
    change: float
    trending: bool
    late: bool
    excursion: bool


def window_mean(t_s: Array, value: Array, resolution: float) -> WindowMean:
    """Mean of correlated readings with its uncertainty.

    The mean is taken over all good readings. A straight line through them gives
    the trend b; over a window of length L the channel moved by b L, and a value
    somewhere on that slope has the standard uncertainty |b| L / sqrt(12)
    (rectangular, GUM 4.3.7), from which the part that scatter alone would feign
    is taken. Scatter about the line gives the type A part with the effective
    count of ``correlation_time``. One count counts as sqrt(1/12) (GUM F.2.2.1)
    unless the scatter is above half a count, when averaging sees through it.

    Args:
        t_s: Times, shape (n,).
        value: Readings, shape (n,); NaN is no reading.
        resolution: One count in the unit of ``value``; 0 if not known.

    Returns:
        The mean and its parts; NaN with what was counted when there is too
        little to average.
    """
    good = np.isfinite(value)
    lost = int(value.size - np.count_nonzero(good))
    if lost:
        t_s, value = t_s[good], value[good]
    bad, excursion = glitches(t_s, value, resolution)
    rejected = int(np.count_nonzero(bad))
    if rejected:
        t_s, value = t_s[~bad], value[~bad]
    if value.size < MIN_READINGS:
        return _nothing(value.size, lost, rejected)
    return _mean_of_good(t_s, value, resolution, (lost, rejected), excursion=excursion)


def glitches(
    t_s: Array, value: Array, resolution: float
) -> tuple[NDArray[np.bool_], bool]:
    """Converter glitches by a median rule.

    A line through the medians of the two halves of the window is taken off; a
    reading further than ``GLITCH_SIGMA`` robust standard deviations (median
    absolute deviation, Hampel 1974) and ``GLITCH_COUNTS`` counts from it is
    suspect. It is a glitch if it stands alone or nearly so: at most
    ``GLITCH_CONVERSIONS`` different values in a row, since a slow converter's
    bad value is repeated in a fast stream, and those for no more than
    ``GLITCH_SHARE`` of the window. A longer excursion is something that
    happened, and stays in.

    Args:
        t_s: Times, shape (n,).
        value: Readings without NaN, shape (n,).
        resolution: One count; 0 if not known.

    Returns:
        A mask of glitches, shape (n,), and whether a longer excursion was seen.
    """
    none = np.zeros(value.size, dtype=np.bool_)
    if value.size < 2 * MIN_READINGS:
        return none, False
    stride = -(-value.size // MAX_MEDIAN_READINGS)
    few_t, few = t_s[::stride], value[::stride]
    half = few.size // 2
    span_s = float(np.mean(few_t[half:]) - np.mean(few_t[:half]))
    rise = float(np.median(few[half:]) - np.median(few[:half]))
    slope = rise / span_s if span_s > 0 else 0.0
    residual = t_s - t_s[0]
    residual *= -slope
    residual += value
    few_residual = residual[::stride]
    middle = float(np.median(few_residual))
    scale = MAD_TO_SIGMA * float(np.median(np.abs(few_residual - middle)))
    limit = max(GLITCH_SIGMA * scale, GLITCH_COUNTS * resolution)
    if limit <= 0:
        return none, False
    residual -= middle
    out = np.abs(residual, out=residual) > limit
    if not out.any():
        return none, False
    return _short_runs(out, value)


def _short_runs(out: NDArray[np.bool_], value: Array) -> tuple[NDArray[np.bool_], bool]:
    """Keep of a mask only the runs of few different values."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], out, [False]))))
    mask = np.zeros(out.size, dtype=np.bool_)
    long_seen = False
    for start, end in edges.reshape(-1, 2):
        conversions = 1 + int(np.count_nonzero(np.diff(value[start:end])))
        short = end - start <= max(GLITCH_CONVERSIONS, GLITCH_SHARE * value.size)
        if short and conversions <= GLITCH_CONVERSIONS:
            mask[start:end] = True
        else:
            long_seen = True
    return mask, long_seen


def distinct(value: Array) -> Array:
    """Different readings, rising, those that are none left out."""
    seen = np.unique(value)
    return np.asarray(seen[np.isfinite(seen)], dtype=np.float64)


def step_nearby(passed: Array, window: Array, resolution: float) -> float:
    """The step by which a channel really moves near a window's level.

    A count may be finer than what stands behind it: a speed told in counts of
    1 rpm may come in steps of 10, from a controller that counts hundreds of
    electrical rpm. Such a step is no excursion, and it is what one reading can
    resolve. It is taken from the window and from what passes its level elsewhere, on
    the ramps.

    Args:
        passed: Different readings of the channel outside of its windows, rising,
            shape (n,).
        window: Readings of the window, shape (m,); NaN is no reading.
        resolution: One count; 0 if not known.

    Returns:
        The smallest distance between values seen near the level, never below
        ``resolution``; ``resolution`` where too few different values were seen.
    """
    few = window[:: -(-window.size // MAX_STEP_READINGS) or 1]
    few = few[np.isfinite(few)]
    if not few.size:
        return resolution
    level = float(np.median(few))
    reach = STEP_NEARBY * abs(level)
    first, last = np.searchsorted(passed, (level - reach, level + reach))
    inside = few[np.abs(few - level) <= reach]
    seen = np.unique(np.concatenate((passed[first:last], inside)))
    if seen.size < STEP_VALUES:
        return resolution
    return max(resolution, float(np.diff(seen).min()))


def correlation_time(residual: Array, fitted: int = 1) -> float:
    """Integrated autocorrelation time, in readings.

    The variance of a mean of n readings is sd^2 tau / n with
    tau = 1 + 2 (rho_1 + rho_2 + ...). The sum stops where a pair of
    neighbouring autocorrelations is no longer above nothing and pairs are not let
    rise again (initial monotone sequence, C. J. Geyer, Practical Markov chain
    Monte Carlo, Statistical Science 7, 1992, 473-483). Taking off a mean or a
    line lowers every autocovariance by about ``fitted`` times the variance of
    the mean; that is put back, by iteration, or short windows would look
    better than they are. Never below 1: a mean is not made better by ringing.

    Args:
        residual: Readings about their mean or line, shape (n,).
        fitted: Parameters that were fitted to them.

    Returns:
        tau, from 1 to n/3.
    """
    n = residual.size
    covariances = _autocovariances(residual)
    if n < 2 * MIN_READINGS or covariances[0] <= 0:
        return 1.0
    pairs_n = n // 2
    tau = 1.0
    missing = float(covariances[0]) * fitted / n
    # What a pair is by the finite length and the putting back alone.
    nothing = 2.0 * (fitted + 1) / n
    for _ in range(6):
        rho = (covariances + missing) / (covariances[0] + missing)
        pairs = rho[: 2 * pairs_n].reshape(pairs_n, 2).sum(axis=1)
        stop = np.flatnonzero(pairs <= nothing)
        kept = np.minimum.accumulate(pairs[: stop[0]] if stop.size else pairs)
        before, tau = tau, min(max(1.0, 2.0 * float(kept.sum()) - 1.0), n / 3)
        if abs(tau - before) < SETTLED_TAU * tau:
            break
        share = fitted * tau / n
        missing = float(covariances[0]) * share / (1.0 - min(0.5, share))
    return tau


def mser_truncation(value: Array) -> int:
    """Readings that MSER would cut off the front of a window.

    The marginal standard error rule, over batches of five: the cut that
    minimises sum((x - mean)^2) / m^2 over the m batches that remain (K. P.
    White, An effective truncation heuristic for bias reduction in simulation
    output, Simulation 69, 1997, 323-334). Used to flag, never to cut.

    Args:
        value: Readings without NaN, shape (n,).

    Returns:
        Number of readings; 0 for windows of fewer than four batches.
    """
    size = max(MSER_BATCH, value.size // MAX_BLOCKS)
    batches = _blocks(value, size)
    if batches.size < 4:
        return 0
    centred = batches - batches.mean()
    left = np.arange(batches.size, 0, -1, dtype=np.float64)
    total = np.cumsum(centred[::-1])[::-1]
    squares = np.cumsum(centred[::-1] ** 2)[::-1]
    error = np.maximum(squares - total**2 / left, 0.0) / left**2
    # The last few batches always agree with each other by chance.
    return int(np.argmin(error[: batches.size - 2])) * size


def _mean_of_good(
    t_s: Array,
    value: Array,
    resolution: float,
    dropped: tuple[int, int],
    *,
    excursion: bool,
) -> WindowMean:
    mean = float(value.mean())
    residual = value - mean
    # Not by ``@``: threads that wait for a busy core cost more than they save.
    variance = float(np.einsum("i,i", residual, residual)) / value.size
    # What the mean of a window is worth depends on what happens over long times only.
    size = -(-value.size // MAX_BLOCKS)
    blocks, blocks_s = _blocks(residual, size), _blocks(t_s, size)
    blocks_s = blocks_s - blocks_s.mean()
    length_s = float(t_s[-1] - t_s[0])
    slope = None if value.size < 2 * MIN_READINGS else _slope(blocks_s, blocks)
    fitted = 1
    if slope is not None:
        blocks = blocks - slope * blocks_s
        variance = max(
            0.0, variance - slope**2 * float(blocks_s @ blocks_s) / blocks.size
        )
        fitted = 2
    n_eff, sd = _effective(blocks, size, value.size, variance, fitted)
    scatter_u = sd / math.sqrt(n_eff)
    # Slope of a line through n_eff readings spread evenly over the window.
    change = 0.0 if slope is None else slope * length_s
    change_u = math.sqrt(12.0) * scatter_u
    trend_u = math.sqrt(max(0.0, change**2 - change_u**2) / 12.0)
    blurred = sd >= resolution / 2
    resolution_u = 0.0 if blurred else resolution / math.sqrt(12.0)
    trending = abs(change) > TREND_SIGMA * change_u + resolution
    parts = (scatter_u, trend_u, resolution_u)
    return WindowMean(
        mean=mean,
        u=math.sqrt(sum(part**2 for part in parts)),
        dof=effective_dof(parts, (max(1.0, n_eff - fitted), np.inf, np.inf)),
        scatter_u=scatter_u,
        trend_u=trend_u,
        resolution_u=resolution_u,
        sd=sd,
        count=value.size,
        n_eff=n_eff,
        lost=dropped[0],
        glitches=dropped[1],
        change=change,
        trending=trending,
        late=trending and mser_truncation(value) > value.size / 2,
        excursion=excursion,
    )


def _slope(offset_s: Array, residual: Array) -> float | None:
    """Least-squares slope over times about their mean; None where all are one."""
    spread = float(offset_s @ offset_s)
    return float(offset_s @ residual) / spread if spread > 0 else None


def _effective(
    blocks: Array, size: int, count: int, variance: float, fitted: int
) -> tuple[float, float]:
    """Effective count, and standard deviation of single readings.

    Args:
        blocks: Means of so many readings each, about their mean or line.
        size: Readings in a block.
        count: Readings in all.
        variance: Of single readings about the same.
        fitted: Parameters that were fitted.
    """
    tau = correlation_time(blocks, fitted)
    block_variance = float(blocks @ blocks) / blocks.size
    if variance <= 0:
        return float(count), 0.0
    # tau in readings: what n * var(mean) is, over the variance of one reading.
    tau_readings = max(1.0, tau * size * block_variance / variance)
    n_eff = count / tau_readings
    # The fit took its share of the variance away (Bayley and Hammersley 1946).
    share = min(0.8, fitted / n_eff)
    return n_eff, math.sqrt(variance / (1.0 - share))


def _blocks(value: Array, size: int) -> Array:
    count = value.size // size
    blocks = value[: count * size].reshape(count, size)
    return np.asarray(blocks.mean(axis=1), dtype=np.float64)


def _autocovariances(residual: Array) -> Array:
    """Autocovariances at lag 0 to n-1, by Fourier transform, over n."""
    n = residual.size
    padded = 1 << (2 * n - 1).bit_length()
    spectrum = np.fft.rfft(residual, padded)
    power = spectrum.real**2 + spectrum.imag**2
    return np.asarray(np.fft.irfft(power, padded)[:n] / n, dtype=np.float64)


def _nothing(count: int, lost: int, rejected: int) -> WindowMean:
    nan = math.nan
    return WindowMean(
        mean=nan,
        u=nan,
        dof=1.0,
        scatter_u=nan,
        trend_u=nan,
        resolution_u=nan,
        sd=nan,
        count=count,
        n_eff=float(count),
        lost=lost,
        glitches=rejected,
        change=nan,
        trending=False,
        late=False,
        excursion=False,
    )

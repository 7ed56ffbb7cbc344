"""Ripple of a fast capture: what is quick about it, how large, and in which band.

What is slow (the dip of a punch, the pack's answer) is a smooth curve through the
samples, local lines by a Gaussian weight, which lets half of the split frequency
through; ripple is the rest. Where the capture goes from one state to another at once it
is cut there, and the state with more ripple counts. Everything that reaches the
converter is in it, also what is faster than half of its rate and folds; ``aliases``
takes two captures to tell that apart.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from daq.analysis.captures import Capture
from daq.analysis.lines import Line, find_lines
from daq.analysis.measured import Measured, Source
from daq.analysis.series import Array
from daq.analysis.statistics import correlation_time
from daq.analysis.transient import Transient, read_transient

#: What is slower than this is no ripple, where the capture lets one choose.
SPLIT_HZ: Final = 1_000.0
#: The split is not below so many times one over the span, ...
SPLIT_SPANS: Final = 4.0
#: ... nor above this share of half the rate.
SPLIT_NYQUIST: Final = 0.25
#: Lines smaller than this share of a step are left aside.
SMALLEST_STEPS: Final = 0.05
#: Samples without which nothing is read.
FEWEST: Final = 48
#: Stretches whose ripple is compared, for its uncertainty.
PARTS: Final = 8
#: Cut where the ripple on one side is so many times that on the other, or where the
#: level jumps by so many times the ripple.
OTHER_STATE: Final = 2.0
JUMP: Final = 4.0
#: A jump is looked for over this many spans of the split, and is so many times the
#: most that there is elsewhere.
JUMP_SPANS: Final = 0.1
OUT_OF_PLACE: Final = 2.0
#: Left out on either side of a cut, and at the ends, in spans of the split.
GUARD_SPANS: Final = 0.3
#: Reach of the Gaussian weight in its standard deviations.
REACH: Final = 4.0
#: Rounding of a line is no noise: it goes round with it, and makes its amplitude wrong
#: by a share of a step that falls with the root of their ratio (N. M. Blachman, The
#: intermodulation and distortion due to quantization of sinusoids, IEEE Trans. ASSP 33,
#: 1985, from memory). This much of it at one step.
ROUNDING_SHARE: Final = 0.2

SPREAD: Final = "ripple from part to part"
ROUNDING: Final = "steps of the converter"


@dataclass(frozen=True, slots=True)
class Ripple:
    """What is quick about a capture.

    Attributes:
        capture: Of what.
        split_hz: What is slower was taken off; there half is left.
        band_hz: From and to which frequency it holds.
        stretch_s: From when to when of the capture, by its trigger.
        seen: Samples in it.
        rms_si: Root mean square, one value.
        peak_to_peak_si: Highest less lowest sample, one value.
        lines: Its largest lines, the largest first.
        slow_si: The slow curve, shape (n,); NaN where there is none.
        quick_si: The samples less the slow curve, shape (n,).
        transient: What the capture went through; None where it stayed as it was.
    """

    capture: Capture
    split_hz: float
    band_hz: tuple[float, float]
    stretch_s: tuple[float, float]
    seen: int
    rms_si: Measured
    peak_to_peak_si: Measured
    lines: tuple[Line, ...]
    slow_si: Array
    quick_si: Array
    transient: Transient | None


def read_ripple(capture: Capture) -> Ripple | None:
    """The ripple of a capture; None where it has too few samples for any."""
    value, period_s = capture.value_si, capture.period_s
    if int(np.isfinite(value).sum()) < FEWEST:
        return None
    span_s, half_hz = value.size * period_s, 0.5 / period_s
    split_hz = min(
        max(SPLIT_HZ, SPLIT_SPANS / span_s), max(SPLIT_NYQUIST * half_hz, 1.0 / span_s)
    )
    jump = _jump(value, split_hz * period_s, capture.step_si)
    cut = _cut(value, split_hz * period_s) if jump is None else jump
    guard = round(GUARD_SPANS / (split_hz * period_s))
    parts = [slice(0, value.size)]
    if cut is not None:
        parts = [slice(0, cut), slice(cut, value.size)]
    slow = np.concatenate([_slow(value[p], split_hz * period_s) for p in parts])
    quick = value - slow
    if cut is None:
        parts = _by_trigger(capture, quick)
    stretch = _loudest(quick, parts, guard)
    inside = quick[stretch]
    known = inside[np.isfinite(inside)]
    if known.size < FEWEST // 2:
        return None
    lines = find_lines(inside, period_s, split_hz, SMALLEST_STEPS * capture.step_si)
    times_s = capture.t_s[stretch]
    return Ripple(
        capture=capture,
        split_hz=split_hz,
        band_hz=(split_hz, half_hz),
        stretch_s=(float(times_s[0]), float(times_s[-1])),
        seen=int(known.size),
        rms_si=_rms(known, capture.step_si),
        peak_to_peak_si=_peak_to_peak(known, capture.step_si),
        lines=tuple(_whole(line, split_hz, capture.step_si) for line in lines),
        slow_si=slow,
        quick_si=quick,
        transient=read_transient(capture, slow, jump, guard),
    )


def _slow(value: Array, split: float) -> Array:
    """Local lines through samples, weighted by a Gaussian.

    ``split`` is in cycles a sample.
    """
    sigma = math.sqrt(2.0 * math.log(2.0)) / (2.0 * math.pi * split)
    reach = min(math.ceil(REACH * sigma), value.size - 1)
    offset = np.arange(-reach, reach + 1, dtype=np.float64)
    weight = np.exp(-0.5 * (offset / sigma) ** 2)
    there = np.isfinite(value)
    known = np.where(there, value, 0.0)

    def sums(of: Array, power: int) -> Array:
        # np.convolve turns the kernel round: odd moments change their sign.
        kernel = (-1.0) ** power * weight * offset**power
        full = np.convolve(of, kernel, mode="full")
        return np.asarray(full[reach : reach + of.size])

    s0, s1, s2 = (sums(there.astype(np.float64), power) for power in range(3))
    t0, t1 = (sums(known, power) for power in range(2))
    below = s0 * s2 - s1**2
    with np.errstate(divide="ignore", invalid="ignore"):
        line = (s2 * t0 - s1 * t1) / below
        mean = t0 / s0
    return np.where(below > 1e-9 * s0 * s2, line, mean)


def _jump(value: Array, split: float, step: float) -> int | None:
    """Where the level jumps; None where it does not.

    Means of short stretches on either side of each sample, how far these are apart
    beside it taken off (a slope is no jump), against the most that there is elsewhere.
    """
    known = np.flatnonzero(np.isfinite(value))
    wide = max(4, round(JUMP_SPANS / split))
    if known.size < 8 * wide:
        return None
    total = np.concatenate(([0.0], np.cumsum(value[known])))
    means = (total[wide:] - total[:-wide]) / wide
    differ = means[wide:] - means[:-wide]
    apart = np.zeros(differ.size)  # at the ends there is nothing beside it
    beside = differ[: -4 * wide] + differ[4 * wide :]
    apart[2 * wide : -2 * wide] = np.abs(differ[2 * wide : -2 * wide] - 0.5 * beside)
    place = int(np.argmax(apart))
    elsewhere = np.abs(np.arange(apart.size) - place) > 3 * wide
    most = float(apart[elsewhere].max(initial=0.0))
    if apart[place] <= max(OUT_OF_PLACE * most, 2.0 * step):
        return None
    return int(known[place + wide])


def _cut(value: Array, split: float) -> int | None:
    """Where one state becomes another, more or less quickly; None where it does not.

    The place that best parts the samples into two of different mean and scatter
    (D. V. Hinkley, Inference about the change-point, Biometrika 57, 1970, from memory),
    believed only where both sides are long and they are plainly not alike.
    """
    known = np.flatnonzero(np.isfinite(value))
    x = value[known] - value[known].mean()
    least = max(FEWEST // 2, round(1.0 / split))
    if known.size < 2 * least + 2:
        return None
    count = np.arange(1, known.size + 1)
    total, squares = np.cumsum(x), np.cumsum(x**2)
    tiny = 1e-12 * squares[-1] / known.size + 1e-300
    left = np.maximum(squares / count - (total / count) ** 2, tiny)
    rest = np.maximum(count[-1] - count, 1)
    right = (squares[-1] - squares) / rest - ((total[-1] - total) / rest) ** 2
    cost = count * np.log(left) + rest * np.log(np.maximum(right, tiny))
    place = least + int(np.argmin(cost[least : known.size - least]))
    sides = (x[: place + 1], x[place + 1 :])
    near = [sides[0][-least:], sides[1][:least]]
    loud = [float(np.diff(side).std()) for side in near]
    jump = abs(float(near[0][-least // 2 :].mean() - near[1][: least // 2].mean()))
    apart = max(loud) > OTHER_STATE * min(loud) + tiny
    if apart or jump > JUMP * max(float(side.std()) for side in near):
        return int(known[place + 1])
    return None


def _by_trigger(capture: Capture, quick: Array) -> list[slice]:
    """Before and after the trigger, where the ripple is plainly not alike."""
    whole, at = slice(0, quick.size), int(np.searchsorted(capture.t_s, 0.0))
    sides = [slice(0, at), slice(at, quick.size)]
    counts = [int(np.isfinite(quick[side]).sum()) for side in sides]
    if min(counts) < FEWEST:
        return [whole]
    sizes = [float(np.nanstd(quick[side])) for side in sides]
    return sides if max(sizes) > OTHER_STATE * min(sizes) else [whole]


def _loudest(quick: Array, parts: list[slice], guard: int) -> slice:
    """The part with the most ripple, without its ends.

    Beside an end or a cut the slow curve leans on one side alone and takes ripple with
    it.
    """
    inner = [slice(part.start + guard, part.stop - guard) for part in parts]
    sizes = [
        float(np.nanstd(quick[part])) if np.isfinite(quick[part]).sum() > 1 else -1.0
        for part in inner
    ]
    return inner[int(np.argmax(sizes))]


def _rms(known: Array, step: float) -> Measured:
    """Root mean square without what rounding adds (JCGM 100:2008, F.2.2.1).

    Its uncertainty is the larger of two: by the means of some parts, and by the
    samples' own correlation.
    """
    square = float((known**2).mean())
    parts = np.array([float((p**2).mean()) for p in np.array_split(known, PARTS)])
    by_parts = float(parts.std(ddof=1)) / math.sqrt(PARTS)
    tau = correlation_time(known**2 - square)
    by_samples = float((known**2).std()) * math.sqrt(tau / known.size)
    rounding = step**2 / 12.0
    left = max(square - rounding, 0.0)
    rms = math.sqrt(left)
    # Where little is left the square is what is known, and the root is bounded by it.
    over = 2.0 * max(rms, math.sqrt(max(by_parts, by_samples, rounding * 0.1)), 1e-300)
    return _with(rms, max(by_parts, by_samples) / over, _rounded(rms, step))


def _rounded(size: float, step: float) -> float:
    """Standard uncertainty of an amplitude by the steps of the converter."""
    return ROUNDING_SHARE * step * math.sqrt(step / max(size, step))


def _with(value: float, spread: float, rounded: float) -> Measured:
    """A figure of parts that scatter, and of samples that are rounded."""
    scatter = Source(np.array([spread]), np.array([PARTS - 1.0]))
    steps = Source(np.array([rounded]), np.array([math.inf]))
    return Measured(np.array([value]), {SPREAD: scatter, ROUNDING: steps})


def _peak_to_peak(known: Array, step: float) -> Measured:
    """Of all samples; as uncertain as the extremes of its parts are."""
    parts = np.array_split(known, PARTS)
    highs = np.array([part.max() for part in parts])
    lows = np.array([part.min() for part in parts])
    spread = math.hypot(float(highs.std(ddof=1)), float(lows.std(ddof=1)))
    swing = float(known.max() - known.min())
    return _with(swing, spread, step / math.sqrt(6.0))


def _whole(line: Line, split_hz: float, step: float) -> Line:
    """What taking off the slow curve took off the line put back."""
    kept = 1.0 - 0.5 ** ((line.hertz / split_hz) ** 2)
    size = line.amplitude_si
    sources = {
        name: source.scaled(np.array([1.0 / kept]))
        for name, source in size.sources.items()
    }
    rounded = np.array([_rounded(line.size_si, step)])
    whole = Measured(size.value / kept, sources)
    return replace(line, amplitude_si=whole.with_source(ROUNDING, rounded))

"""Whether supply noise can be told apart between two articles, by runs of each.

With and without a capacitor, say. A figure a run; runs scatter by more than any one of
them knows of itself, so their scatter is the yardstick, and without it there is no
verdict. It holds for the band of the captures and says nothing of what lies beyond.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from daq.analysis.measured import Measured, Source, averaged, combine
from daq.analysis.noise import POOLED, Figure
from daq.analysis.noised import hertz_text
from daq.analysis.remounting import Reproducibility, scatter_of
from daq.analysis.ripple import ROUNDING, SPREAD
from daq.analysis.rounding import figure, with_interval
from daq.analysis.transient import LEVEL, PEAKS

#: Sources that are each capture's own: their scatter from run to run stands for them.
OWN: Final = (SPREAD, ROUNDING, POOLED, PEAKS, LEVEL)
#: Captures whose periods differ by more than this share are not compared.
SAME_PERIOD: Final = 0.01
#: How a figure is read: its name, and less and more of it.
READ: Final = {
    "ripple": ("ripple (rms)", "less", "more"),
    "ripple peak to peak": ("ripple (peak to peak)", "less", "more"),
    "dip": ("dip under the punch", "a smaller", "a deeper"),
    "overshoot": ("overshoot after the chop", "a smaller", "a larger"),
}

#: From here on a ratio is told in times.
TIMES_FROM: Final = 2.0
#: Limits further apart than this say nothing of a ratio.
MOST_APART: Final = 10.0

Verdict = Literal["less", "more", "cannot tell", "no verdict"]


@dataclass(frozen=True, slots=True)
class NoiseDifference:
    """The second article against the first, in one figure.

    Attributes:
        what: Which figure, a key of ``READ``.
        channel: Of which channel.
        band_hz: The band that it holds for.
        first_si: Mean of the first article's runs.
        second_si: Mean of the second's.
        ratio: Second over first: value, low and high limit; the limits are NaN
            without a scatter.
        runs: How many of the first and of the second.
        reproducibility: The scatter of runs; None without one.
        verdict: What follows for the second.
    """

    what: str
    channel: str
    band_hz: tuple[float, float]
    first_si: float
    second_si: float
    ratio: tuple[float, float, float]
    runs: tuple[int, int]
    reproducibility: Reproducibility | None
    verdict: Verdict


def hold_apart(
    first: Sequence[Figure], second: Sequence[Figure]
) -> NoiseDifference | None:
    """One figure of two articles; None where it cannot be compared.

    Args:
        first: Of each run of the first article, the same figure.
        second: Of each run of the second. Sources of scales are named as in a
            comparison of runs: what is called the same cancels.

    Returns:
        None where an article has none, where the captures were not taken at one
        rate, or where a figure is not above zero.
    """
    every = [*first, *second]
    if not first or not second or not _alike(every):
        return None
    if any(float(one.value.value[0]) <= 0.0 for one in every):
        return None
    logs = [
        [math.log(float(one.value.value[0])) for one in group]
        for group in (first, second)
    ]
    ratio = math.exp(float(np.mean(logs[1]) - np.mean(logs[0])))
    scatter = scatter_of([[np.array([x]) for x in group] for group in logs])
    found, limits, verdict = None, (math.nan, math.nan), "no verdict"
    if scatter is not None:
        sd, dof = max(scatter[0], _own_rel(every)), scatter[1]
        words = "the scatter of these runs"
        found = Reproducibility(sd, dof, words)
        half = _half_width(first, second, found)
        limits = (ratio * math.exp(-half), ratio * math.exp(half))
        verdict = "cannot tell"
        if limits[1] < 1.0:
            verdict = "less"
        elif limits[0] > 1.0:
            verdict = "more"
    return NoiseDifference(
        what=every[0].what,
        channel=every[0].channel,
        band_hz=every[0].band_hz,
        first_si=math.exp(float(np.mean(logs[0]))),
        second_si=math.exp(float(np.mean(logs[1]))),
        ratio=(ratio, *limits),
        runs=(len(first), len(second)),
        reproducibility=found,
        verdict=verdict,  # type: ignore[arg-type]
    )


def _alike(figures: Sequence[Figure]) -> bool:
    """Whether all are one figure of one channel at one rate."""
    one = figures[0]
    return all(
        (each.what, each.channel) == (one.what, one.channel)
        and abs(each.period_s / one.period_s - 1.0) <= SAME_PERIOD
        for each in figures
    )


def _is_own(name: str) -> bool:
    return name.startswith(OWN)


def _own_rel(figures: Sequence[Figure]) -> float:
    """What a run knows of its own uncertainty, typically.

    Few runs may agree by chance.
    """
    squares = [
        sum(float(s.variance()[0]) for n, s in one.value.sources.items() if _is_own(n))
        / float(one.value.value[0]) ** 2
        for one in figures
    ]
    return math.sqrt(float(np.mean(squares)))


def _half_width(
    first: Sequence[Figure], second: Sequence[Figure], found: Reproducibility
) -> float:
    """Half of the interval of the logarithm of the ratio."""
    means = [averaged([_shared(one.value) for one in g]) for g in (first, second)]
    ways = (-1.0, 1.0)
    apart = combine(
        np.zeros(1),
        [(np.array([w]), mean) for w, mean in zip(ways, means, strict=True)],
    )
    u = found.sd_rel * math.sqrt(1.0 / len(first) + 1.0 / len(second))
    runs = Source(np.array([[u]]), np.array([found.dof]))
    whole = Measured(apart.value, {**apart.sources, "runs": runs})
    return float(whole.half_width()[0])


def _shared(value: Measured) -> Measured:
    """Its logarithm, with what is not its own."""
    size = float(value.value[0])
    sources = {
        name: source.scaled(np.array([1.0 / size]))
        for name, source in value.sources.items()
        if not _is_own(name)
    }
    return Measured(np.array([math.log(size)]), sources)


def noise_verdict(difference: NoiseDifference, first: str, second: str) -> str:
    """Whether the two can be told apart, a sentence; for the band alone."""
    what, less, more = READ.get(difference.what, (difference.what, "less", "more"))
    low_hz, high_hz = difference.band_hz
    band = f"between {hertz_text(low_hz)} and {hertz_text(high_hz)} only"
    ratio, low, high = difference.ratio
    figures = f"{_milli(difference.second_si)} against {_milli(difference.first_si)}"
    unit = "mV" if difference.channel == "voltage" else "mA"
    if difference.verdict == "no verdict":
        return (
            f"No verdict on {what}: {second} and {first} had {figures} {unit}, {band}, "
            "but each was run once, and what another run does is not known."
        )
    told = f"{figures} {unit}{_times(ratio, low, high)}, {band}"
    if difference.verdict == "cannot tell":
        return f"{second} and {first} cannot be told apart in {what}: {told}."
    way = less if difference.verdict == "less" else more
    return f"{second} has {way} {what} than {first}: {told}."


def _times(ratio: float, low: float, high: float) -> str:
    """The ratio, as a share where it is small, and not at all where nobody knows it."""
    if high > MOST_APART * low:
        return " in these runs, which scatter by more than that"
    if high < TIMES_FROM:
        return f", {with_interval(100 * ratio, 100 * low, 100 * high, '%', 0.95)} of it"
    told = with_interval(ratio, low, high, "", 0.95).replace(" (", " times as much (")
    return f", {told}"


def _milli(value: float) -> str:
    return figure(1e3 * value)

"""Supply noise of a run: its fast captures, read, pooled and held against each other.

Ripple of each capture, pairs at two rates, and the few figures that runs are compared
by. Values in, values out; the words are in ``noised``.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from daq.analysis.aliases import Aliases, tell_apart
from daq.analysis.captures import Capture
from daq.analysis.measured import Measured, Source
from daq.analysis.ripple import Ripple, read_ripple
from daq.analysis.series import Series
from daq.analysis.transient import Transient

#: Labels by how well their ripple is defined: a level is held, a chop leaves one, a
#: punch comes to one.
LABELS: Final[Mapping[str, int]] = {
    "level": 0,
    "cruise": 0,
    "burst": 0,
    "drop": 1,
    "chop": 1,
    "punch": 2,
}
POOLED: Final = "ripple from capture to capture"


@dataclass(frozen=True, slots=True)
class Group:
    """Captures of one channel, state and rate.

    Attributes:
        ripples: Of each of them, one or more.
        rms_si: Mean over them, one value.
        peak_to_peak_si: Mean over them, one value.
    """

    ripples: tuple[Ripple, ...]
    rms_si: Measured
    peak_to_peak_si: Measured

    @property
    def first(self) -> Ripple:
        """What they have in common, by the first."""
        return self.ripples[0]


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure that runs are compared by.

    Attributes:
        what: Of what, in words.
        channel: Of which channel.
        value: In the channel's SI unit, one value.
        band_hz: The band that it holds for.
        period_s: Of the captures.
    """

    what: str
    channel: str
    value: Measured
    band_hz: tuple[float, float]
    period_s: float


@dataclass(frozen=True, slots=True)
class Noise:
    """What the fast captures of a run say.

    Attributes:
        groups: Captures of one channel, state and rate together.
        aliases: Pairs of one channel and state at two rates.
    """

    groups: tuple[Group, ...]
    aliases: tuple[Aliases, ...]

    def loudest(self, channel: str) -> Group | None:
        """What the ripple of a channel is told by.

        The state that is defined best, then the widest band, and of several levels the
        one with the most ripple.
        """
        there = [g for g in self.groups if g.first.capture.channel == channel]
        if not there:
            return None
        return min(
            there,
            key=lambda group: _told_first(group.first, group.rms_si),
        )

    def change(self, channel: str, kind: str) -> tuple[Ripple, Transient] | None:
        """The largest dip or rise of a channel, and the capture that it is in."""
        there = [
            (ripple, ripple.transient)
            for group in self.groups
            for ripple in group.ripples
            if ripple.capture.channel == channel
            and ripple.transient is not None
            and ripple.transient.kind == kind
        ]
        if not there:
            return None
        return max(there, key=lambda one: float(one[1].depth_si.value[0]))

    def paired(self, channel: str) -> Aliases | None:
        """The pair of a channel with the widest band; None where there is none."""
        there = [
            a
            for a in self.aliases
            if a.faster.capture.channel == channel and a.faster.lines
        ]
        if not there:
            return None
        return min(
            there,
            key=lambda pair: _told_first(pair.faster, pair.faster.rms_si),
        )


def read_noise(
    captures: Sequence[Capture], series: Mapping[str, Series]
) -> Noise | None:
    """Everything that the captures of a run say; None where they say nothing.

    Args:
        captures: In the order in which they were taken.
        series: Channels of the run, for what is known of their scales.
    """
    found: dict[tuple[object, ...], list[Ripple]] = {}
    for capture in captures:
        ripple = read_ripple(capture)
        if ripple is None:
            continue
        channel = series.get(capture.channel)
        if channel is not None:
            ripple = with_scale(ripple, channel)
        key = (capture.channel, capture.label, capture.period_s)
        found.setdefault(key, []).append(ripple)
    if not found:
        return None
    groups = tuple(_grouped(ripples) for ripples in found.values())
    return Noise(groups, tuple(_pairs(groups)))


def figures(noise: Noise | None, channel: str = "voltage") -> dict[str, Figure]:
    """What runs are compared by, by name; only what this run has."""
    found: dict[str, Figure] = {}
    if noise is None:
        return found

    def put(what: str, ripple: Ripple, value: Measured) -> None:
        period_s = ripple.capture.period_s
        found[what] = Figure(what, channel, value, ripple.band_hz, period_s)

    group = noise.loudest(channel)
    if group is not None:
        put("ripple", group.first, group.rms_si)
        put("ripple peak to peak", group.first, group.peak_to_peak_si)
    for kind, what in (("dip", "dip"), ("rise", "overshoot")):
        change = noise.change(channel, kind)
        if change is not None:
            put(what, change[0], change[1].depth_si)
    return found


def with_scale(ripple: Ripple, channel: Series) -> Ripple:
    """The ripple with what is known of how wrong its channel's scale may be."""
    level = float(np.nanmean(ripple.capture.value_si))

    def scaled(value: Measured, zero: float = level) -> Measured:
        size = float(value.value[0])
        factors = channel.errors.factors(channel.name, [zero + size], zero)
        sources = {
            name: Source(one.factor, np.array([one.dof]))
            for name, one in factors.items()
        }
        return Measured(value.value, {**value.sources, **sources})

    change = ripple.transient
    if change is not None:
        change = replace(
            change,
            before_si=scaled(change.before_si, 0.0),
            after_si=scaled(change.after_si, 0.0),
            extreme_si=scaled(change.extreme_si, 0.0),
            depth_si=scaled(change.depth_si),
        )
    return replace(
        ripple,
        rms_si=scaled(ripple.rms_si),
        peak_to_peak_si=scaled(ripple.peak_to_peak_si),
        lines=tuple(
            replace(line, amplitude_si=scaled(line.amplitude_si))
            for line in ripple.lines
        ),
        transient=change,
    )


def _told_first(one: Ripple, rms_si: Measured) -> tuple[int, float, float]:
    """The state defined best, then the widest band, then the most ripple."""
    rank = LABELS.get(one.capture.label, len(LABELS))
    return rank, one.capture.period_s, -float(rms_si.value[0])


def _grouped(ripples: list[Ripple]) -> Group:
    return Group(
        tuple(ripples),
        _pooled([one.rms_si for one in ripples]),
        _pooled([one.peak_to_peak_si for one in ripples]),
    )


def _pooled(values: list[Measured]) -> Measured:
    """The mean of some captures: what they share stays, their own goes by scatter.

    What a capture knows of its own uncertainty is kept where that is larger.
    """
    count = len(values)
    if count == 1:
        return values[0]
    sizes = np.array([float(one.value[0]) for one in values])
    own = [name for name, one in values[0].sources.items() if not one.common]
    inside = sum(
        float(one.sources[name].variance()[0])
        for one in values
        for name in own
        if name in one.sources
    )
    shared = {n: s for n, s in values[0].sources.items() if n not in own}
    scatter = float(sizes.std(ddof=1)) / math.sqrt(count)
    u = max(scatter, math.sqrt(inside) / count)
    dof = count - 1.0 if scatter * count >= math.sqrt(inside) else math.inf
    pooled = Source(np.array([u]), np.array([dof]))
    return Measured(np.array([float(sizes.mean())]), {**shared, POOLED: pooled})


def _pairs(groups: tuple[Group, ...]) -> Iterable[Aliases]:
    """Each two rates of one channel and state, by their first captures."""
    for place, one in enumerate(groups):
        for other in groups[place + 1 :]:
            a, b = one.first.capture, other.first.capture
            if (a.channel, a.label) != (b.channel, b.label):
                continue
            pair = tell_apart(one.first, other.first)
            if pair is not None:
                yield pair

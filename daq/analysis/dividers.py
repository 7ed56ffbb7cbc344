"""The plug's drop as the difference of two dividers, one in front of it and one behind.

A stop-gap: two large readings, whose difference is small. What both dividers read at
rest is taken off together, so that offsets and the part of their gains that the pack's
voltage at rest shows cancel; what is left is how far their gains differ times the sag,
which looks like resistance of the plug and no fit can tell from it. So the errors of
both scales are carried, each by its name: what the two share (one meter) cancels.
Nothing here knows that the plug is a plug.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from daq.analysis.measured import Measured, combine
from daq.analysis.plateaus import ChannelMeans, Plateaus, average
from daq.analysis.scaled import scale_sources
from daq.analysis.series import BY_DIVIDERS, Array, Hold, Series

FRONT: Final = "pack-voltage"
BEHIND: Final = "voltage"
CHANNELS: Final = (FRONT, BEHIND)
#: A converter departs from its straight line by about a count, as a rectangular bound
#: at each voltage (data sheets of common 10 and 12 bit converters, from memory). Where
#: a calibration was made it says better.
BENT_COUNTS: Final = 1.0
BENT: Final = "bend of the converters"


def is_read(series: Mapping[str, Series]) -> bool:
    """Whether a stand reads the voltage on both sides."""
    return all(name in series for name in CHANNELS)


def difference(series: Mapping[str, Series]) -> Series:
    """Voltage in front less voltage behind, at the times of the seldomer.

    The other is averaged since the reading before; where it has none, there is none.
    """
    front, behind = series[FRONT], series[BEHIND]
    if front.t_s.size <= behind.t_s.size:
        t_s, value = front.t_s, front.value_si - _meanwhile(front.t_s, behind)
    else:
        t_s, value = behind.t_s, _meanwhile(behind.t_s, front) - behind.value_si
    return replace(
        front,
        name=BY_DIVIDERS,
        t_s=t_s,
        value_si=value,
        gain_u_rel=0.0,
        resolution_si=math.hypot(front.resolution_si, behind.resolution_si),
        scale=None,
    )


def _meanwhile(t_s: Array, channel: Series) -> Array:
    """Mean of a channel since the time before, at each time, shape as ``t_s``."""
    good = np.isfinite(channel.value_si)
    times_s, value = channel.t_s[good], channel.value_si[good]
    sums = np.concatenate(([0.0], np.cumsum(value)))
    last = np.searchsorted(times_s, t_s, side="right")
    first = np.concatenate((last[:1], last[:-1]))
    count = last - first
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 0, (sums[last] - sums[first]) / count, np.nan)


def average_difference(
    series: Mapping[str, Series], holds: Sequence[Hold], plateaus: Plateaus
) -> ChannelMeans:
    """The difference over all plateaus, with its null and what both scales may do.

    Args:
        series: Channels by name, both dividers among them.
        holds: Stretches of the run.
        plateaus: The averaged run.
    """
    wanted = {BY_DIVIDERS: difference(series)}
    if "speed" in series:
        wanted["speed"] = series["speed"]
    means = average(wanted, holds).channels[BY_DIVIDERS]
    ones = np.ones(means.measured.value.size)
    terms = [(ones, means.measured)]
    for name, sign in ((FRONT, ones), (BEHIND, -ones)):
        terms.append((sign, _scale_of(series[name], plateaus)))
    return replace(means, measured=combine(means.measured.value, terms))


def _scale_of(channel: Series, plateaus: Plateaus) -> Measured:
    """Errors of one divider's scale, rest taken off, about values of zero."""
    found = plateaus.channels[channel.name]
    middle_s = (plateaus.start_s + plateaus.end_s) / 2
    rests = found.rests
    zero = np.full(found.raw.size, np.nanmean(found.raw) if found.raw.size else 0.0)
    if rests.time_s.size:
        zero = np.interp(middle_s, rests.time_s, rests.value)
    sources = scale_sources(channel, found.raw, zero, plateaus.leg)
    nothing = Measured(np.zeros(found.raw.size), sources)
    if channel.scale is not None:
        return nothing
    bent = BENT_COUNTS * channel.resolution_si / math.sqrt(3.0)
    own = np.full(found.raw.size, bent)
    return nothing.with_source(f"{channel.name} {BENT}", own)

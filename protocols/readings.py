"""Raw counts to SI for the guard, with zeros taken while the motor rests.

Before a spin the stand is listened to while locked. What force and current
read then is their zero, for the limits sent to the stand and for the guard; a
zero that is implausible ends the run before anything was armed. The record
keeps raw counts, so nothing here can spoil the analysis.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from daq.link import messages as m
from daq.link.session import Sampled, Stand
from protocols.limits import Limit, brief, to_trade

ZEROED = (m.Quantity.FORCE, m.Quantity.CURRENT)
ZEROING_S = 1.5
# With the motor at rest a cell loaded to half its range leaves no room for thrust.
ZERO_SHARE_MAX = 0.5
PLUG_OUT_V = 1.0


@dataclass(slots=True)
class _Scale:
    """One guarded channel: where it stands in its stream, and what counts mean."""

    page: m.ChannelPage
    zero_counts: float

    def to_si(self, count: int) -> float:
        if count == self.page.no_reading:
            return math.nan
        return (count - self.zero_counts) / self.page.counts_per_unit


class Scales:
    """The guarded channels of one stand."""

    def __init__(self, stand: Stand, limits: tuple[Limit, ...]) -> None:
        self._limits = {limit.channel: limit for limit in limits}
        scales = {
            page.name: _Scale(page, page.zero_counts)
            for page in stand.channels
            if page.name in self._limits
        }
        self._scales = scales
        self._streams: list[list[tuple[int, str, _Scale]]] = [
            [
                (position, page.name, scales[page.name])
                for position, page in enumerate(layout.channels)
                if page.name in scales
            ]
            for layout in stand.layouts
        ]
        self._sums: dict[str, float] = dict.fromkeys(scales, 0.0)
        self._counts: dict[str, int] = dict.fromkeys(scales, 0)

    @property
    def missing(self) -> list[str]:
        """Channels that have a limit but that the stand does not have."""
        return [name for name in self._limits if name not in self._scales]

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The limits of channels that the stand has."""
        return tuple(self._limits[name] for name in self._scales)

    def values(self, sampled: Sampled) -> Iterator[tuple[str, float]]:
        """Guarded channels of one sample, in SI; NaN where there is no reading."""
        for position, name, scale in self._streams[sampled.stream]:
            yield name, scale.to_si(sampled.counts[position])

    def reading(self, index: int, count: int) -> tuple[Limit | None, float]:
        """The limit and the SI value of a count of the channel of that index."""
        for name, scale in self._scales.items():
            if scale.page.index == index:
                return self._limits[name], scale.to_si(count)
        return None, math.nan

    # ------------------------------------------------------------ zeroing

    def collect(self, sampled: Sampled) -> None:
        """Take a sample into the zeroing means."""
        for name, value in self.values(sampled):
            if math.isfinite(value):
                self._sums[name] += value
                self._counts[name] += 1

    def settle(self) -> Mapping[str, float]:
        """End the zeroing: shift zeros, and tell the means found, in SI."""
        means = {
            name: self._sums[name] / self._counts[name]
            if self._counts[name]
            else math.nan
            for name in self._scales
        }
        for name, scale in self._scales.items():
            if scale.page.quantity in ZEROED and math.isfinite(means[name]):
                scale.zero_counts += means[name] * scale.page.counts_per_unit
        return means

    def objection(self, means: Mapping[str, float]) -> str | None:
        """Why these means forbid a spin, in a sentence; None when they do not."""
        for name, mean in means.items():
            shown, unit = to_trade(name, mean)
            reads = f"With the motor off, {name} reads {brief(shown)} {unit}"
            limit, page = self._limits[name], self._scales[name].page
            if not math.isfinite(mean):
                return f"{name} gives no readings: look at its sensor and wiring."
            if page.quantity is m.Quantity.VOLTAGE and mean < PLUG_OUT_V:
                return f"{reads}: the arming plug is out or no pack is connected."
            if page.quantity in ZEROED:
                if abs(mean) > ZERO_SHARE_MAX * limit.high:
                    return (
                        f"{reads}, more than half of its limit: something leans on it, "
                        "it is not connected, or its constants are wrong."
                    )
            elif not limit.allows(mean):
                low, _ = to_trade(name, limit.low)
                high, _ = to_trade(name, limit.high)
                return (
                    f"{reads}, outside its limit of {brief(low)} to {brief(high)} "
                    f"{unit} ({limit.source})."
                )
        return None

    def wire_limits(self) -> m.Limits:
        """The limits in raw counts, rounded inwards, zeros included."""
        return m.Limits(
            tuple(
                _entry(scale, self._limits[name])
                for name, scale in self._scales.items()
            )
        )


def _entry(scale: _Scale, limit: Limit) -> m.LimitEntry:
    page = scale.page

    def counts(value: float) -> float:
        return value * page.counts_per_unit + scale.zero_counts

    bounds = sorted((counts(limit.low), counts(limit.high)))
    low = max(bounds[0], page.low_counts)
    high = min(bounds[1], page.high_counts)
    return m.LimitEntry(
        channel=page.index,
        low=math.ceil(low),
        high=math.floor(high),
        persistence=limit.persistence,
        max_age_10ms=max(1, round(limit.max_age_s * 1e3 / m.MAX_AGE_UNIT_MS)),
    )

"""Raw counts to SI for the guard, with zeros taken while the motor rests.

Before a spin the stand is listened to while locked. What force and current
read then is their zero, for the limits sent to the stand and for the guard; a
zero that is implausible ends the run before anything was armed. The record
keeps raw counts, so nothing here can spoil the analysis.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

from daq.link import messages as m
from daq.link.session import Sampled, Stand
from protocols.guard.readings import ReadingCheck
from protocols.limits import Limit, brief, to_trade
from protocols.task import NEEDED

ZEROED = (m.Quantity.FORCE, m.Quantity.CURRENT)
ZEROING_S = 1.5
# With the motor at rest a cell loaded to half its range leaves no room for thrust.
ZERO_SHARE_MAX = 0.5
PLUG_OUT_V = 1.0

# Looked at by the guard even where they have no limit; of the latter what they read
# at rest is their zero, as an amplifier has one.
DROPS = ("plug-plus", "plug-minus")
WATCHED = (
    "thrust",
    "voltage",
    "speed",
    "winding-temp",
    "esc-temp",
    "plug-temp",
    *DROPS,
)

# What a channel of a guarded name has to measure.
QUANTITIES = {
    "thrust": m.Quantity.FORCE,
    "current": m.Quantity.CURRENT,
    "voltage": m.Quantity.VOLTAGE,
    "speed": m.Quantity.ROTATIONAL_SPEED,
}


class _Scale:
    """One guarded channel: what its counts mean, and which of them are readings.

    A sensor at the end of its range says "at least this much". On a side where
    there is a limit that is no reading but the worst there is: infinite.
    """

    def __init__(self, page: m.ChannelPage, limit: Limit) -> None:
        self.page = page
        self.limit = limit
        self.zero_counts: float = page.zero_counts
        bounds = sorted(b * page.counts_per_unit for b in (limit.low, limit.high))
        self.lowest = page.low_counts + math.isfinite(bounds[0])
        self.highest = page.high_counts - math.isfinite(bounds[1])

    def to_si(self, count: int) -> float:
        """SI; NaN for no reading, infinite at a guarded end of the range."""
        if count == self.page.no_reading:
            return math.nan
        if not self.lowest <= count <= self.highest:
            return math.inf
        return (count - self.zero_counts) / self.page.counts_per_unit

    def entry(self) -> m.LimitEntry:
        """The limit in raw counts, rounded inwards.

        Raises:
            ValueError: no reading of this channel could be inside it.
        """
        limit, page = self.limit, self.page
        low, high = sorted(
            bound * page.counts_per_unit + self.zero_counts
            for bound in (limit.low, limit.high)
        )
        lowest = math.ceil(max(low, self.lowest))
        highest = math.floor(min(high, self.highest))
        if lowest > highest:
            raise ValueError(f"no reading of {page.name} could be inside its limit")
        return m.LimitEntry(
            channel=page.index,
            low=lowest,
            high=highest,
            persistence=limit.persistence,
            max_age_10ms=max(1, round(limit.max_age_s * 1e3 / m.MAX_AGE_UNIT_MS)),
        )


class _Unlimited:
    """A channel that the guard looks at though it has no limit of its own."""

    def __init__(self, page: m.ChannelPage) -> None:
        self.to_si = page.to_si


class _Drop:
    """The drop across a pole of the plug: counted from what it is at rest.

    At the end of its range it is infinite; one that is there at rest has lost a wire,
    and gives no readings at all.
    """

    def __init__(self, page: m.ChannelPage) -> None:
        self._page = page
        self.begin()

    def begin(self) -> None:
        """Forget what it read at rest."""
        self._zero, self._sum, self._count = 0.0, 0.0, 0

    def to_si(self, count: int) -> float:
        """Volts from its zero; NaN for no reading."""
        page = self._page
        if count == page.no_reading:
            return math.nan
        if not page.low_counts < count < page.high_counts:
            return math.inf + self._zero
        return page.to_si(count) - self._zero

    def collect(self, value: float) -> None:
        """A reading at rest."""
        self._sum += value
        self._count += 1

    @property
    def mute(self) -> bool:
        """Whether it gave no reading at rest; asked once that is over."""
        return not self._count

    def settle(self) -> None:
        """What it read at rest is its zero from now on."""
        self._zero = self._sum / self._count if self._count else math.nan


class Scales:
    """The guarded channels of one stand."""

    def __init__(self, stand: Stand, limits: tuple[Limit, ...]) -> None:
        self._given = {limit.channel: limit for limit in limits}
        self._limits = dict(self._given)
        self._stand = stand
        scales = {
            page.name: _Scale(page, self._limits[page.name])
            for page in stand.channels
            if page.name in self._limits
        }
        self._scales = scales
        self._drops = {
            page.name: _Drop(page)
            for page in stand.channels
            if page.name in DROPS and page.name not in scales
        }
        self._streams: list[list[tuple[int, str, _Scale | _Drop | _Unlimited]]] = [
            [
                (position, page.name, self._scale_of(page))
                for position, page in enumerate(layout.channels)
                if page.name in scales or page.name in WATCHED
            ]
            for layout in stand.layouts
        ]
        self._sums: dict[str, float] = dict.fromkeys(scales, 0.0)
        self._counts: dict[str, int] = dict.fromkeys(scales, 0)

    def _scale_of(self, page: m.ChannelPage) -> "_Scale | _Drop | _Unlimited":
        scale = self._scales.get(page.name) or self._drops.get(page.name)
        return scale or _Unlimited(page)

    @property
    def missing(self) -> list[str]:
        """Channels that have a limit but that the stand does not have."""
        return [name for name in self._limits if name not in self._scales]

    def objection_to_stand(self, *, unprotected: bool = False) -> str | None:
        """Why this stand cannot be spun at all, in a sentence; None when it can.

        Args:
            unprotected: it is known, and acknowledged, that it cannot protect itself.
        """
        needed = m.Ability.LEASE | m.Ability.LIMITS
        if needed not in self._stand.identity.abilities and not unprotected:
            return "This stand cannot protect itself: it has no lease or limits."
        if NEEDED not in self._scales:
            return f"This stand has no {NEEDED} channel: nothing would limit it."
        guarded = [p for p in self._stand.channels if p.name in self._limits]
        for page in guarded:
            if sum(other.name == page.name for other in guarded) > 1:
                return f"This stand has two channels called {page.name}."
            due = QUANTITIES.get(page.name, page.quantity)
            if page.quantity is not due:
                return (
                    f"This stand's {page.name} channel measures "
                    f"{page.quantity.name.lower().replace('_', ' ')}."
                )
        return None

    def count(self, name: str, value_si: float) -> float:
        """The raw count that a value of a channel stands for; NaN without it."""
        page = self._stand.channel(name)
        if page is None:
            return math.nan
        scale = self._scales.get(name)
        zero_counts = page.zero_counts if scale is None else scale.zero_counts
        return value_si * page.counts_per_unit + zero_counts

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The limits of channels that the stand has."""
        return tuple(self._limits[name] for name in self._scales)

    def values(self, sampled: Sampled) -> Iterator[tuple[str, float]]:
        """What the guard looks at in one sample, in SI; NaN for no reading."""
        for position, name, scale in self._streams[sampled.stream]:
            yield name, scale.to_si(sampled.counts[position])

    def reading(self, index: int, count: int) -> tuple[Limit | None, float]:
        """The limit and the SI value of a count of the channel of that index."""
        for name, scale in self._scales.items():
            if scale.page.index == index:
                return self._limits[name], scale.to_si(count)
        return None, math.nan

    # ------------------------------------------------------------ zeroing

    def begin(self) -> None:
        """Zero anew: forget what an earlier zeroing found."""
        self._limits = dict(self._given)
        self._sums = dict.fromkeys(self._scales, 0.0)
        self._counts = dict.fromkeys(self._scales, 0)
        for drop in self._drops.values():
            drop.begin()
        for name, scale in self._scales.items():
            scale.limit = self._given[name]
            scale.zero_counts = scale.page.zero_counts

    def collect(self, sampled: Sampled) -> None:
        """Take a sample into the zeroing means."""
        for name, value in self.values(sampled):
            if not math.isfinite(value):
                continue
            if name in self._scales:
                self._sums[name] += value
                self._counts[name] += 1
            elif name in self._drops:
                self._drops[name].collect(value)

    def settle(self) -> Mapping[str, float]:
        """End the zeroing: shift zeros, and tell the means found, in SI."""
        means = {
            name: self._sums[name] / self._counts[name]
            if self._counts[name]
            else math.nan
            for name in self._scales
        }
        for drop in self._drops.values():
            drop.settle()
        for name, scale in self._scales.items():
            if scale.page.quantity in ZEROED and math.isfinite(means[name]):
                scale.zero_counts += means[name] * scale.page.counts_per_unit
            if scale.page.quantity is m.Quantity.FORCE:
                self._take_off(name, abs(means[name]))
        return means

    @property
    def mute(self) -> list[str]:
        """Drops across the plug that gave no reading at rest."""
        return [name for name, drop in self._drops.items() if drop.mute]

    def _take_off(self, name: str, at_rest: float) -> None:
        """Leave a cell less room by what it reads at rest, which may be real load."""
        limit = self._limits[name]
        if at_rest < limit.high:
            shown, unit = to_trade(name, at_rest)
            limit = replace(
                limit,
                high=limit.high - at_rest,
                source=f"{limit.source}; less {brief(shown)} {unit} at rest",
            )
            self._limits[name] = self._scales[name].limit = limit

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
                    f"{unit} ({limit.source}). {ReadingCheck(limit).advice(mean)} "
                    "Nothing was armed."
                )
        return None

    def wire_limits(self) -> m.Limits:
        """The limits in raw counts, zeros included, as one frame holds them.

        Raises:
            ValueError: they do not fit in one, or one leaves no room at all.
        """
        message = m.Limits(tuple(scale.entry() for scale in self._scales.values()))
        message.body()
        return message

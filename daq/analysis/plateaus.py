"""Plateaus: what each channel was while the throttle was held.

Each dwell loses the same fixed time at its front, then one window serves all
channels. Thrust and current have their zero taken off. The random part of each
plateau is its own; the scale factor and the zeros are shared between plateaus
and carried as such, so that a difference between plateaus knows what cancels.
Nothing here looks at a reading to decide where a window starts.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from daq.analysis.measured import Measured, Source
from daq.analysis.scaled import scale_sources
from daq.analysis.series import Array, Hold, Series
from daq.analysis.statistics import (
    MIN_READINGS,
    WindowMean,
    distinct,
    step_nearby,
    window_mean,
)
from daq.analysis.unseen import NOTHING_UNSEEN, Unseen
from daq.analysis.zeros import REST_SETTLE_S, ZEROED, Rests, read_rests

#: Time cut off the front of each dwell. A common load-cell converter needs four
#: conversions to settle after a step: 0.4 s at 10 readings a second, 0.05 s at
#: 80 (its data sheet). The rest is for the motor to reach its speed and the
#: stand to stop ringing, about 0.2 s (common practice, no source).
DEFAULT_SETTLE_S = 0.6
#: A trend over the window of more than this share of the value, seen by MSER
#: too, means that the plateau never settled.
SETTLED_SHARE = 0.01
#: Legs in shuffled order as a person would point at them.
PASSES: Mapping[str, str] = {"first": "first pass", "second": "second pass"}
#: How an excursion that was left in the mean is told.
EXCURSION = "left its level for a while, counted in"


@dataclass(frozen=True, slots=True)
class ChannelMeans:
    """One channel over all plateaus.

    Attributes:
        measured: Zero-corrected means with their sources ``<name> random`` (own
            to each plateau), ``<name> gain`` and what else its scale may be wrong
            by, ``<name> zero`` and ``<name> zero drift`` (shared); NaN where a
            plateau has too few readings.
        windows: What was found in each window, in plateau order.
        rests: What the channel read in the rests; taken off as zero from thrust
            and current only.
        unsettled: Whether the channel was still on the move, shape (n,).
    """

    measured: Measured
    windows: tuple[WindowMean, ...]
    rests: Rests
    unsettled: NDArray[np.bool_]

    @property
    def mean(self) -> Array:
        """Zero-corrected means, shape (n,)."""
        return self.measured.value

    @property
    def raw(self) -> Array:
        """Means as they were read, zero still in, shape (n,)."""
        return np.array([window.mean for window in self.windows], dtype=np.float64)

    @property
    def random_u(self) -> Array:
        """Standard uncertainty that is each plateau's own, shape (n,)."""
        return np.array([window.u for window in self.windows])

    @property
    def count(self) -> NDArray[np.int_]:
        """Good readings, shape (n,)."""
        return np.array([window.count for window in self.windows], dtype=np.int_)

    @property
    def n_eff(self) -> Array:
        """Independent readings worth as much, shape (n,)."""
        return np.array([window.n_eff for window in self.windows])

    @property
    def glitches(self) -> NDArray[np.int_]:
        """Readings rejected by the median rule, shape (n,)."""
        return np.array([window.glitches for window in self.windows], dtype=np.int_)

    @property
    def lost(self) -> NDArray[np.int_]:
        """Readings that were not there, shape (n,)."""
        return np.array([window.lost for window in self.windows], dtype=np.int_)


@dataclass(frozen=True, slots=True)
class Plateaus:
    """All plateaus of a run.

    Attributes:
        throttle_frac: Throttle commanded, shape (n,).
        leg: ``up``, ``down``, ``first`` or ``second``, n of them.
        step: Step of the protocol, shape (n,).
        start_s: Start of the window (after truncation), shape (n,).
        end_s: End of the window, shape (n,).
        channels: Means by channel name.
        skipped: Sentences about dwells and rests that could not be used.
    """

    throttle_frac: Array
    leg: tuple[str, ...]
    step: NDArray[np.int_]
    start_s: Array
    end_s: Array
    channels: Mapping[str, ChannelMeans]
    skipped: tuple[str, ...]

    def __len__(self) -> int:
        """Number of plateaus."""
        return self.throttle_frac.size

    @property
    def level(self) -> Array:
        """What tells levels apart, shape (n,): throttle, or the step of a load."""
        by_hand = self.throttle_frac == 0.0
        return np.where(by_hand, -1.0 - self.step, np.round(self.throttle_frac, 4))

    def measured(self, channel: str) -> Measured | None:
        """Means of a channel with their sources; None if it was not recorded."""
        means = self.channels.get(channel)
        return None if means is None else means.measured

    def covariance(self, channel: str) -> Array:
        """Full covariance of a channel's means, shape (n, n).

        Raises:
            KeyError: There is no such channel.
        """
        return self.channels[channel].measured.covariance()

    def flags(self, plateau: int) -> tuple[str, ...]:
        """What is wrong with a plateau, as short words with the channel."""
        found: list[str] = []
        for name, means in self.channels.items():
            window = means.windows[plateau]
            if window.count < MIN_READINGS:
                found.append(f"{name}: too few readings")
            if means.unsettled[plateau]:
                found.append(f"{name}: not settled")
            if window.excursion:
                found.append(f"{name}: {EXCURSION}")
        return tuple(found)

    def label(self, plateau: int) -> str:
        """A plateau as a person would point at it."""
        throttle = round(100 * float(self.throttle_frac[plateau]), 2)
        leg = self.leg[plateau]
        if throttle == 0.0:  # a load that was switched by hand
            return f"load {int(self.step[plateau]) + 1} {leg}"
        return f"{throttle:g} % {PASSES.get(leg, leg)}"


def average(
    series: Mapping[str, Series],
    holds: Sequence[Hold],
    *,
    settle_s: float = DEFAULT_SETTLE_S,
    rest_settle_s: float = REST_SETTLE_S,
    unseen: Unseen = NOTHING_UNSEEN,
) -> Plateaus:
    """Average every dwell of a run.

    Args:
        series: Channels by name.
        holds: Dwells and rests, in any order.
        settle_s: Time cut off the front of each dwell, see
            ``DEFAULT_SETTLE_S``. Longer for a converter slower than 10 readings
            a second.
        rest_settle_s: Time cut off a rest that follows a dwell, for the motor
            to stop.
        unseen: What neither calibration nor readings show.

    Returns:
        Plateaus in order of time; a dwell that is over before it has settled is
        left out and named in ``skipped``.
    """
    dwells, skipped = _usable(holds, settle_s)
    start_s = np.array([hold.start_s + settle_s for hold in dwells])
    end_s = np.array([hold.end_s for hold in dwells])
    legs = tuple(hold.leg for hold in dwells)
    channels: dict[str, ChannelMeans] = {}
    for name, channel in series.items():
        passed = _passed(channel, start_s, end_s)
        windows = tuple(
            _window(channel, passed, float(a), float(b))
            for a, b in zip(start_s, end_s, strict=True)
        )
        rests = read_rests(
            channel,
            holds,
            settle_s=settle_s,
            rest_settle_s=rest_settle_s,
            speed=series.get("speed"),
        )
        if name in ZEROED:
            skipped.extend(rests.skipped)
        middle_s = (start_s + end_s) / 2
        channels[name] = _channel_means(channel, windows, rests, middle_s, legs, unseen)
    return Plateaus(
        throttle_frac=np.array([hold.throttle_frac for hold in dwells]),
        leg=legs,
        step=np.array([hold.step for hold in dwells], dtype=np.int_),
        start_s=start_s,
        end_s=end_s,
        channels=channels,
        skipped=tuple(skipped),
    )


def with_causes(
    channel: Series,
    raw: Array,
    own: Source,
    rests: Rests,
    middle_s: Array,
    legs: Sequence[str],
    unseen: Unseen,
) -> Measured:
    """Means of a channel with their zero taken off, and every cause of their errors.

    Args:
        channel: Whose they are.
        raw: Means as they were read, shape (n,).
        own: What each is uncertain by for itself.
        rests: What the channel read in the rests.
        middle_s: When each was read, shape (n,).
        legs: Leg of each, as in the plan.
        unseen: What neither calibration nor readings show.
    """
    name = channel.name
    sources = {f"{name} random": own}
    value: Array = raw
    taken_off: Array | None = None
    if name in ZEROED:
        zero = rests.zero_at(middle_s, _largest(raw - _middle(rests)))
        value, taken_off = raw - zero.value, zero.value
        sources.update(zero.sources)
    sources.update(scale_sources(channel, raw, taken_off, legs))
    sources.update(unseen.sources(channel, value))
    return Measured(value, sources)


def _passed(channel: Series, start_s: Array, end_s: Array) -> Array:
    """Different readings between one window and the next, rising."""
    parts = [
        channel.between(float(a), float(b))[1]
        for a, b in zip(end_s[:-1], start_s[1:], strict=True)
    ]
    return distinct(np.concatenate([np.zeros(0), *parts]))


def _window(channel: Series, passed: Array, start_s: float, end_s: float) -> WindowMean:
    t_s, value = channel.between(start_s, end_s)
    step = step_nearby(passed, value, channel.resolution_si)
    return window_mean(t_s, value, step)


def _usable(holds: Sequence[Hold], settle_s: float) -> tuple[list[Hold], list[str]]:
    usable: list[Hold] = []
    skipped: list[str] = []
    for hold in sorted(holds, key=lambda hold: hold.start_s):
        if hold.kind != "dwell":
            continue
        lasted_s = hold.end_s - hold.start_s
        if lasted_s > settle_s:
            usable.append(hold)
        else:
            skipped.append(
                f"the dwell at {100 * hold.throttle_frac:g} % throttle (step "
                f"{hold.step}) lasted {lasted_s:.2f} s, not longer than the "
                f"{settle_s:.2f} s that settling takes"
            )
    return usable, skipped


def _channel_means(
    channel: Series,
    windows: tuple[WindowMean, ...],
    rests: Rests,
    middle_s: Array,
    legs: Sequence[str],
    unseen: Unseen,
) -> ChannelMeans:
    raw = np.array([window.mean for window in windows], dtype=np.float64)
    own = Source(
        np.array([window.u for window in windows], dtype=np.float64),
        np.array([window.dof for window in windows], dtype=np.float64),
    )
    measured = with_causes(channel, raw, own, rests, middle_s, legs, unseen)
    value = measured.value
    unsettled = np.array(
        [
            window.late and abs(window.change) > SETTLED_SHARE * abs(mean)
            for window, mean in zip(windows, value, strict=True)
        ],
        dtype=np.bool_,
    )
    return ChannelMeans(measured, windows, rests, unsettled)


def _middle(rests: Rests) -> float:
    return float(rests.value.mean()) if rests.value.size else 0.0


def _largest(value: Array) -> float:
    finite = np.abs(value[np.isfinite(value)])
    return float(finite.max()) if finite.size else math.nan

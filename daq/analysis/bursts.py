"""Bursts: what a run read in the moments after a punch.

Extremes of single readings and times of rise, as they were read. A burst is no
plateau: nothing settles in it, and nothing here may be averaged into a level.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from daq.analysis.plateaus import Plateaus
from daq.analysis.series import Hold, Series

#: What a channel was before a punch is read over this long.
BEFORE_S = 0.2
#: ... and what it came to over this share of the burst, at its end.
LATE_SHARE = 0.3
#: A rise is told to this share of its way.
RISEN_SHARE = 0.9
#: A rise smaller than this share of where it leads cannot be timed.
MIN_RISE_SHARE = 0.05
#: Channels whose rise is timed: the first that a run has.
RISING = ("speed", "thrust")


@dataclass(frozen=True, slots=True)
class Burst:
    """One burst.

    Attributes:
        from_frac: Throttle before it.
        throttle_frac: Throttle in it.
        start_s: When the throttle began to move.
        end_s: When it left again, or when the run ended.
        peak_current_a: Highest reading, zero taken off; NaN without one.
        lowest_voltage_v: Lowest reading; NaN without one.
        rise_s: From the start to nine tenths of the way; NaN where it cannot be
            told.
    """

    from_frac: float
    throttle_frac: float
    start_s: float
    end_s: float
    peak_current_a: float
    lowest_voltage_v: float
    rise_s: float


@dataclass(frozen=True, slots=True)
class Bursts:
    """The bursts of a run.

    Attributes:
        each: In order of time.
        rising: Channel by which the rise was timed; None without one.
        every_s: Time between its readings; NaN without one.
    """

    each: tuple[Burst, ...]
    rising: str | None
    every_s: float

    def rows(self) -> list[dict[str, float | int | None]]:
        """The bursts as a table, in SI: one row each, the same keys in every row."""
        return [
            {
                "burst": number,
                "from_throttle_frac": burst.from_frac,
                "throttle_frac": burst.throttle_frac,
                "start_s": burst.start_s,
                "end_s": burst.end_s,
                "peak_current_a": _or_none(burst.peak_current_a),
                "lowest_voltage_v": _or_none(burst.lowest_voltage_v),
                "rise_s": _or_none(burst.rise_s),
            }
            for number, burst in enumerate(self.each, start=1)
        ]


def read_bursts(
    series: Mapping[str, Series], holds: Sequence[Hold], plateaus: Plateaus
) -> Bursts | None:
    """Read every burst of a run.

    Args:
        series: Channels by name. The extremes inside each reading are used where
            a stand keeps them.
        holds: Stretches of the run; those of kind ``burst`` are used, each from
            where the throttle began to move.
        plateaus: The averaged run, for the zero of current.

    Returns:
        None where there was no burst.
    """
    bursts = sorted((h for h in holds if h.kind == "burst"), key=lambda h: h.start_s)
    if not bursts:
        return None
    rising = next((name for name in RISING if name in series), None)
    return Bursts(
        each=tuple(_burst(hold, series, plateaus, rising) for hold in bursts),
        rising=rising,
        every_s=math.nan if rising is None else _every_s(series[rising]),
    )


def _burst(
    hold: Hold, series: Mapping[str, Series], plateaus: Plateaus, rising: str | None
) -> Burst:
    current = series.get("current-high", series.get("current"))
    voltage = series.get("voltage-low", series.get("voltage"))
    zero_a = 0.0
    if "current" in plateaus.channels:
        middle_s = np.array([(hold.start_s + hold.end_s) / 2])
        rests = plateaus.channels["current"].rests
        zero_a = float(rests.zero_at(middle_s, 0.0).value[0])
    return Burst(
        from_frac=hold.from_frac or 0.0,
        throttle_frac=hold.throttle_frac,
        start_s=hold.start_s,
        end_s=hold.end_s,
        peak_current_a=_extreme(current, hold, highest=True) - zero_a,
        lowest_voltage_v=_extreme(voltage, hold, highest=False),
        rise_s=math.nan if rising is None else _rise_s(series[rising], hold),
    )


def _extreme(channel: Series | None, hold: Hold, *, highest: bool) -> float:
    if channel is None:
        return math.nan
    _, value = channel.between(hold.start_s, hold.end_s)
    good = value[np.isfinite(value)]
    if not good.size:
        return math.nan
    return float(good.max() if highest else good.min())


def _rise_s(channel: Series, hold: Hold) -> float:
    """From the start of the punch to nine tenths of the way; NaN if not to be told."""
    late_s = hold.end_s - LATE_SHARE * (hold.end_s - hold.start_s)
    before = _middle(channel, hold.start_s - BEFORE_S, hold.start_s)
    after = _middle(channel, late_s, hold.end_s)
    if not after - before > MIN_RISE_SHARE * after:  # NaN is none
        return math.nan
    t_s, value = channel.between(hold.start_s, hold.end_s)
    risen = np.flatnonzero(value >= before + RISEN_SHARE * (after - before))
    return float(t_s[risen[0]]) - hold.start_s if risen.size else math.nan


def _middle(channel: Series, start_s: float, end_s: float) -> float:
    _, value = channel.between(start_s, end_s)
    good = value[np.isfinite(value)]
    return float(np.median(good)) if good.size else math.nan


def _every_s(channel: Series) -> float:
    steps_s = np.diff(channel.t_s)
    return float(np.median(steps_s)) if steps_s.size else math.nan


def _or_none(value: float) -> float | None:
    return value if math.isfinite(value) else None

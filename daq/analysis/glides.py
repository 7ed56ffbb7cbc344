"""Glides: what each channel was while throttle moved slowly and evenly.

Readings are averaged over narrow stretches of throttle, each way by itself. What a
channel lags behind a moving throttle is in them and is not taken off, so these are
no plateaus: nothing here may be handed on as one, and no curve is fitted to them.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from daq.analysis.legs import UpDown, up_down
from daq.analysis.measured import Measured, Source
from daq.analysis.plateaus import Plateaus, with_causes
from daq.analysis.series import Array, Hold, Series
from daq.analysis.statistics import WindowMean, distinct, step_nearby, window_mean
from daq.analysis.unseen import NOTHING_UNSEEN, Unseen
from daq.units import n_to_gf, rad_s_to_rpm

#: Width of a stretch of throttle. At a twentieth of full throttle a quantity that
#: goes with its square is straight to one part in 1600 of its top.
BIN_FRAC = 0.05
#: A stretch that was passed for less of its time than this is left out.
MIN_COVER = 0.9
#: What is averaged, with the SI unit as it is written in a key.
CHANNELS = (
    ("thrust", "n"),
    ("current", "a"),
    ("voltage", "v"),
    ("speed", "rad_s"),
)
#: The same in the trade's units where those differ.
_TRADE: tuple[tuple[str, str, Callable[[float], float]], ...] = (
    ("thrust", "gf", n_to_gf),
    ("speed", "rpm", rad_s_to_rpm),
)


@dataclass(frozen=True, slots=True)
class Glides:
    """The glides of a run, stretch by stretch.

    Attributes:
        number: Glide of each stretch, from 1 in order of time, shape (n,).
        leg: ``up`` or ``down``, n of them.
        throttle_frac: Middle of each stretch, shape (n,).
        channels: Means by channel, zero-corrected thrust and current, shape (n,)
            each; NaN where a stretch has too few readings. Their random part is
            that of scatter alone: the lag is not in it.
        span_frac: Lowest and highest throttle that a glide reached.
        rate_frac_s: How fast it moved.
        legs: Differences between the ways.
    """

    number: tuple[int, ...]
    leg: tuple[str, ...]
    throttle_frac: Array
    channels: Mapping[str, Measured]
    span_frac: tuple[float, float]
    rate_frac_s: float
    legs: tuple[UpDown, ...]

    def __len__(self) -> int:
        """Number of stretches."""
        return self.throttle_frac.size

    def rows(self) -> list[dict[str, float | int | str | None]]:
        """The stretches as a table: one row each, the same keys in every row.

        SI with the unit as suffix, ``_u_`` for combined standard uncertainties
        (scatter, zero, scale and what nothing shows, not lag); thrust and speed are
        repeated in the trade's units.
        """
        return [self._row(index) for index in range(len(self))]

    def _row(self, index: int) -> dict[str, float | int | str | None]:
        row: dict[str, float | int | str | None] = {
            "glide": self.number[index],
            "leg": self.leg[index],
            "throttle_frac": round(float(self.throttle_frac[index]), 6),
        }
        si = [(name, unit, float) for name, unit in CHANNELS]
        for name, unit, convert in (*si, *_TRADE):
            if name in self.channels:
                measured = self.channels[name]
                value = float(measured.value[index])
                u = float(measured.standard_uncertainty()[index])
                row[f"{name}_{unit}"] = convert(value) if math.isfinite(value) else None
                row[f"{name}_u_{unit}"] = convert(u) if math.isfinite(u) else None
        return row


@dataclass(frozen=True, slots=True)
class _Stretch:
    """One stretch of throttle on one glide, and when its middle was passed."""

    number: int
    leg: str
    middle_frac: float
    start_s: float
    middle_s: float
    end_s: float


def read_glides(
    series: Mapping[str, Series],
    holds: Sequence[Hold],
    plateaus: Plateaus,
    unseen: Unseen = NOTHING_UNSEEN,
) -> Glides | None:
    """Average every glide of a run.

    Args:
        series: Channels by name.
        holds: Stretches of the run; those of kind ``glide`` are used.
        plateaus: The averaged run, for the zeros read in its rests.
        unseen: What neither calibration nor readings show.

    Returns:
        None where nothing glided far enough for a single stretch.
    """
    glides = sorted(
        (hold for hold in holds if hold.kind == "glide"), key=lambda h: h.start_s
    )
    stretches = [
        stretch
        for number, hold in enumerate(glides, start=1)
        for stretch in _stretches(number, hold)
    ]
    if not stretches:
        return None
    channels = {
        name: _means(series[name], stretches, plateaus, unseen)
        for name, _ in CHANNELS
        if name in series
    }
    ends = [
        frac
        for hold in glides
        for frac in (hold.from_frac, hold.throttle_frac)
        if frac is not None
    ]
    legged = _Legged(
        np.array([stretch.middle_frac for stretch in stretches]),
        tuple(stretch.leg for stretch in stretches),
    )
    return Glides(
        number=tuple(stretch.number for stretch in stretches),
        leg=legged.leg,
        throttle_frac=legged.throttle_frac,
        channels=channels,
        span_frac=(min(ends), max(ends)),
        rate_frac_s=_rate_frac_s(glides),
        legs=up_down(legged, channels),
    )


def _rate_frac_s(glides: Sequence[Hold]) -> float:
    """How fast the fastest of them moved."""
    return max(
        abs(hold.throttle_frac - hold.from_frac) / (hold.end_s - hold.start_s)
        for hold in glides
        if hold.from_frac is not None and hold.end_s > hold.start_s
    )


@dataclass(frozen=True, slots=True)
class _Legged:
    throttle_frac: Array
    leg: tuple[str, ...]


def _stretches(number: int, hold: Hold) -> list[_Stretch]:
    """The whole stretches that a glide passed, in order of time."""
    if hold.from_frac is None or hold.from_frac == hold.throttle_frac:
        return []
    if not hold.end_s > hold.start_s:
        return []
    low_frac, high_frac = sorted((hold.from_frac, hold.throttle_frac))
    rate_frac_s = (hold.throttle_frac - hold.from_frac) / (hold.end_s - hold.start_s)
    found = []
    # Ends a hair off a stretch's edge, by rounding, belong to it.
    slack_frac = (1 - MIN_COVER) * BIN_FRAC
    first = math.ceil((low_frac - slack_frac) / BIN_FRAC)
    last = math.floor((high_frac + slack_frac) / BIN_FRAC)
    for place in range(first, last):
        edges_frac = (place * BIN_FRAC, (place + 1) * BIN_FRAC)
        times_s = sorted(
            hold.start_s + (edge - hold.from_frac) / rate_frac_s for edge in edges_frac
        )
        found.append(
            _Stretch(
                number=number,
                leg=hold.leg,
                middle_frac=(place + 0.5) * BIN_FRAC,
                start_s=max(times_s[0], hold.start_s),
                middle_s=(times_s[0] + times_s[1]) / 2,
                end_s=min(times_s[1], hold.end_s),
            )
        )
    return sorted(found, key=lambda stretch: stretch.start_s)


def _means(
    channel: Series,
    stretches: Sequence[_Stretch],
    plateaus: Plateaus,
    unseen: Unseen,
) -> Measured:
    """One channel over all stretches, each at the middle of its throttle."""
    passed = distinct(channel.value_si)
    windows = [_window(channel, passed, stretch) for stretch in stretches]
    raw = np.array(
        [_at_middle(w, s) for w, s in zip(windows, stretches, strict=True)],
        dtype=np.float64,
    )
    own_u = [math.hypot(window.scatter_u, window.resolution_u) for window in windows]
    own = Source(
        np.array(own_u, dtype=np.float64),
        np.array([max(1.0, window.n_eff - 2) for window in windows]),
    )
    middle_s = np.array([stretch.middle_s for stretch in stretches])
    legs = [stretch.leg for stretch in stretches]
    rests = plateaus.channels[channel.name].rests
    return with_causes(channel, raw, own, rests, middle_s, legs, unseen)


def _at_middle(window: WindowMean, stretch: _Stretch) -> float:
    """The mean moved along its own slope to where the middle was passed."""
    off_s = stretch.middle_s - (stretch.start_s + stretch.end_s) / 2
    return window.mean + window.change * off_s / (stretch.end_s - stretch.start_s)


def _window(channel: Series, passed: Array, stretch: _Stretch) -> WindowMean:
    """Readings of one stretch; a mean over time is one over throttle here."""
    t_s, value = channel.between(stretch.start_s, stretch.end_s)
    step = step_nearby(passed, value, channel.resolution_si)
    return window_mean(t_s, value, step)

"""What the analysis is given: readings of one channel, and stretches of a run.

Values only. Nothing here averages, fits or knows where readings came from, and
nothing here may open a file or ask for the time.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from daq.analysis.scale import Scale, relative_scale
from daq.errors import InputFault

Array: TypeAlias = NDArray[np.float64]
Index: TypeAlias = NDArray[np.intp]

#: Drop across each pole of the arming plug, by pole.
PLUG_CHANNELS: Final[Mapping[str, str]] = {"plus": "plug-plus", "minus": "plug-minus"}
#: Voltage of each cell of the pack, from the one at the minus wire.
CELL_CHANNELS: Final = tuple(f"cell-{number}" for number in range(1, 15))
#: The difference of the voltages on both sides of the plug, where two dividers read it.
BY_DIVIDERS: Final = "plug by dividers"
#: The channels that the analysis knows, with the SI unit of each. ``-high`` and
#: ``-low`` are the extremes inside each reading, sent by stands that keep them.
CHANNEL_UNITS: Mapping[str, str] = {
    "thrust": "N",
    "current": "A",
    "current-high": "A",
    "voltage": "V",
    "voltage-low": "V",
    "speed": "rad/s",
    "pack-voltage": "V",
    **dict.fromkeys((*PLUG_CHANNELS.values(), *CELL_CHANNELS), "V"),
}

#: What a stretch of a run was, see ``Hold``.
HoldKind: TypeAlias = Literal["rest", "dwell", "warm", "glide", "burst", "soak", "hold"]
HoldLeg: TypeAlias = Literal["up", "down", "first", "second", "rest"]

#: Holds may overlap by this much: two clocks never agree to the last digit.
OVERLAP_S = 1e-3


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one channel on the device's time axis.

    Attributes:
        name: Channel name, one of ``CHANNEL_UNITS``.
        quantity: What it measures, in words ("force", "current", ...).
        t_s: Time of each reading, shape (n,), not falling.
        value_si: Reading in the SI unit of the channel, shape (n,). NaN stands
            for a reading that is not there.
        gain_u_rel: Relative standard uncertainty of the scale factor; common to
            all readings of the channel. All that is known where nothing was
            calibrated.
        resolution_si: One count, in the SI unit of the channel.
        scale: What is known of the scale in its place, from a calibration.
    """

    name: str
    quantity: str
    t_s: Array
    value_si: Array
    gain_u_rel: float
    resolution_si: float
    scale: Scale | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be a channel.

        Raises:
            InputFault: Shapes differ, times fall or are not finite, or an
                uncertainty is negative or not finite.
        """
        where = f'channel "{self.name}"'
        if self.t_s.ndim != 1 or self.t_s.shape != self.value_si.shape:
            raise InputFault(
                f"{where}: {self.t_s.shape} times for {self.value_si.shape} "
                "readings; give one time a reading"
            )
        if not np.all(np.isfinite(self.t_s)) or np.any(np.diff(self.t_s) < 0):
            raise InputFault(
                f"{where}: times must be finite and never step back; "
                "sort the readings by device time"
            )
        for key, number in (
            ("gain_u_rel", self.gain_u_rel),
            ("resolution_si", self.resolution_si),
        ):
            if not (math.isfinite(number) and number >= 0):
                raise InputFault(f"{where}: {key} is {number}; it must be zero or more")

    @property
    def errors(self) -> Scale:
        """How wrong its scale may be."""
        return relative_scale(self.gain_u_rel) if self.scale is None else self.scale

    def between(self, start_s: float, end_s: float) -> tuple[Array, Array]:
        """Times and values with ``start_s <= t < end_s`` (views, not copies)."""
        first, last = np.searchsorted(self.t_s, (start_s, end_s))
        return self.t_s[first:last], self.value_si[first:last]


@dataclass(frozen=True, slots=True)
class Hold:
    """A stretch of a run that was walked for something, on the device's time axis.

    Attributes:
        kind: ``dwell`` (spinning at a throttle), ``rest`` (throttle zero),
            ``soak`` (spinning for long, to see what warms), ``warm`` (spinning, to
            be used for nothing), ``glide`` (throttle moving
            slowly and evenly), ``burst`` (throttle moved at once and held for a
            moment) or ``hold`` (a thrust held, the throttle moving as it took). Only a
            dwell is ever a plateau.
        leg: ``up`` or ``down``; ``first`` or ``second`` for levels in shuffled
            order; ``rest`` for what belongs to none.
        step: Number of the step in the protocol.
        throttle_frac: Throttle commanded at its end, 0 to 1.
        start_s: When the throttle reached its value, or began to move.
        end_s: When it left it, or when the run ended.
        from_frac: Throttle at its start, 0 to 1; None where it was held.
    """

    kind: HoldKind
    leg: HoldLeg
    step: int
    throttle_frac: float
    start_s: float
    end_s: float
    from_frac: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be a hold.

        Raises:
            InputFault: Throttle outside 0 to 1, or times that are not finite or
                in the wrong order.
        """
        where = f"{self.kind} at step {self.step}"
        for key, frac in (
            ("throttle_frac", self.throttle_frac),
            ("from_frac", self.from_frac),
        ):
            if frac is not None and not 0.0 <= frac <= 1.0:
                raise InputFault(f"{where}: {key} is {frac}; it must be 0 to 1")
        if not (
            math.isfinite(self.start_s)
            and math.isfinite(self.end_s)
            and self.start_s <= self.end_s
        ):
            raise InputFault(
                f"{where}: it starts at {self.start_s} s and ends at {self.end_s} s; "
                "give finite times in that order"
            )


def check_run(series: Mapping[str, Series], holds: Sequence[Hold]) -> None:
    """Refuse a run with which nothing can be done.

    Raises:
        InputFault: No channel, a channel under another's name, holds that
            overlap, or holds that lie wholly outside the readings (two time
            axes mixed up).
    """
    if not series:
        raise InputFault("there is no channel to analyse; give at least thrust")
    for key, channel in series.items():
        if key != channel.name:
            raise InputFault(
                f'channel "{channel.name}" was given under the name "{key}"; '
                "use one name"
            )
    read = [channel.t_s for channel in series.values() if channel.t_s.size]
    if not read:
        raise InputFault("no channel holds a reading; nothing can be analysed")
    first_s = min(float(t_s[0]) for t_s in read)
    last_s = max(float(t_s[-1]) for t_s in read)
    in_order = sorted(holds, key=lambda hold: (hold.start_s, hold.end_s))
    for earlier, later in pairwise(in_order):
        if later.start_s < earlier.end_s - OVERLAP_S:
            raise InputFault(
                f"the {later.kind} at step {later.step} starts at "
                f"{later.start_s:.3f} s, before the {earlier.kind} at step "
                f"{earlier.step} ends; holds may not overlap"
            )
    if holds and not any(
        hold.start_s <= last_s and hold.end_s >= first_s for hold in holds
    ):
        raise InputFault(
            f"all holds lie outside the readings ({first_s:.3f} s to {last_s:.3f} s); "
            "put both on the device's time axis"
        )

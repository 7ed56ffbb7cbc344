"""A pack emptied by a thrust that was held: what came out of it, and what it shows.

Charge and energy are sums over slices of the hold, each averaged like a plateau, so
that what a scale may be wrong by goes through the whole sum. The pack's resistance is
read where the hold ends: nothing is drawn any more, so what the voltage comes back by
is resistance and nothing else. Nothing here judges whether a pack is good.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np

from daq.analysis.aircraft import Aircraft
from daq.analysis.aloft import InAir, Slices, area, in_air, middles
from daq.analysis.measured import (
    Measured,
    Source,
    derived,
)
from daq.analysis.pack import SLOW_SHARE, SLOW_TIMES_S
from daq.analysis.plateaus import Plateaus, average
from daq.analysis.power import electrical_power
from daq.analysis.series import Array, Hold, Index, Series
from daq.analysis.unseen import NOTHING_UNSEEN, ROOT_3, Unseen

#: A hold is cut into so many slices of equal length, and so many more where the
#: voltage falls off at its end, which begins at this share of it.
SLICES: Final = 20
END_SLICES: Final = 24
END_FROM: Final = 0.8
#: Shorter than this is no hold: nothing has come to its goal.
SHORTEST_S: Final = 10.0
#: The voltage at the end is a line through so much of it, carried to the end.
LAST_S: Final = 1.0
LAST_PARTS: Final = 10
#: The pack at rest, before: the last part of it.
RESTED_S: Final = 2.0
#: Of the rest after it nothing is used while the motor runs out, and it is followed in
#: means of so much each.
RUN_OUT_S: Final = 0.6
FOLLOWED_S: Final = 0.25
SHORTEST_REST_S: Final = 5.0
SLOW: Final = "slow part of the emptied pack"
SUNK: Final = "charge drawn on the way down"
FEWEST_MEANS: Final = 8
_TAKES: Final = (
    "thrust",
    "current",
    "current-high",
    "voltage",
    "voltage-low",
    "speed",
)


@dataclass(frozen=True, slots=True)
class HeldGoal:
    """What was to be held, and how that ended, by the record.

    Attributes:
        thrust_n: What was to be held.
        floor_v: Bus voltage at which it was to end.
        end: floor, spent, faded, not reached or longest; "" where it was cut.
        reached_s: From its start until the goal was reached; None where never.
        lasted_s: From its start to its end.
    """

    thrust_n: float
    floor_v: float
    end: str
    reached_s: float | None
    lasted_s: float

    @property
    def emptied(self) -> bool:
        """Whether the pack was down to its floor: else less came out than it has."""
        return self.end in ("floor", "spent")


@dataclass(frozen=True, slots=True)
class Recovery:
    """How the bus voltage came back once nothing was drawn.

    Attributes:
        open_v: Where it would come to, what the stand draws at rest apart; one value.
        quick_v: What came back at once.
        slow_v: What came back with time.
        slow_s: Its time constant; NaN where nothing came back with time.
        lasted_s: How long it was followed.
    """

    open_v: Measured
    quick_v: float
    slow_v: float
    slow_s: float
    lasted_s: float


@dataclass(frozen=True, slots=True)
class Emptied:
    """A hold, summed up; one value each.

    Attributes:
        goal: What was to be held, and how that ended.
        hold: The stretch.
        thrust_n: Mean over the hold once its goal was reached.
        current_a: Mean likewise.
        charge_c: Drawn since the first rest.
        energy_j: At the bus, since then.
        rest_v: The pack at rest before.
        rested_s: How long that rest lasted.
        end_v: Bus voltage as the hold ended.
        back: How the pack came back in the rest after it; None without one.
        end_ohm: What it came back by over the current that ended; None likewise.
        drawn_c: Charge drawn by the middle of each slice, shape (n,).
        bus_v: Bus voltage there, shape (n,).
        in_air: What the aircraft would get out of it; None where that is not known.
    """

    goal: HeldGoal
    hold: Hold
    thrust_n: Measured
    current_a: Measured
    charge_c: Measured
    energy_j: Measured
    rest_v: Measured
    rested_s: float
    end_v: Measured
    back: Recovery | None
    end_ohm: Measured | None
    drawn_c: Array
    bus_v: Array
    in_air: InAir | None


def read_emptied(
    series: Mapping[str, Series],
    holds: Sequence[Hold],
    goal: HeldGoal | None,
    aircraft: Aircraft | None = None,
    unseen: Unseen = NOTHING_UNSEEN,
) -> Emptied | None:
    """Sum up the hold of a run.

    Args:
        series: Channels by name.
        holds: Stretches of the run.
        goal: What was to be held; None where nothing was.
        aircraft: What the article is meant to fly on, if that is known.
        unseen: What neither calibration nor readings show.

    Returns:
        None where nothing was held for long enough, or a channel that it takes is
        missing.
    """
    held = [hold for hold in holds if hold.kind == "hold"]
    rests = [hold for hold in holds if hold.kind == "rest"]
    before = [rest for rest in rests if held and rest.end_s <= held[0].start_s]
    names = ("thrust", "current", "voltage")
    if goal is None or not held or not before or any(n not in series for n in names):
        return None
    hold = held[0]
    if hold.end_s - hold.start_s < SHORTEST_S:
        return None
    after = _after(hold, rests)
    slices = _sliced(series, hold, before[-1], rests, unseen)
    read = _read(series, slices)
    if read is None:
        return None
    held_at = np.arange(1, 1 + SLICES + END_SLICES)
    drawn_s = _seconds(series["current"], slices, held_at, before[-1], hold)
    last = held_at[-1:]
    end_v, falls_v_s = _at_end(series["voltage"], hold, read.volt.take(last))
    back = None
    if after is not None:
        more_s = _way_down_s(series["current"], slices, hold, after)
        back = _back(series["voltage"], after, end_v, -falls_v_s * more_s)
    ohm = None if back is None else _end_ohm(back.open_v, end_v, read.amp.take(last))
    settled = _settled(slices, held_at, hold, goal)
    return Emptied(
        goal=goal,
        hold=hold,
        thrust_n=read.thrust.mapped(settled),
        current_a=read.amp.mapped(settled),
        charge_c=read.amp.mapped(drawn_s),
        energy_j=read.watt.mapped(drawn_s),
        rest_v=read.volt.take([0]),
        rested_s=before[-1].end_s - before[-1].start_s,
        end_v=end_v,
        back=back,
        end_ohm=ohm,
        drawn_c=middles(read.amp.value[held_at] * drawn_s[0, held_at]),
        bus_v=read.volt.value[held_at],
        in_air=_in_air(read, held_at, drawn_s[0, held_at], ohm, goal, aircraft),
    )


class _Read(NamedTuple):
    """The rest before and the slices, shape (n,) each."""

    thrust: Measured
    amp: Measured
    volt: Measured
    watt: Measured


def _after(hold: Hold, rests: Sequence[Hold]) -> Hold | None:
    """The rest after the hold; None where it was too short to see the pack recover."""
    found = next((rest for rest in rests if rest.start_s >= hold.end_s), None)
    if found is None or found.end_s - found.start_s < SHORTEST_REST_S:
        return None
    return found


def _sliced(
    series: Mapping[str, Series],
    hold: Hold,
    before: Hold,
    rests: Sequence[Hold],
    unseen: Unseen,
) -> Plateaus:
    """End of the rest before, then the hold in slices."""
    turn_s = hold.start_s + END_FROM * (hold.end_s - hold.start_s)
    edges = [
        *np.linspace(hold.start_s, turn_s, SLICES + 1).tolist(),
        *np.linspace(turn_s, hold.end_s, END_SLICES + 1)[1:].tolist(),
    ]
    spans = [(max(before.start_s, before.end_s - RESTED_S), before.end_s)]
    spans += pairwise(edges)
    parts = [
        Hold("dwell", "up", step, 0.0, start_s, end_s)
        for step, (start_s, end_s) in enumerate(spans)
    ]
    wanted = {name: series[name] for name in _TAKES if name in series}
    return average(wanted, [*rests, *parts], settle_s=0.0, unseen=unseen)


def _read(series: Mapping[str, Series], slices: Plateaus) -> _Read | None:
    power = electrical_power(series, slices)
    thrust, amp, volt = (slices.measured(n) for n in ("thrust", "current", "voltage"))
    if thrust is None or amp is None or volt is None or power is None:
        return None
    read = _Read(thrust, amp, volt, power.measured)
    whole = all(np.isfinite(one.value).all() for one in read)
    return read if whole else None


def _seconds(
    current: Series, slices: Plateaus, held_at: Index, before: Hold, hold: Hold
) -> Array:
    """How long each slice counts, shape (1, n).

    What was drawn on the way up to the hold is added to the first slice, as so many
    seconds of its current: it is little, and its scale is the same.
    """
    means = slices.channels["current"]
    spans_s = np.zeros((1, len(slices)))
    spans_s[0, held_at] = (slices.end_s - slices.start_s)[held_at]
    first = int(held_at[0])
    t_s, amp = current.between(before.end_s, hold.start_s)
    good = np.isfinite(amp)
    if np.count_nonzero(good) > 1 and float(means.mean[first]) > 0:
        above = amp[good] - float(means.raw[first] - means.mean[first])
        lead_in_c = area(above, t_s[good])
        spans_s[0, first] += max(0.0, lead_in_c) / float(means.mean[first])
    return spans_s


def _settled(slices: Plateaus, held_at: Index, hold: Hold, goal: HeldGoal) -> Array:
    """Shares of the slices in a mean once the goal was reached, shape (1, n)."""
    from_s = hold.start_s + (goal.reached_s or 0.0)
    there = held_at[slices.start_s[held_at] >= from_s]
    used = there if there.size else held_at
    shares = np.zeros((1, len(slices)))
    spans_s = (slices.end_s - slices.start_s)[used]
    shares[0, used] = spans_s / spans_s.sum()
    return shares


def _at_end(voltage: Series, hold: Hold, last: Measured) -> tuple[Measured, float]:
    """Bus voltage as the hold ends, and its volts a second.

    By a line through its last moments, carried on.
    """
    t_s, volt = _means(voltage, hold.end_s - LAST_S, hold.end_s, LAST_S / LAST_PARTS)
    if t_s.size < LAST_PARTS - 1:
        return last, 0.0
    columns = np.stack((np.ones(t_s.size), t_s - LAST_S), axis=1)
    (there_v, falls_v_s), misfit = _line_through(columns, volt)
    variance = misfit / (t_s.size - 2) * np.linalg.inv(columns.T @ columns)[0, 0]
    own = Source(np.array([[math.sqrt(variance)]]), np.array([float(t_s.size - 2)]))
    sources = {**_shared(last), "voltage at the end": own}
    return Measured(np.array([float(there_v)]), sources), float(falls_v_s)


def _way_down_s(current: Series, slices: Plateaus, hold: Hold, after: Hold) -> float:
    """What was drawn on the way down, as seconds of the current at the hold's end.

    The pack goes on falling by it, which is no resistance.
    """
    means = slices.channels["current"]
    t_s, amp = current.between(hold.end_s, after.start_s + RUN_OUT_S)
    good = np.isfinite(amp)
    if np.count_nonzero(good) < 2 or not float(means.mean[-1]) > 0:
        return 0.0
    above = amp[good] - float(means.raw[-1] - means.mean[-1])
    return max(0.0, area(above, t_s[good])) / float(means.mean[-1])


def _back(
    voltage: Series, after: Hold, end_v: Measured, sunk_v: float
) -> Recovery | None:
    """How the voltage came back: at once, with a time constant, and what drains on.

    Near its end a pack's voltage falls steeply with charge, so that even what a stand
    draws with its motor off shows: as a line in time, which is taken off.

    Args:
        voltage: Of the bus.
        after: The rest.
        end_v: What it was as the hold ended.
        sunk_v: What the pack fell by between, emptied further on the way down.
    """
    t_s, volt = _means(voltage, after.start_s, after.end_s, FOLLOWED_S)
    run_out = t_s > RUN_OUT_S
    t_s, volt = t_s[run_out], volt[run_out]
    if t_s.size < FEWEST_MEANS:
        return None
    ones = np.ones(t_s.size)
    plain = _line_through(np.stack((ones, -t_s), axis=1), volt)
    found = [(plain[1], float(plain[0][0]), 0.0, math.nan)]
    for slow_s in SLOW_TIMES_S:
        columns = np.stack((ones, -t_s, -np.exp(-t_s / slow_s)), axis=1)
        (open_v, _, slow_v), misfit = _line_through(columns, volt)
        if slow_v > 0:
            found.append((misfit, float(open_v), float(slow_v), slow_s))
    misfit, open_v, slow_v, slow_s = min(found)
    open_v += sunk_v
    sd_v = math.sqrt(misfit / max(1, t_s.size - 4))
    left = Measured(np.array([open_v]), _shared(end_v))
    left = left.with_source(SLOW, np.array([[SLOW_SHARE * slow_v / ROOT_3]]))
    # How steeply it falls there is read off the last second alone.
    left = left.with_source(SUNK, np.array([[sunk_v / ROOT_3]]))
    return Recovery(
        open_v=left.with_source("voltage as the pack came back", np.array([[sd_v]])),
        quick_v=open_v - slow_v - float(end_v.value[0]),
        slow_v=slow_v,
        slow_s=slow_s,
        lasted_s=after.end_s - after.start_s,
    )


def _means(
    voltage: Series, start_s: float, end_s: float, span_s: float
) -> tuple[Array, Array]:
    """Means over short times, as seconds from the start and volt."""
    t_s, volt = voltage.between(start_s, end_s)
    good = np.isfinite(volt)
    into_s, volt = t_s[good] - start_s, volt[good]
    place = (into_s / span_s).astype(np.intp)
    counts = np.bincount(place)
    there = np.flatnonzero(counts)
    times, sums = (np.bincount(place, one)[there] for one in (into_s, volt))
    return times / counts[there], sums / counts[there]


def _line_through(columns: Array, volt: Array) -> tuple[Array, float]:
    """Coefficients by least squares, and the sum of squares that is left."""
    found, *_ = np.linalg.lstsq(columns, volt, rcond=None)
    off = volt - columns @ found
    return np.asarray(found, dtype=np.float64), float(off @ off)


def _shared(end_v: Measured) -> dict[str, Source]:
    """What the voltage's scale is wrong by, it is wrong by a moment later as well."""
    return {name: one for name, one in end_v.sources.items() if one.common}


def _end_ohm(back_v: Measured, end_v: Measured, amp: Measured) -> Measured | None:
    """Resistance by what the voltage came back by; None unless it did."""
    found = derived(lambda b, e, a: (b - e) / a, back_v, end_v, amp)
    # What is its own is of these readings, and slices have theirs.
    own = {name for name, one in found.sources.items() if not one.common}
    named = found.renamed(lambda name: f"{name} at the end" if name in own else name)
    return named if float(named.value[0]) > 0 else None


def _in_air(
    read: _Read,
    held_at: Index,
    spans_s: Array,
    ohm: Measured | None,
    goal: HeldGoal,
    aircraft: Aircraft | None,
) -> InAir | None:
    """The flight, where the pack was emptied and it is known what would fly."""
    if aircraft is None or ohm is None or not goal.emptied:
        return None
    thrust, amp, volt, watt = (one.take(held_at) for one in read)
    slices = Slices(thrust, amp, volt, watt, spans_s)
    return in_air(slices, ohm, goal.thrust_n, goal.floor_v, aircraft)

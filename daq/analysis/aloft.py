"""What an aircraft would get out of a pack that one motor emptied on the stand.

The pack's voltage against charge is taken as it was measured; what one motor's current
dropped is given back and what all of them drop is taken off (Kirchhoff's law on one
resistance). Solved and not measured, and it must never be told as measured in flight.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from daq.analysis.aircraft import Aircraft
from daq.analysis.measured import (
    Measured,
    combine,
    derived,
    numeric_gradient,
    small_step,
    stated,
)
from daq.analysis.series import Array
from daq.analysis.unseen import ROOT_3

#: How else the resistance may be, on the way there, than it is at the end: a
#: rectangular bound (common practice, no source).
OHM_ELSEWHERE_REL: Final = 0.2
ELSEWHERE: Final = "resistance of the pack before its end"
#: Power goes with this power of thrust (momentum theory), as a rectangular bound.
POWER_OF_THRUST: Final = (1.5, 0.3)
LOCAL_LAW: Final = "power against thrust"
#: A thrust within this share of the hover is restated to it; others are not.
HOVER_SHARE: Final = 0.1


@dataclass(frozen=True, slots=True)
class InAir:
    """The aircraft's hover on this pack; one value each.

    Attributes:
        endurance_s: From the charge that it began with to the floor.
        charge_c: Drawn until then.
        total_a: Mean current.
        motors: How many share the pack.
        beyond_a: The most current that the stand drew.
        drawn_c: Charge drawn by the middle of each slice, shape (n,).
        bus_v: Bus voltage of the aircraft there, shape (n,); NaN once it is down.
    """

    endurance_s: Measured
    charge_c: Measured
    total_a: Measured
    motors: int
    beyond_a: float
    drawn_c: Array
    bus_v: Array


class Slices(NamedTuple):
    """What was read in slices of a hold, shape (n,) each.

    Attributes:
        thrust_n: Mean thrust.
        amp: Mean current.
        volt: Mean bus voltage.
        watt: Mean power.
        spans_s: How long each counts.
    """

    thrust_n: Measured
    amp: Measured
    volt: Measured
    watt: Measured
    spans_s: Array


def in_air(
    read: Slices, ohm: Measured, thrust_n: float, floor_v: float, aircraft: Aircraft
) -> InAir | None:
    """What the aircraft would get out of the pack, down to the same floor.

    At each charge the stand read V with the current I of one motor. The aircraft draws
    J = N P / U + E at its bus voltage U = V + R I - R J, a quadratic in U. Where U
    comes down to the floor the flight is over; it lasted for the charge over J, summed.

    Args:
        read: The hold, down to its floor.
        ohm: From inside the pack to where the stand reads the voltage.
        thrust_n: What was to be held.
        floor_v: Bus voltage at which a flight is over.
        aircraft: What is flown.

    Returns:
        None where the thrust is not that of its hover, or nothing can be solved.
    """
    weight = aircraft.weight()
    motors, load = aircraft.motors, aircraft.load()
    if weight is None:
        return None
    if abs(thrust_n * motors / float(weight.value[0]) - 1.0) > HOVER_SHARE:
        return None
    count, spans_s = read.amp.value.size, read.spans_s

    def at(values: Array) -> _At:
        parts = np.split(values[: 4 * count], 4)
        return _At(parts[0], parts[1], parts[2], parts[3], spans_s)

    def flown(values: Array) -> tuple[float, float]:
        return _flown(at(values), motors, floor_v, *values[-5:])

    inputs = (
        *read[:4],
        ohm,
        stated(0.0, ELSEWHERE, OHM_ELSEWHERE_REL / ROOT_3),
        load,
        weight,
        stated(POWER_OF_THRUST[0], LOCAL_LAW, POWER_OF_THRUST[1] / ROOT_3),
    )
    time_s = _figure(lambda values: flown(values)[0], inputs)
    charge = _figure(lambda values: flown(values)[1], inputs)
    if time_s is None or charge is None:
        return None
    best = np.concatenate([one.value for one in inputs])
    middle_c, bus_v, _ = _under_all(at(best), motors, *best[-5:])
    return InAir(
        endurance_s=time_s,
        charge_c=charge,
        total_a=derived(np.divide, charge, time_s),
        motors=motors,
        beyond_a=float(read.amp.value.max()),
        drawn_c=middle_c,
        bus_v=np.where(bus_v > floor_v, bus_v, math.nan),
    )


class _At(NamedTuple):
    """The same as plain numbers, shape (n,) each."""

    thrust_n: Array
    amp: Array
    volt: Array
    watt: Array
    spans_s: Array


def _flown(
    at: _At,
    motors: int,
    floor_v: float,
    ohm: float,
    elsewhere: float,
    load_a: float,
    weight_n: float,
    power: float,
) -> tuple[float, float]:
    """Seconds and coulombs until the floor; NaN where it cannot be flown."""
    middle_c, bus_v, watt = _under_all(
        at, motors, ohm, elsewhere, load_a, weight_n, power
    )
    whole_c = float((at.amp * at.spans_s).sum())
    down = np.flatnonzero(bus_v <= floor_v)
    end = int(down[0]) if down.size else bus_v.size
    if end == 0:
        return math.nan, math.nan
    per_a = 1.0 / (motors * watt / np.maximum(bus_v, floor_v) + load_a)
    at_c, slope_s = middle_c[:end], per_a[:end]
    floor_c = _crossing(middle_c, bus_v, end, floor_v, whole_c)
    # Seconds a coulomb, from none to the floor, level beyond the middles at the ends.
    grid_c = np.concatenate(([0.0], at_c, [floor_c]))
    rate_s = np.concatenate((slope_s[:1], slope_s, per_a[end - 1 : end]))
    return area(rate_s, grid_c), floor_c


def _under_all(
    at: _At,
    motors: int,
    ohm: float,
    elsewhere: float,
    load_a: float,
    weight_n: float,
    power: float,
) -> tuple[Array, Array, Array]:
    """Charge drawn, bus voltage of the aircraft and power of a motor, shape (n,) each.

    The voltage is 0 where the pack cannot give that power.
    """
    middle_c = middles(at.amp * at.spans_s)
    # As far before the end as it is: at the end it was measured.
    left = 1.0 - middle_c / (at.amp * at.spans_s).sum()
    each_ohm = ohm * (1.0 + elsewhere * left)
    watt = at.watt * (weight_n / motors / at.thrust_n) ** power
    open_v = at.volt + each_ohm * (at.amp - load_a)
    inside = open_v**2 - 4.0 * each_ohm * motors * watt
    root_v = np.sqrt(np.maximum(inside, 0.0))
    return middle_c, np.where(inside > 0, 0.5 * (open_v + root_v), 0.0), watt


def middles(charge_c: Array) -> Array:
    """Charge drawn by the middle of each slice, of the charge of each."""
    return np.asarray(np.cumsum(charge_c) - 0.5 * charge_c, dtype=np.float64)


def _crossing(
    middle_c: Array, bus_v: Array, end: int, floor_v: float, whole_c: float
) -> float:
    """Charge where the voltage crosses the floor, on a straight line."""
    if end == bus_v.size:
        return whole_c
    high_v, low_v = float(bus_v[end - 1]), float(bus_v[end])
    share = (high_v - floor_v) / (high_v - low_v)
    return float(middle_c[end - 1] + share * (middle_c[end] - middle_c[end - 1]))


def area(value: Array, at: Array) -> float:
    """The integral by the trapezoid rule."""
    return float(0.5 * (np.diff(at) * (value[1:] + value[:-1])).sum())


def _figure(
    function: Callable[[Array], float], inputs: Sequence[Measured]
) -> Measured | None:
    """A figure of all values of some inputs, with their sources by its slopes."""
    at = np.concatenate([one.value for one in inputs])
    value = function(at)
    steps = np.concatenate([small_step(one) for one in inputs])
    slopes = numeric_gradient(function, at, steps)
    if not (math.isfinite(value) and np.isfinite(slopes).all()):
        return None
    edges = np.cumsum([one.value.size for one in inputs])[:-1]
    one = np.ones(1)
    terms = [
        (one, part.mapped(row[np.newaxis, :]))
        for row, part in zip(np.split(slopes, edges), inputs, strict=True)
    ]
    return combine(np.array([value]), terms)

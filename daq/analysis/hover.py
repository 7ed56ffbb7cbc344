"""What the measured article does on an aircraft: hover, and full throttle.

One motor on the stand, several on one pack in the air. The power that a motor needs
for a thrust is taken from the run, and so is the voltage that it needs at its bridge
(throttle times bus voltage), since an averaged bridge makes the same of a low voltage
and much throttle as of a high one and little. The bus voltage of the aircraft is then
solved for all motors, the electronics and the pack together. Thrust and weight are
both in gram-force of one gravity, which cancels. The bound of momentum theory and the
air are not touched here: the aircraft is taken to hover in the air of the bench.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.analysis.aircraft import Aircraft
from daq.analysis.bridge import RESTATED, Powertrain, off_by_duty
from daq.analysis.curves import Curve
from daq.analysis.measured import Measured, combine, derived, exact, minus, plus
from daq.analysis.pack import PackFit, read_pack
from daq.analysis.plateaus import Plateaus
from daq.analysis.series import Array, Series
from daq.errors import InputFault
from daq.units import gf_to_n

#: A speed controller is at full duty some way before full throttle: it is taught where
#: the ends are and leaves a margin of tens of microseconds to its millisecond, as a
#: bound (common practice, no source).
FULL_FROM: Final = 0.04
#: How far beyond the measured thrusts a curve is still carried on, marked as
#: extrapolated: a share of the measured range.
CARRIED_ON: Final = 0.1
ONE_MORE_G: Final = 1.0


@dataclass(frozen=True, slots=True)
class Lift:
    """A weight held in the air; one value each.

    Attributes:
        thrust_n: Of each motor.
        throttle_frac: Of each motor.
        motor_w: Electrical power of each motor with its speed controller.
        total_a: Current from the pack, electronics included.
        bus_v: Voltage at the speed controllers.
    """

    thrust_n: Measured
    throttle_frac: Measured
    motor_w: Measured
    total_a: Measured
    bus_v: Measured


@dataclass(frozen=True, slots=True)
class Hover(Lift):
    """The aircraft standing in the air; one value each.

    Attributes:
        specific_n_w: Thrust of each motor over its electrical power.
        endurance_s: From full to a fifth left; None without a pack.
        gram_s: Endurance lost to one gram more; None without a pack.
        gram_throttle_frac: Throttle that one gram more asks for.
        extrapolated: Thrust lies beyond what was measured, or current beyond what
            the pack was seen to give.
    """

    specific_n_w: Measured
    endurance_s: Measured | None
    gram_s: Measured | None
    gram_throttle_frac: Measured
    extrapolated: bool


@dataclass(frozen=True, slots=True)
class FullThrottle:
    """All motors at full throttle at once, the pack as it was at the start of the run.

    Attributes:
        thrust_n: Of all motors.
        to_weight: That over the weight; None if the weight is not known.
        motor_a: Current of each motor.
        total_a: Current from the pack, electronics included.
        bus_v: Voltage at the speed controllers.
        extrapolated: Thrust lies beyond what was measured, or current beyond what
            the pack was seen to give.
    """

    thrust_n: Measured
    to_weight: Measured | None
    motor_a: Measured
    total_a: Measured
    bus_v: Measured
    extrapolated: bool


@dataclass(frozen=True, slots=True)
class Flight:
    """What the article does on its aircraft.

    Attributes:
        aircraft: The aircraft.
        train: What a motor needs for a thrust.
        pack: The pack, as the run showed it.
        hover: Standing in the air; None where it cannot be said.
        full: At full throttle; None where it cannot be said.
    """

    aircraft: Aircraft
    train: Powertrain
    pack: PackFit
    hover: Hover | None
    full: FullThrottle | None


def fly(
    series: Mapping[str, Series],
    plateaus: Plateaus,
    train: Powertrain,
    aircraft: Aircraft,
) -> Flight | None:
    """What the article does on an aircraft; None where the pack was not seen."""
    pack = read_pack(series, plateaus)
    if pack is None:
        return None
    return Flight(
        aircraft,
        train,
        pack,
        hover(train, pack, aircraft),
        full_throttle(train, pack, aircraft),
    )


def hover(train: Powertrain, pack: PackFit, aircraft: Aircraft) -> Hover | None:
    """Solve the hover; None where the weight is not known or nothing can lift it."""
    weight = aircraft.weight()
    if weight is None:
        return None
    each_n = float(weight.value[0]) / aircraft.motors
    if not train.power.covers(each_n, CARRIED_ON):
        return None
    # Without cells to go by it is the voltage that the run began with.
    rest, charge = aircraft.cells_v() or pack.rest_v, aircraft.flown_c()
    found = _at_weight(train, pack, aircraft, weight, rest)
    if found is None:
        return None
    more = plus(weight, exact(gf_to_n(ONE_MORE_G)))
    heavier = _at_weight(train, pack, aircraft, more, rest)
    if heavier is None:
        return None
    endurance = gram = None
    if charge is not None:
        endurance = derived(lambda c, a: c / a, charge, found.total_a)
        later = derived(lambda c, a: c / a, charge, heavier.total_a)
        gram = minus(endurance, later)
    return Hover(
        thrust_n=found.thrust_n,
        throttle_frac=found.throttle_frac,
        motor_w=found.motor_w,
        total_a=found.total_a,
        bus_v=found.bus_v,
        specific_n_w=derived(lambda t, p: t / p, found.thrust_n, found.motor_w),
        endurance_s=endurance,
        gram_s=gram,
        gram_throttle_frac=minus(heavier.throttle_frac, found.throttle_frac),
        extrapolated=not train.power.covers(each_n)
        or float(found.total_a.value[0]) > pack.highest_a,
    )


def full_throttle(
    train: Powertrain, pack: PackFit, aircraft: Aircraft
) -> FullThrottle | None:
    """Solve full throttle; None where it lies too far beyond what was measured."""
    load = aircraft.load()
    inputs = (pack.rest_v, pack.quick_ohm, load)
    top_n = float(train.power.x.max())
    thrust_n = _solve(
        lambda thrust: _surplus(train, aircraft.motors, thrust, *_values(inputs)), top_n
    )
    if thrust_n is None or not train.power.covers(thrust_n, CARRIED_ON):
        return None
    at = np.array([thrust_n])
    # Errors of the two curves there, as values around zero.
    power_off, applied_off = (_off(curve, at) for curve in (train.power, train.applied))
    applied_off = applied_off.with_source(
        RESTATED, np.array([[_duty_off_v(train, thrust_n)]])
    )
    everything = (*inputs, power_off, applied_off)

    def answers(pick: Callable[[float, float, float], float]) -> Measured:
        def solved(*values: Array) -> Array:
            numbers = [float(value[0]) for value in values]
            root = _solve(
                lambda thrust: _surplus(train, aircraft.motors, thrust, *numbers), top_n
            )
            if root is None:
                return np.array([math.nan])
            watt = _value(train.power, root) + numbers[3]
            volt = _value(train.applied, root) + numbers[4]
            return np.array([pick(root, watt / volt, volt)])

        return derived(solved, *everything)

    motor_a = answers(lambda _, amp, __: amp)
    total_a = answers(lambda _, amp, __: aircraft.motors * amp)
    total_a = plus(total_a, load)
    thrust = answers(lambda thrust, _, __: aircraft.motors * thrust)
    weight = aircraft.weight()
    to_weight = None if weight is None else derived(lambda t, w: t / w, thrust, weight)
    return FullThrottle(
        thrust_n=thrust,
        to_weight=to_weight,
        motor_a=motor_a,
        total_a=total_a,
        bus_v=answers(lambda _, __, volt: volt),
        extrapolated=not train.power.covers(thrust_n)
        or float(total_a.value[0]) > pack.highest_a,
    )


# ----------------------------------------------------------------- hovering


def _at_weight(
    train: Powertrain,
    pack: PackFit,
    aircraft: Aircraft,
    weight: Measured,
    rest: Measured,
) -> Lift | None:
    motors = aircraft.motors
    share = np.full(1, 1.0 / motors)
    each = combine(weight.value / motors, [(share, weight)])
    watt = _asked(train.power, each)
    volt = _asked(train.applied, each)
    load = aircraft.load()
    inputs = (rest, pack.whole_ohm, load, watt)

    def bus(rest_v: Array, ohm: Array, load_a: Array, motor_w: Array) -> Array:
        left_v = rest_v - ohm * load_a
        inside = left_v**2 - 4 * ohm * motors * motor_w
        root = np.sqrt(np.where(inside >= 0, inside, math.nan))
        return np.asarray((left_v + root) / 2, dtype=np.float64)

    bus_v = derived(bus, *inputs)
    if not np.isfinite(bus_v.value).all():
        return None
    total_a = derived(
        lambda rest_v, ohm, load_a, motor_w: (
            motors * motor_w / bus(rest_v, ohm, load_a, motor_w) + load_a
        ),
        *inputs,
    )
    throttle = derived(lambda u, v: u / v, volt, bus_v)
    on_stand = float(volt.value[0]) / _bus_on_stand(train, float(each.value[0]))
    moved = off_by_duty(float(throttle.value[0]) - on_stand)
    return Lift(
        thrust_n=each,
        throttle_frac=throttle.with_source(RESTATED, np.array([[moved]])),
        motor_w=watt,
        total_a=total_a,
        bus_v=bus_v,
    )


def _bus_on_stand(train: Powertrain, thrust_n: float) -> float:
    """Bus voltage that the stand had around a thrust, from the nearest plateau."""
    applied = train.applied
    nearest = int(np.argmin(np.abs(applied.x - thrust_n)))
    return float(applied.y[nearest] / applied.throttle_frac[nearest])


def _duty_off_v(train: Powertrain, thrust_n: float) -> float:
    """What the voltage at the bridge is off by where full throttle is asked.

    On the stand that thrust took less than full throttle, and what duty that was is
    known no better than how throttle and duty go together, and where it is full.
    """
    volt = _value(train.applied, thrust_n)
    on_stand = min(1.0, volt / _bus_on_stand(train, thrust_n))
    return math.hypot(off_by_duty(1.0 - on_stand), FULL_FROM / math.sqrt(3.0)) * volt


def _asked(curve: Curve, at: Measured) -> Measured:
    """A curve at a value that is itself uncertain."""
    there = curve.at(at.value)
    slope = curve.fit.slope(at.value)
    return combine(there.value, [(np.ones(1), there), (slope, at)])


# ------------------------------------------------------------ full throttle


def _values(inputs: tuple[Measured, ...]) -> list[float]:
    return [float(measured.value[0]) for measured in inputs]


def _off(curve: Curve, at: Array) -> Measured:
    there = curve.at(at)
    return Measured(np.zeros(1), there.sources)


def _value(curve: Curve, thrust_n: float) -> float:
    return float(curve.fit.predict(np.array([thrust_n]))[0])


def _surplus(
    train: Powertrain,
    motors: int,
    thrust_n: float,
    rest_v: float,
    ohm: float,
    load_a: float,
    power_off_w: float = 0.0,
    applied_off_v: float = 0.0,
) -> float:
    """Bus voltage that the pack gives less what full throttle needs, in volt."""
    volt = _value(train.applied, thrust_n) + applied_off_v
    watt = _value(train.power, thrust_n) + power_off_w
    return rest_v - ohm * (motors * watt / volt + load_a) - volt


def _solve(surplus: Callable[[float], float], top_n: float) -> float | None:
    """Thrust at which nothing is left over, by halving; None outside the search."""
    low, high = 0.02 * top_n, 1.5 * top_n
    try:
        if not (surplus(low) > 0 > surplus(high)):
            return None
        for _ in range(60):
            middle = (low + high) / 2
            if surplus(middle) > 0:
                low = middle
            else:
                high = middle
    except (InputFault, FloatingPointError):
        return None
    return (low + high) / 2

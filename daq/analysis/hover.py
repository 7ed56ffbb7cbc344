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
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from daq.analysis.aircraft import Aircraft
from daq.analysis.bridge import RESTATED, Powertrain, off_by_duty
from daq.analysis.gentle import SEED, propagated
from daq.analysis.measured import Measured, combine, exact, stated
from daq.analysis.pack import PackFit
from daq.analysis.series import Array
from daq.units import gf_to_n

#: A speed controller is at full duty some way before full throttle: it is taught where
#: the ends are and leaves a margin of tens of microseconds to its millisecond, as a
#: bound (common practice, no source).
FULL_FROM: Final = 0.04
#: How far beyond the measured thrusts a curve is still carried on, marked as
#: extrapolated: a share of the measured range.
CARRIED_ON: Final = 0.1
ONE_MORE_G: Final = 1.0
#: Where full throttle is looked for, as shares of the highest thrust measured, and how
#: often that is halved: to a part in 10^12.
SEARCHED: Final = (0.02, 1.5)
HALVINGS: Final = 40


@dataclass(frozen=True, slots=True)
class Hover:
    """The aircraft standing in the air; one value each.

    Attributes:
        thrust_n: Of each motor.
        throttle_frac: Of each motor.
        motor_w: Electrical power of each motor with its speed controller.
        total_a: Current from the pack, electronics included.
        bus_v: Voltage at the speed controllers.
        specific_n_w: Thrust of each motor over its electrical power.
        endurance_s: From full to a fifth left; None without a pack.
        gram_s: Endurance lost to one gram more; None without a pack.
        gram_throttle_frac: Throttle that one gram more asks for.
        extrapolated: Thrust lies beyond what was measured, or current beyond what
            the pack was seen to give.
    """

    thrust_n: Measured
    throttle_frac: Measured
    motor_w: Measured
    total_a: Measured
    bus_v: Measured
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


def fly(pack: PackFit, train: Powertrain, aircraft: Aircraft) -> Flight:
    """What the article does on an aircraft."""
    return Flight(
        aircraft,
        train,
        pack,
        hover(train, pack, aircraft),
        full_throttle(train, pack, aircraft),
    )


def hover(
    train: Powertrain, pack: PackFit, aircraft: Aircraft, seed: int = SEED
) -> Hover | None:
    """Solve the hover; None where the weight is not known or nothing can lift it.

    Args:
        train: What a motor needs for a thrust.
        pack: The pack.
        aircraft: The aircraft.
        seed: What draws begin from where a figure is not gentle.
    """
    weight = aircraft.weight()
    if weight is None:
        return None
    motors = aircraft.motors
    each = combine(weight.value / motors, [(np.full(1, 1.0 / motors), weight)])
    if not train.power.covers(float(each.value[0]), CARRIED_ON):
        return None
    # Without cells to go by it is the voltage that the run began with.
    rest, charge = aircraft.cells_v() or pack.rest_v, aircraft.flown_c()
    more_n = gf_to_n(ONE_MORE_G)
    given = (weight, rest, pack.whole_ohm, aircraft.load())
    now = (*given, *_off(train, each.value))
    # The curves' errors a gram further on: what they change by is in their slope.
    both = (*now, *_off(train, (weight.value + more_n) / motors))

    def held(*values: Array) -> Flown:
        return _held(train, motors, *values)

    def heavier(*values: Array) -> Flown:
        weight_n, *others = values
        return held(weight_n + more_n, *others[:3], *others[5:7])

    light, heavy = (
        state(*(one.value for one in inputs))
        for state, inputs in ((held, now), (heavier, both))
    )
    if not (np.isfinite(light.bus_v).all() and np.isfinite(heavy.bus_v).all()):
        return None
    on_stand = _on_stand(train, each.value)
    duty = _duty_off(light.throttle_frac - on_stand)
    heavier_duty = _duty_off(
        heavy.throttle_frac - _on_stand(train, each.value + more_n / motors)
    )

    def figures(
        charge_c: Array, off: Array, heavier_off: Array, *v: Array
    ) -> tuple[Array, ...]:
        one, other = held(*v[:6]), heavier(*v)
        throttle = one.throttle_frac + off
        return (
            throttle,
            one.motor_w,
            one.total_a,
            one.bus_v,
            one.thrust_n / one.motor_w,
            other.throttle_frac + heavier_off - throttle,
            charge_c / one.total_a,
            charge_c / one.total_a - charge_c / other.total_a,
        )

    throttle, watt, total, bus, specific, gram_throttle, endurance, gram = propagated(
        figures,
        charge or exact(0.0),
        duty,
        heavier_duty,
        *both,
        rng=np.random.default_rng(seed),
    )
    return Hover(
        thrust_n=each,
        throttle_frac=throttle,
        motor_w=watt,
        total_a=total,
        bus_v=bus,
        specific_n_w=specific,
        endurance_s=endurance if charge else None,
        gram_s=gram if charge else None,
        gram_throttle_frac=gram_throttle,
        extrapolated=not train.power.covers(float(each.value[0]))
        or float(light.total_a[0]) > pack.highest_a,
    )


def full_throttle(
    train: Powertrain, pack: PackFit, aircraft: Aircraft, seed: int = SEED
) -> FullThrottle | None:
    """Solve full throttle; None where it lies too far beyond what was measured.

    Args:
        train: What a motor needs for a thrust.
        pack: The pack.
        aircraft: The aircraft.
        seed: What draws begin from where a figure is not gentle.
    """
    motors = aircraft.motors
    given = (pack.rest_v, pack.quick_ohm, aircraft.load())
    rest_v, ohm, load_a = (one.value for one in given)
    none = np.zeros(1)
    nominal = _open(train, motors, rest_v, ohm, load_a, none, none)
    thrust_n = float(nominal.thrust_n[0])
    if not train.power.covers(thrust_n, CARRIED_ON):
        return None
    power_off, applied_off = _off(train, nominal.thrust_n)
    duty_v = np.array([[_duty_off_v(train, nominal.thrust_n)]])
    inputs = (*given, power_off, applied_off.with_source(RESTATED, duty_v))

    weight = aircraft.weight()

    def figures(weight_n: Array, *v: Array) -> tuple[Array, ...]:
        one = _open(train, motors, *v)
        thrust_n = motors * one.thrust_n
        amp = one.motor_w / one.bus_v
        return thrust_n, thrust_n / weight_n, amp, one.total_a, one.bus_v

    thrust, to_weight, motor_a, total_a, bus_v = propagated(
        figures, weight or exact(1.0), *inputs, rng=np.random.default_rng(seed)
    )
    return FullThrottle(
        thrust_n=thrust,
        to_weight=to_weight if weight else None,
        motor_a=motor_a,
        total_a=total_a,
        bus_v=bus_v,
        extrapolated=not train.power.covers(thrust_n)
        or float(nominal.total_a[0]) > pack.highest_a,
    )


# ------------------------------------------------------------------- solving


class Flown(NamedTuple):
    """A state of the aircraft as plain arrays, shape (n,) each."""

    thrust_n: Array
    throttle_frac: Array
    motor_w: Array
    total_a: Array
    bus_v: Array


def _held(
    train: Powertrain,
    motors: int,
    weight_n: Array,
    rest_v: Array,
    ohm: Array,
    load_a: Array,
    power_off_w: Array,
    applied_off_v: Array,
) -> Flown:
    """The weight held in the air; NaN where the pack cannot give the power."""
    each_n = weight_n / motors
    watt = train.power.fit.predict(each_n) + power_off_w
    volt = train.applied.fit.predict(each_n) + applied_off_v
    left_v = rest_v - ohm * load_a
    inside = left_v**2 - 4 * ohm * motors * watt
    bus_v = (left_v + np.sqrt(np.where(inside >= 0, inside, math.nan))) / 2
    total_a = motors * watt / bus_v + load_a
    return Flown(each_n, volt / bus_v, watt, total_a, bus_v)


def _open(
    train: Powertrain,
    motors: int,
    rest_v: Array,
    ohm: Array,
    load_a: Array,
    power_off_w: Array,
    applied_off_v: Array,
) -> Flown:
    """All motors at full throttle, by halving; NaN outside the search."""

    def needed(thrust_n: Array) -> tuple[Array, Array]:
        watt = train.power.fit.predict(thrust_n) + power_off_w
        return watt, train.applied.fit.predict(thrust_n) + applied_off_v

    def surplus(thrust_n: Array) -> Array:
        """Bus voltage that the pack gives less what full throttle needs, in volt."""
        watt, volt = needed(thrust_n)
        return np.asarray(rest_v - ohm * (motors * watt / volt + load_a) - volt)

    top_n = float(train.power.x.max())
    low = np.full(np.shape(rest_v), SEARCHED[0] * top_n)
    high = np.full(np.shape(rest_v), SEARCHED[1] * top_n)
    there = (surplus(low) > 0) & (surplus(high) < 0)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        above = surplus(middle) > 0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    thrust_n = np.where(there, (low + high) / 2, math.nan)
    watt, volt = needed(thrust_n)
    full = np.ones_like(thrust_n)
    return Flown(thrust_n, full, watt, motors * watt / volt + load_a, volt)


def _off(train: Powertrain, at_n: Array) -> tuple[Measured, Measured]:
    """Errors of the two curves at a thrust, as values around zero."""
    power, applied = (curve.at(at_n).sources for curve in (train.power, train.applied))
    return Measured(np.zeros(1), power), Measured(np.zeros(1), applied)


def _duty_off(moved_frac: Array) -> Measured:
    """What a throttle is off by that was moved so far, as a value around zero."""
    return stated(0.0, RESTATED, off_by_duty(float(moved_frac[0])))


def _on_stand(train: Powertrain, thrust_n: Array) -> Array:
    """Throttle that a thrust took on the stand, at what the bus had around there."""
    applied = train.applied
    nearest = int(np.argmin(np.abs(applied.x - thrust_n[0])))
    bus_v = float(applied.y[nearest] / applied.throttle_frac[nearest])
    return applied.fit.predict(thrust_n) / bus_v


def _duty_off_v(train: Powertrain, thrust_n: Array) -> float:
    """What the voltage at the bridge is off by where full throttle is asked.

    On the stand that thrust took less than full throttle, and what duty that was is
    known no better than how throttle and duty go together, and where it is full.
    """
    volt = float(train.applied.fit.predict(thrust_n)[0])
    on_stand = min(1.0, float(_on_stand(train, thrust_n)[0]))
    return math.hypot(off_by_duty(1.0 - on_stand), FULL_FROM / math.sqrt(3.0)) * volt

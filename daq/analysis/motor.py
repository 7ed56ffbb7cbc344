"""The motor inside the run: speed constant, shaft power, and where the watts went.

First-order motor (M. Drela, First-Order DC Electric Motor Model, MIT, 2007): V = K_t
omega + R I, torque K_t (I - I0). Below full throttle the bus current is not the
motor's current and duty is not known, so figures of the motor alone are made only at
full throttle, where the bridge stands open and both are the same but for the speed
controller's own draw. Without a resistance measured apart there is no telling Kv from
R. Power coefficient and figure of merit rest on the shaft power that follows.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from daq.analysis.gentle import SEED, propagated
from daq.analysis.measured import Measured, exact, minus, stated
from daq.analysis.plateaus import Plateaus
from daq.analysis.propeller import Disc
from daq.analysis.series import Array, Index
from daq.units import RPM_RAD_S

#: From this throttle on a bridge stands open (common practice, no source).
OPEN_THROTTLE: Final = 0.995
#: An ohmmeter with four wires on some tenths of an ohm, and its hand-held rivals: a
#: standard uncertainty of this share (common practice, no source).
OHMMETER_U_REL: Final = 0.05
#: A winding under load is warmer than when it was measured, by anything up to this:
#: copper gains 0.393 % a kelvin (IEC 60028).
WARMER_K: Final = 60.0
COPPER_REL_K: Final = 0.00393
#: Two switches of the bridge and its wires carry the current too, anything up to this
#: (common practice for such controllers, no source).
BRIDGE_OHM: Final = 0.03
#: A controller's own draw, anything up to this (common practice, no source).
OWN_DRAW_A: Final = 0.2
#: No-load current is read at no-load speed and is another at this one: a standard
#: uncertainty of this share (common practice, no source).
NO_LOAD_U_REL: Final = 0.2
ROOT_12: Final = math.sqrt(12.0)


@dataclass(frozen=True, slots=True)
class Winding:
    """What was measured of a motor apart from the run.

    Attributes:
        resistance_ohm: Between two terminals, cold.
        no_load_a: Current without a propeller; None if not known.
        printed_kv_rpm_v: Speed constant as printed.
    """

    resistance_ohm: float
    no_load_a: float | None
    printed_kv_rpm_v: float


@dataclass(frozen=True, slots=True)
class MotorMeans:
    """The motor at full throttle; one value each, over the plateaus there.

    Attributes:
        winding: What was measured of it apart.
        points: Numbers of the plateaus.
        kv_rpm_v: Speed constant, rpm a volt.
        copper_w: Lost in winding and bridge.
        idle_w: Lost in iron and friction; None without a no-load current.
        shaft_w: What is left for the propeller; None without a no-load current.
        efficiency: That over the electrical power; None likewise.
        power_coefficient: C_P = P / (rho n^3 D^5); None likewise or without a disc.
        figure_of_merit: Ideal over shaft power; None likewise or without thrust.
    """

    winding: Winding
    points: tuple[int, ...]
    kv_rpm_v: Measured
    copper_w: Measured
    idle_w: Measured | None = None
    shaft_w: Measured | None = None
    efficiency: Measured | None = None
    power_coefficient: Measured | None = None
    figure_of_merit: Measured | None = None


def read_motor(
    plateaus: Plateaus,
    power: Measured | None,
    ideal_w: Measured | None,
    disc: Disc | None,
    winding: Winding,
) -> MotorMeans | None:
    """The motor at full throttle; None without speed, voltage or such a plateau.

    Args:
        plateaus: The averaged run.
        power: Electrical power of the plateaus.
        ideal_w: Ideal power of the plateaus, if the diameter is known.
        disc: The propeller's disc, likewise.
        winding: What was measured apart.
    """
    volts, speed = plateaus.measured("voltage"), plateaus.measured("speed")
    amps = plateaus.measured("current")
    if volts is None or speed is None or amps is None or power is None:
        return None
    points = _open(plateaus, (volts, speed, amps, power))
    if not points.size:
        return None
    volt, omega, bus_a, watt = (_mean(m, points) for m in (volts, speed, amps, power))
    motor_a = _less_own_draw(bus_a)
    ohm = _loop(winding.resistance_ohm)
    rng = np.random.default_rng(SEED)
    kv, copper = propagated(
        lambda v, w, i, r: (w / RPM_RAD_S / (v - r * i), r * i * i),
        *(volt, omega, motor_a, ohm),
        rng=rng,
    )
    found = MotorMeans(winding, tuple(int(point) for point in points), kv, copper)
    if winding.no_load_a is None:
        return found
    no_load_u = NO_LOAD_U_REL * winding.no_load_a
    lost_a = stated(winding.no_load_a, "no-load current", no_load_u)
    ideal = exact(math.nan) if ideal_w is None else _mean(ideal_w, points)
    idle, shaft, efficiency, coefficient, merit = propagated(
        _inside,
        *(volt, omega, motor_a, ohm, lost_a, watt, ideal, *_disc(disc)),
        rng=rng,
    )
    return replace(
        found,
        idle_w=idle,
        shaft_w=shaft,
        efficiency=efficiency,
        power_coefficient=None if disc is None else coefficient,
        figure_of_merit=None if ideal_w is None else merit,
    )


def _inside(
    volt: Array,
    omega: Array,
    amp: Array,
    ohm: Array,
    lost_a: Array,
    watt: Array,
    ideal_w: Array,
    density_kg_m3: Array,
    diameter_m: Array,
) -> tuple[Array, ...]:
    """Idle loss, shaft power, efficiency, C_P and figure of merit."""
    emf_v = volt - ohm * amp
    shaft_w = emf_v * (amp - lost_a)
    rev_s = omega / (2 * math.pi)
    coefficient = shaft_w / (density_kg_m3 * rev_s**3 * diameter_m**5)
    return emf_v * lost_a, shaft_w, shaft_w / watt, coefficient, ideal_w / shaft_w


def _mean(measured: Measured, points: Index) -> Measured:
    """Over the plateaus at full throttle."""
    return measured.grouped([points])


def _open(plateaus: Plateaus, needed: tuple[Measured, ...]) -> Index:
    good = plateaus.throttle_frac >= OPEN_THROTTLE
    for measured in needed:
        good = good & np.isfinite(measured.value) & (measured.value > 0)
    return np.flatnonzero(good)


def _less_own_draw(bus_a: Measured) -> Measured:
    """The motor's current: the bus current less what the controller takes itself."""
    own_a = stated(
        OWN_DRAW_A / 2, "draw of the speed controller", -OWN_DRAW_A / ROOT_12
    )
    return minus(bus_a, own_a)


def _loop(cold_ohm: float) -> Measured:
    """Winding and bridge as they are under load."""
    warm = COPPER_REL_K * WARMER_K
    value = cold_ohm * (1 + warm / 2) + BRIDGE_OHM / 2
    return (
        stated(value, "ohmmeter", OHMMETER_U_REL * cold_ohm)
        .with_source("heat of the winding", np.array([[cold_ohm * warm / ROOT_12]]))
        .with_source("resistance of the bridge", np.array([[BRIDGE_OHM / ROOT_12]]))
    )


def _disc(disc: Disc | None) -> tuple[Measured, Measured]:
    """Density and diameter; NaN where they are not known."""
    if disc is None:
        return exact(math.nan), exact(math.nan)
    air = disc.air
    return (
        stated(air.density_kg_m3, "air density", air.u_kg_m3),
        stated(disc.diameter_m, "diameter", disc.diameter_u_m),
    )

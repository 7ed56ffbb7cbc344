"""Propeller coefficients, and the ideal power that none can beat.

Thrust coefficient C_T = T / (rho n^2 D^4) with n in revolutions a second, the
propeller convention. Momentum theory: J. G. Leishman, Principles of Helicopter
Aerodynamics (2000), chapter 2. The ratio of ideal to electrical power is total
efficiency; it holds motor and speed controller too and is never called figure
of merit or C_P here.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from daq.analysis.air import Air
from daq.analysis.gentle import SEED, propagated
from daq.analysis.measured import COVERAGE, Measured, combine, stated
from daq.analysis.plateaus import Plateaus
from daq.analysis.series import Array
from daq.errors import InputFault

#: What to look at, in this order, when an efficiency is beyond the possible.
CHECK_FIRST = (
    "the propeller's diameter as measured across the tips, not as printed",
    "air density",
    "the zero of thrust",
    "the calibration of current",
)


@dataclass(frozen=True, slots=True)
class Disc:
    """The propeller's disc and the air it works in.

    Attributes:
        diameter_m: Measured tip diameter.
        diameter_u_m: Its standard uncertainty.
        air: The air.
    """

    diameter_m: float
    diameter_u_m: float
    air: Air

    def __post_init__(self) -> None:
        """Refuse what is no propeller.

        Raises:
            InputFault: Diameter not above zero, or an uncertainty below zero.
        """
        if not (math.isfinite(self.diameter_m) and self.diameter_m > 0):
            raise InputFault(
                f"diameter_m is {self.diameter_m}; measure the propeller across "
                "its tips and give metres"
            )
        if not (math.isfinite(self.diameter_u_m) and self.diameter_u_m >= 0):
            raise InputFault(
                f"diameter_u_m is {self.diameter_u_m}; it must be zero or more"
            )


@dataclass(frozen=True, slots=True)
class Propeller:
    """What the plateaus say about the propeller.

    Attributes:
        thrust_coefficient: C_T of each plateau; None without speed.
        ideal_power_w: Ideal power of each plateau.
        total_efficiency: Ideal over electrical power; None without power.
        impossible: Whether a plateau's whole interval lies above 1, shape (n,).
    """

    thrust_coefficient: Measured | None
    ideal_power_w: Measured
    total_efficiency: Measured | None
    impossible: NDArray[np.bool_]


def examine(plateaus: Plateaus, power: Measured | None, disc: Disc) -> Propeller | None:
    """Thrust coefficient, ideal power and total efficiency of each plateau.

    Sources ``diameter`` and ``air density`` are shared by all plateaus, as are
    gains and zeros; the rest is each plateau's own.

    Returns:
        None without thrust.
    """
    thrust = plateaus.measured("thrust")
    if thrust is None:
        return None
    speed = plateaus.measured("speed")
    ideal = ideal_power(thrust, disc)
    efficiency = None
    impossible = np.zeros(len(plateaus), dtype=np.bool_)
    if power is not None:
        efficiency = _total_efficiency(thrust, power, ideal, disc)
        low, _ = efficiency.interval(COVERAGE)
        impossible = low > 1.0
    return Propeller(
        thrust_coefficient=None
        if speed is None
        else thrust_coefficient(thrust, speed, disc),
        ideal_power_w=ideal,
        total_efficiency=efficiency,
        impossible=impossible,
    )


def thrust_coefficient(thrust: Measured, speed: Measured, disc: Disc) -> Measured:
    """C_T = T / (rho n^2 D^4) with its sources; NaN where nothing turned.

    Args:
        thrust: Thrust in newton, shape (n,).
        speed: Speed in rad/s, shape (n,).
        disc: Disc and air.
    """
    omega = np.where(speed.value > 0, speed.value, math.nan)
    rev_s = omega / (2 * math.pi)
    unit = 1.0 / (disc.air.density_kg_m3 * rev_s**2 * disc.diameter_m**4)
    value = thrust.value * unit
    result = combine(value, [(unit, thrust), (-2 * value / omega, speed)])
    return _with_disc(result, disc, density_power=-1.0, diameter_power=-4.0)


def coefficient_at(
    thrust: Measured, speed: Measured, disc: Disc, point: int
) -> Measured:
    """C_T of one plateau, its interval drawn where air or diameter bend it."""
    air = disc.air
    (found,) = propagated(
        lambda newton, omega, density_kg_m3, diameter_m: (
            newton / (density_kg_m3 * (omega / (2 * math.pi)) ** 2 * diameter_m**4),
        ),
        thrust.take([point]),
        speed.take([point]),
        stated(air.density_kg_m3, "air density", air.u_kg_m3),
        stated(disc.diameter_m, "diameter", disc.diameter_u_m),
        rng=np.random.default_rng(SEED),
    )
    return found


def ideal_power(thrust: Measured, disc: Disc) -> Measured:
    """P = sqrt(T^3 / (2 rho A)) of an open propeller; NaN for thrust below 0."""
    newton = np.where(thrust.value >= 0, thrust.value, math.nan)
    value = ideal_power_w(newton, disc.air.density_kg_m3, disc.diameter_m)
    slope = 1.5 * ideal_power_w(newton, disc.air.density_kg_m3, disc.diameter_m, 0.5)
    result = combine(value, [(slope, thrust)])
    return _with_disc(result, disc, density_power=-0.5, diameter_power=-1.0)


def ideal_power_w(
    thrust_n: Array, density_kg_m3: float, diameter_m: float, power: float = 1.5
) -> Array:
    """Ideal power of a hovering disc, T^1.5 / sqrt(2 rho A), in watt.

    Args:
        thrust_n: Thrust, zero or more, any shape.
        density_kg_m3: Air density.
        diameter_m: Tip diameter.
        power: Exponent of thrust; 0.5 gives the velocity through the disc in
            m/s, and two thirds of the derivative of power.
    """
    area_m2 = math.pi * diameter_m**2 / 4
    return np.asarray(
        thrust_n**power / math.sqrt(2 * density_kg_m3 * area_m2), dtype=np.float64
    )


def components(measured: Measured) -> dict[str, tuple[Array, bool]]:
    """Relative standard uncertainty by source, and whether plateaus share it."""
    size = np.abs(measured.value)
    with np.errstate(divide="ignore", invalid="ignore"):
        return {
            name: (np.sqrt(source.variance()) / size, source.common)
            for name, source in measured.sources.items()
        }


def _total_efficiency(
    thrust: Measured, power: Measured, ideal: Measured, disc: Disc
) -> Measured:
    with np.errstate(divide="ignore", invalid="ignore"):
        watt = np.where(power.value > 0, power.value, math.nan)
        value = ideal.value / watt
        per_newton = np.where(thrust.value > 0, 1.5 * value / thrust.value, math.nan)
    result = combine(value, [(per_newton, thrust), (-value / watt, power)])
    return _with_disc(result, disc, density_power=-0.5, diameter_power=-1.0)


def _with_disc(
    measured: Measured, disc: Disc, *, density_power: float, diameter_power: float
) -> Measured:
    density = density_power * disc.air.u_kg_m3 / disc.air.density_kg_m3
    diameter = diameter_power * disc.diameter_u_m / disc.diameter_m
    column = measured.value[:, np.newaxis]
    return measured.with_source("air density", density * column).with_source(
        "diameter", diameter * column
    )

"""Density of the air around the stand.

Moist air by the formula of the CIPM (A. Picard, R. S. Davis, M. Glaser, K.
Fujii, Revised formula for the density of moist air (CIPM-2007), Metrologia 45,
2008, 149-155), and the standard atmosphere of ISO 2533:1975 for where nobody
read a barometer. Nothing here corrects a thrust for density: what that means
depends on what is held.
"""

import math
from dataclasses import dataclass

import numpy as np

from daq.analysis.measured import numeric_gradient
from daq.analysis.series import Array
from daq.errors import InputFault
from daq.units import ZERO_CELSIUS_K, k_to_c

#: Relative standard uncertainty of the formula itself (Picard et al. 2008).
FORMULA_U_REL = 2.2e-5
#: Molar gas constant that belongs to the formula (CODATA 2006).
GAS_J_MOL_K = 8.314472
WATER_KG_MOL = 18.01528e-3
CO2_FRACTION = 0.0004

ISA_TEMPERATURE_K = 288.15
ISA_PRESSURE_PA = 101325.0
ISA_LAPSE_K_M = -6.5e-3
ISA_GAS_J_KG_K = 287.05287
ISA_GRAVITY_M_S2 = 9.80665
ISA_TOP_M = 11000.0
#: Standard uncertainty of standard air at sea level taken for an unknown bench:
#: twice it reaches from 30 degC at 900 m to a cold day at sea level.
ASSUMED_U_KG_M3 = 0.10


@dataclass(frozen=True, slots=True)
class Air:
    """Air density with its standard uncertainty.

    Attributes:
        density_kg_m3: Density.
        u_kg_m3: Standard uncertainty.
        words: Where it comes from, for people.
        assumed: Whether nothing about this bench's air was measured.
        barometer_u_kg_m3: What of the uncertainty comes from the pressure: whoever
            reads the same barometer again has the same error.
    """

    density_kg_m3: float
    u_kg_m3: float
    words: str
    assumed: bool = False
    barometer_u_kg_m3: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no density of air.

        Raises:
            InputFault: Density or uncertainty not finite, or out of reach.
        """
        if not (math.isfinite(self.density_kg_m3) and 0.2 <= self.density_kg_m3 <= 2.0):
            raise InputFault(
                f"air density is {self.density_kg_m3} kg/m^3; near the ground it is "
                "0.9 to 1.4"
            )
        if not (math.isfinite(self.u_kg_m3) and self.u_kg_m3 >= 0):
            raise InputFault(
                f"the uncertainty of air density is {self.u_kg_m3} kg/m^3; "
                "it must be zero or more"
            )


@dataclass(frozen=True, slots=True)
class Atmosphere:
    """A state of the standard atmosphere.

    Attributes:
        temperature_k: Temperature.
        pressure_pa: Pressure.
        density_kg_m3: Density of dry air there.
    """

    temperature_k: float
    pressure_pa: float
    density_kg_m3: float


def moist_air_density(
    temperature_k: float,
    pressure_pa: float,
    humidity_frac: float,
    co2_frac: float = CO2_FRACTION,
) -> float:
    """Density of moist air in kg/m^3 by CIPM-2007.

    The formula is stated for 600 to 1100 hPa and 15 to 27 degC; a little
    outside it is still good to some 1e-4, ample for a thrust stand.

    Args:
        temperature_k: Air temperature, 263 K to 323 K.
        pressure_pa: Pressure where the stand is (not reduced to sea level),
            50 kPa to 115 kPa.
        humidity_frac: Relative humidity, 0 to 1.
        co2_frac: Mole fraction of carbon dioxide.

    Raises:
        InputFault: A value outside these limits.
    """
    _check("temperature", temperature_k, 263.0, 323.0, "K")
    _check("pressure", pressure_pa, 50e3, 115e3, "Pa")
    _check("relative humidity", humidity_frac, 0.0, 1.0, "(a fraction)")
    return _density(np.array([temperature_k, pressure_pa, humidity_frac]), co2_frac)


def measured_air(
    temperature_k: float,
    pressure_pa: float,
    humidity_frac: float,
    *,
    temperature_u_k: float,
    pressure_u_pa: float,
    humidity_u_frac: float,
) -> Air:
    """Air density from readings with their standard uncertainties.

    Raises:
        InputFault: A reading out of range, or an uncertainty below zero.
    """
    density = moist_air_density(temperature_k, pressure_pa, humidity_frac)
    steps = np.array([0.01, 1.0, 0.001])
    at = np.array([temperature_k, pressure_pa, humidity_frac])
    slopes = numeric_gradient(lambda a: _density(a, CO2_FRACTION), at, steps)
    u = np.array([temperature_u_k, pressure_u_pa, humidity_u_frac])
    if not (np.all(np.isfinite(u)) and np.all(u >= 0)):
        raise InputFault("uncertainties of air readings must be zero or more")
    variance = float(((slopes * u) ** 2).sum()) + (FORMULA_U_REL * density) ** 2
    words = (
        f"moist air at {k_to_c(temperature_k):.1f} \N{DEGREE SIGN}C, "
        f"{pressure_pa / 100:.1f} hPa, "
        f"{100 * humidity_frac:.0f} % relative humidity"
    )
    barometer_u = abs(float(slopes[1])) * pressure_u_pa
    return Air(density, math.sqrt(variance), words, barometer_u_kg_m3=barometer_u)


def assumed_air() -> Air:
    """Standard air at sea level, with a wide uncertainty, for an unknown bench."""
    sea = standard_atmosphere(0.0)
    return Air(
        sea.density_kg_m3,
        ASSUMED_U_KG_M3,
        "standard air at sea level (ISO 2533), assumed: temperature and pressure "
        "were not given",
        assumed=True,
    )


def standard_atmosphere(geopotential_m: float) -> Atmosphere:
    """Standard atmosphere below 11 km (ISO 2533:1975).

    Args:
        geopotential_m: Geopotential altitude; up to a bench's heights the
            same as altitude to a few parts in ten thousand.

    Raises:
        InputFault: Below -2 km or above 11 km.
    """
    _check("altitude", geopotential_m, -2000.0, ISA_TOP_M, "m")
    temperature_k = ISA_TEMPERATURE_K + ISA_LAPSE_K_M * geopotential_m
    exponent = -ISA_GRAVITY_M_S2 / (ISA_GAS_J_KG_K * ISA_LAPSE_K_M)
    pressure_pa = ISA_PRESSURE_PA * (temperature_k / ISA_TEMPERATURE_K) ** exponent
    density = pressure_pa / (ISA_GAS_J_KG_K * temperature_k)
    return Atmosphere(temperature_k, pressure_pa, density)


def _density(at: Array, co2_frac: float) -> float:
    """CIPM-2007 at (temperature K, pressure Pa, humidity)."""
    t_k, p_pa, humidity = (float(number) for number in at)
    t_c = t_k - ZERO_CELSIUS_K
    saturation_pa = math.exp(
        1.2378847e-5 * t_k**2 - 1.9121316e-2 * t_k + 33.93711047 - 6.3431645e3 / t_k
    )
    enhancement = 1.00062 + 3.14e-8 * p_pa + 5.6e-7 * t_c**2
    vapour = humidity * enhancement * saturation_pa / p_pa
    dry_kg_mol = (28.96546 + 12.011 * (co2_frac - 0.0004)) * 1e-3
    ratio = p_pa / t_k
    compressibility = (
        1.0
        - ratio
        * (
            1.58123e-6
            - 2.9331e-8 * t_c
            + 1.1043e-10 * t_c**2
            + (5.707e-6 - 2.051e-8 * t_c) * vapour
            + (1.9898e-4 - 2.376e-6 * t_c) * vapour**2
        )
        + ratio**2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    return (
        p_pa
        * dry_kg_mol
        / (compressibility * GAS_J_MOL_K * t_k)
        * (1.0 - vapour * (1.0 - WATER_KG_MOL / dry_kg_mol))
    )


def _check(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        raise InputFault(
            f"{name} of the air is {value} {unit}; it must be {low:g} to {high:g}"
        )

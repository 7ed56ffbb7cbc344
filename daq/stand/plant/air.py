"""Density of the air around the stand, for the plant's propeller.

Deliberately the simple formula: the analysis has its own, better one and must
not share this. Never import from ``daq.analysis`` here.
"""

import math

from daq.units import c_to_k

DRY_AIR_GAS_CONSTANT_J_KG_K = 287.05287
"""Specific gas constant of dry air; source: ISO 2533:1975."""

WATER_GAS_CONSTANT_J_KG_K = 8.314472 / 18.01528e-3
"""R/M_v with the constants of CIPM-2007 (Picard et al., Metrologia 45, 2008)."""


def saturation_pressure_pa(temperature_c: float) -> float:
    """Saturation pressure of water vapour over water, in pascal.

    Source: CIPM-2007 (Picard et al., Metrologia 45 (2008) 149), its equation
    for p_sv, meant for 15 to 27 degrees Celsius.
    """
    kelvin = c_to_k(temperature_c)
    return math.exp(
        1.2378847e-5 * kelvin * kelvin
        - 1.9121316e-2 * kelvin
        + 33.93711047
        - 6.3431645e3 / kelvin
    )


def air_density_kg_m3(
    temperature_c: float, pressure_pa: float, relative_humidity_frac: float
) -> float:
    """Density of moist air as a mixture of two ideal gases.

    Good to 5e-4 against CIPM-2007 at bench conditions, because compressibility
    and the enhancement factor are left out.

    Args:
        temperature_c: air temperature in degrees Celsius.
        pressure_pa: absolute pressure in pascal.
        relative_humidity_frac: 0 to 1.

    Returns:
        Density in kg/m^3.
    """
    vapour_pa = relative_humidity_frac * saturation_pressure_pa(temperature_c)
    dry_pa = pressure_pa - vapour_pa
    kelvin = c_to_k(temperature_c)
    return (
        dry_pa / DRY_AIR_GAS_CONSTANT_J_KG_K + vapour_pa / WATER_GAS_CONSTANT_J_KG_K
    ) / kelvin

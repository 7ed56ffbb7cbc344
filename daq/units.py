"""Unit conversions: SI inside, the trade's units where a person reads.

This is the only module that converts. Everything else carries SI values and
says the unit in the name (``thrust_n``, ``speed_rad_s``).

Sources: standard gravity, 3rd CGPM (1901), repeated in ISO 80000-4 and NIST
SP 811 (2008) appendix B; inch, NIST SP 811 appendix B; the rest is definition.
"""

import math

STANDARD_GRAVITY_M_S2 = 9.80665
GRAM_FORCE_N = STANDARD_GRAVITY_M_S2 * 1e-3
INCH_M = 0.0254
RPM_RAD_S = 2 * math.pi / 60
ZERO_CELSIUS_K = 273.15


def n_to_gf(force_n: float) -> float:
    """Newton to gram-force."""
    return force_n / GRAM_FORCE_N


def gf_to_n(force_gf: float) -> float:
    """Gram-force to newton."""
    return force_gf * GRAM_FORCE_N


def rad_s_to_rpm(speed_rad_s: float) -> float:
    """Radian a second to revolutions a minute."""
    return speed_rad_s / RPM_RAD_S


def rpm_to_rad_s(speed_rpm: float) -> float:
    """Revolutions a minute to radian a second."""
    return speed_rpm * RPM_RAD_S


def in_to_m(length_in: float) -> float:
    """Inch to metre."""
    return length_in * INCH_M


def m_to_in(length_m: float) -> float:
    """Metre to inch."""
    return length_m / INCH_M


def c_to_k(temperature_c: float) -> float:
    """Degree Celsius to kelvin."""
    return temperature_c + ZERO_CELSIUS_K


def k_to_c(temperature_k: float) -> float:
    """Kelvin to degree Celsius."""
    return temperature_k - ZERO_CELSIUS_K


def coulomb_to_mah(charge_c: float) -> float:
    """Coulomb to milliampere hours.

    Source: 1 A h = 3600 C (SI Brochure, 9th ed., 2019: 1 h = 3600 s, 1 C = 1 A s).
    """
    return charge_c / 3.6


def milli(value: float) -> float:
    """A value in thousandths of its unit: volt to millivolt, ohm to milliohm."""
    return value * 1e3


def kv_to_volt_second(kv_rpm_v: float) -> float:
    """Kv in rpm/V to the motor constant in V s/rad, equal to N m/A.

    Source: K_t = 60 / (2 pi Kv), M. Drela, First-Order DC Electric Motor Model
    (MIT, 2007): K_Q equals K_v when both are in SI.
    """
    return 1.0 / (kv_rpm_v * RPM_RAD_S)

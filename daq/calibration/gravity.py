"""Local gravity: what makes a force of a mass.

A load cell reads force, a check mass has mass; between them stands the gravity of the
place, which differs by half a per cent over the earth. Where nobody says where the
stand is, standard gravity is taken with an uncertainty that covers every place.
"""

import math
from dataclasses import dataclass

from daq.errors import InputFault
from daq.units import STANDARD_GRAVITY_M_S2

# Normal gravity on the WGS 84 ellipsoid, Somigliana's closed form (NIMA TR8350.2,
# third edition, equation 4-1 and table 3.4; constants from memory, recomputed: they
# give the usual 9.80620 m/s^2 at 45 degrees).
EQUATOR_M_S2 = 9.7803253359
POLE_M_S2 = 9.8321849378
SOMIGLIANA_K = 0.00193185265241
ECCENTRICITY_2 = 0.00669437999013
# Change with height (TR8350.2, equation 4-3, with a, f and m of the ellipsoid).
SEMI_MAJOR_M = 6_378_137.0
FLATTENING = 1.0 / 298.257223563
M_RATIO = 0.00344978650684
# How far real gravity strays from normal gravity: mountains and what lies under them,
# mostly below 1 mm/s^2 (100 milligal; common practice, no source). A bound.
ANOMALY_M_S2 = 1e-3
# Nobody lives where gravity is further from standard gravity than this: the equator at
# 3,000 m. A bound; the pole is nearer.
ANYWHERE_M_S2 = 0.036
LATITUDE_U_DEG = 0.3
HEIGHT_U_M = 100.0
ROOT_3 = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Gravity:
    """Local gravity.

    Attributes:
        value_m_s2: best value.
        u_m_s2: its standard uncertainty.
        source: where it comes from, a clause.
    """

    value_m_s2: float
    u_m_s2: float
    source: str

    def __post_init__(self) -> None:
        """Refuse what is not on this earth.

        Raises:
            InputFault: a value outside 9.7 to 9.9, or an uncertainty below zero.
        """
        if not 9.7 <= self.value_m_s2 <= 9.9:
            raise InputFault(
                f"gravity is {self.value_m_s2:g} m/s^2; on this earth it is 9.76 to "
                "9.84."
            )
        if not 0.0 <= self.u_m_s2 < 0.1:
            raise InputFault(
                f"the uncertainty of gravity is {self.u_m_s2:g} m/s^2; it must be 0 or "
                "more, and below 0.1."
            )

    @property
    def u_rel(self) -> float:
        """Relative standard uncertainty."""
        return self.u_m_s2 / self.value_m_s2


def normal_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """Normal gravity on and above the WGS 84 ellipsoid, m/s^2.

    Raises:
        InputFault: latitude outside -90 to 90, or a height where nobody spins.
    """
    if not -90.0 <= latitude_deg <= 90.0:
        raise InputFault(
            f"latitude_deg is {latitude_deg:g}; it must be -90 to 90, north positive."
        )
    if not -500.0 <= height_m <= 6000.0:
        raise InputFault(f"height_m is {height_m:g}; it must be -500 to 6000.")
    sine2 = math.sin(math.radians(latitude_deg)) ** 2
    ground = EQUATOR_M_S2 * (1.0 + SOMIGLIANA_K * sine2)
    ground /= math.sqrt(1.0 - ECCENTRICITY_2 * sine2)
    height = height_m / SEMI_MAJOR_M
    first = 2.0 * (1.0 + FLATTENING + M_RATIO - 2.0 * FLATTENING * sine2)
    return ground * (1.0 - first * height + 3.0 * height**2)


def local_gravity(latitude_deg: float, height_m: float | None) -> Gravity:
    """Gravity of a place known by its latitude, and by its height if at all.

    Args:
        latitude_deg: as read off a map, good to some tenths of a degree.
        height_m: above the sea; None takes 300 m, good to 1,000.

    Raises:
        InputFault: there is no such place.
    """
    known = height_m is not None
    at_m = 300.0 if height_m is None else height_m
    value = normal_gravity(latitude_deg, at_m)
    step = 0.5
    low, high = max(-90.0, latitude_deg - step), min(90.0, latitude_deg + step)
    per_deg = (normal_gravity(high, at_m) - normal_gravity(low, at_m)) / (high - low)
    per_m = (normal_gravity(latitude_deg, at_m + 50.0) - value) / 50.0
    parts = (
        per_deg * LATITUDE_U_DEG,
        per_m * (HEIGHT_U_M if known else 500.0),
        ANOMALY_M_S2 / ROOT_3,
    )
    where = f"{at_m:g} m above the sea" if known else "its height not known"
    source = f"WGS 84 normal gravity at latitude {latitude_deg:g}, {where}"
    return Gravity(value, math.hypot(*parts), source)


def gravity_anywhere() -> Gravity:
    """Standard gravity, as wide as the earth: 0.21 % standard uncertainty."""
    return Gravity(
        STANDARD_GRAVITY_M_S2,
        ANYWHERE_M_S2 / ROOT_3,
        "standard gravity, since it is not said where the stand is",
    )

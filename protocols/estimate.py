"""What an article will settle at, estimated before anything turns.

Three figures of the motor, one of the propeller, a source behind its resistance:
first-order motor model (M. Drela, First-Order DC Electric Motor Model, MIT, 2007)
on an ideal bridge whose duty is the throttle, turning a propeller whose torque goes
with the square of speed. No inertia, no warming, no emptying. It must never be used
to judge a measurement.
"""

import math
from dataclasses import dataclass

from daq.records.shelf import Air, Article

# Static tests of two-bladed propellers of 2.5 to 3.25 inch lie from 0.03 to 0.09, of
# a three-bladed one of 4.9 inch at 0.11 to 0.13 (UIUC Propeller Database, volume 2):
# this is on their high side.
ASSUMED_POWER_COEFFICIENT_A_BLADE = 0.04
# ISO 2533:1975, sea level and the gas constant of dry air.
ISA_DENSITY_KG_M3 = 1.225
DRY_AIR_J_KG_K = 287.05287


@dataclass(frozen=True, slots=True)
class Drive:
    """Motor, propeller and source as four figures and a voltage, SI.

    Attributes:
        torque_constant_v_s: back-EMF in V s/rad, equal to torque in N m/A.
        resistance_ohm: of the winding.
        no_load_current_a: what the motor takes to turn nothing.
        load_nm_s2: propeller torque over the square of speed.
        source_v: pack or supply at rest.
        source_ohm: its resistance.
    """

    torque_constant_v_s: float
    resistance_ohm: float
    no_load_current_a: float
    load_nm_s2: float
    source_v: float
    source_ohm: float


@dataclass(frozen=True, slots=True)
class Point:
    """A settled state of the drive; current and voltage are those of the source."""

    current_a: float
    voltage_v: float
    speed_rad_s: float

    @property
    def power_w(self) -> float:
        """What the source gives."""
        return self.current_a * self.voltage_v

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {
            "current_a": self.current_a,
            "voltage_v": self.voltage_v,
            "power_w": self.power_w,
            "speed_rad_s": self.speed_rad_s,
        }


def operating_point(drive: Drive, throttle_frac: float) -> Point:
    """Where motor and propeller settle at a throttle.

    With duty d, motor current i and k the load: bus current is d i and bus voltage
    V - R_s d i, so the motor sees d V behind R + d^2 R_s. Then K w = d V - i (R +
    d^2 R_s) and K (i - i0) = k w^2 leave one quadratic in w.

    Args:
        drive: the article.
        throttle_frac: 0 to 1.
    """
    motor_v = throttle_frac * drive.source_v
    total_ohm = drive.resistance_ohm + throttle_frac**2 * drive.source_ohm
    spare_v = motor_v - total_ohm * drive.no_load_current_a
    if throttle_frac <= 0:
        return Point(0.0, drive.source_v, 0.0)
    if spare_v <= 0:
        # Too little to break away: the winding is a resistor.
        motor_a, speed_rad_s = motor_v / total_ohm, 0.0
    else:
        k_v_s = drive.torque_constant_v_s
        droop = 4 * total_ohm * drive.load_nm_s2 * spare_v / k_v_s
        speed_rad_s = 2 * spare_v / (k_v_s + math.sqrt(k_v_s**2 + droop))
        motor_a = drive.no_load_current_a + drive.load_nm_s2 * speed_rad_s**2 / k_v_s
    current_a = throttle_frac * motor_a
    return Point(current_a, drive.source_v - drive.source_ohm * current_a, speed_rad_s)


def surge_current_a(drive: Drive, from_frac: float, to_frac: float) -> float | None:
    """The most current that a sudden step of throttle can draw from the source.

    That of the first instant, the motor still at its old speed: i = (d V - K w)/(R +
    d^2 R_s). Inertia and inductance are not known; both, and every step that takes
    its time, leave it below this.

    Args:
        drive: the article.
        from_frac: throttle before, settled.
        to_frac: throttle after.

    Returns:
        A bound; None where no resistance is known to bound it.
    """
    total_ohm = drive.resistance_ohm + to_frac**2 * drive.source_ohm
    if total_ohm <= 0:
        return None
    emf_v = drive.torque_constant_v_s * operating_point(drive, from_frac).speed_rad_s
    return to_frac * max(0.0, to_frac * drive.source_v - emf_v) / total_ohm


def drive_of(article: Article, *, propeller_off: bool = False) -> Drive:
    """The article in the figures that the estimate needs.

    What the file leaves out is taken as zero (resistances, no-load current), and
    the power coefficient on the high side.

    Args:
        article: as read from its file.
        propeller_off: whether the motor turns nothing but itself.
    """
    motor, propeller = article.motor, article.propeller
    # P = C_P rho n^3 D^5 and Q = P/w with n = w/(2 pi).
    load_nm_s2 = (
        power_coefficient(article)
        * air_density_kg_m3(article.air)
        * propeller.diameter_m**5
        / (2 * math.pi) ** 3
    )
    return Drive(
        torque_constant_v_s=motor.torque_constant_v_s,
        resistance_ohm=motor.resistance_ohm or 0.0,
        no_load_current_a=motor.no_load_current_a or 0.0,
        load_nm_s2=0.0 if propeller_off else load_nm_s2,
        source_v=article.source_v,
        source_ohm=article.source.resistance_ohm or 0.0,
    )


def power_coefficient(article: Article) -> float:
    """C_P as the article gives it, else assumed from the blades."""
    known = article.propeller.power_coefficient
    if known is not None:
        return known
    return ASSUMED_POWER_COEFFICIENT_A_BLADE * article.propeller.blades


def air_density_kg_m3(air: Air | None) -> float:
    """Dry air as an ideal gas; the standard atmosphere where nobody measured.

    Moisture is left out: it lowers density by 0.4 % at 20 degC and 50 %.
    """
    if air is None:
        return ISA_DENSITY_KG_M3
    return air.pressure_pa / (DRY_AIR_J_KG_K * air.temperature_k)


def thrust_n(speed_rad_s: float, article: Article) -> float | None:
    """T = C_T rho n^2 D^4, where the article gives C_T."""
    thrust_coefficient = article.propeller.thrust_coefficient
    if thrust_coefficient is None:
        return None
    turns_s = speed_rad_s / (2 * math.pi)
    density_kg_m3 = air_density_kg_m3(article.air)
    return (
        thrust_coefficient
        * density_kg_m3
        * turns_s**2
        * article.propeller.diameter_m**4
    )

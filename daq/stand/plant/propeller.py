"""The propeller at standstill of the stand: thrust and torque from speed."""

import math

from typing_extensions import override

from daq.stand.plant.polyline import Polyline
from daq.stand.plant.truth_parts import PropellerTruth
from daq.units import rpm_to_rad_s


class Propeller:
    """Static thrust and torque from coefficients in the propeller convention.

    Source: T = C_T rho n^2 D^4, P = C_P rho n^3 D^5 with n in rev/s (J. B. Brandt
    et al., UIUC Propeller Database; AIAA 2014-2151 eqs. 1 to 4). With omega =
    2 pi n: Q = P/omega = C_P rho omega^2 D^5/(2 pi)^3. Tables are read by straight
    lines against speed and held beyond their ends; what the Reynolds number does to
    the coefficients is in them. Ground and guard are not modelled. One that came off
    has no thrust, no torque and no inertia.

    Attributes:
        thrust_n: thrust at the speed last looked up.
        torque_nm: torque at it.
        torque_slope_nm_s: d(torque)/d(omega) there.
        inertia_kg_m2: about the shaft.
    """

    __slots__ = (
        "_built",
        "_cp",
        "_ct",
        "_fitted",
        "_thrust_factor",
        "_torque_factor",
        "_wind",
        "inertia_kg_m2",
        "thrust_n",
        "torque_nm",
        "torque_slope_nm_s",
    )

    def __init__(self, truth: PropellerTruth, density_kg_m3: float) -> None:
        speeds = [rpm_to_rad_s(rpm) for rpm in truth.speed_rpm] or [0.0]
        self._ct = Polyline(speeds if len(truth.ct) > 1 else [0.0], truth.ct)
        self._cp = Polyline(speeds if len(truth.cp) > 1 else [0.0], truth.cp)
        turn = 2.0 * math.pi
        self._thrust_factor = density_kg_m3 * truth.diameter_m**4 / turn**2
        self._torque_factor = density_kg_m3 * truth.diameter_m**5 / turn**3
        self.inertia_kg_m2 = truth.inertia_kg_m2
        self._built = (self._thrust_factor, self._torque_factor, truth.inertia_kg_m2)
        self._wind = (1.0, 1.0)
        self._fitted = True
        self.thrust_n = self.torque_nm = self.torque_slope_nm_s = 0.0

    def be(self, *, fitted: bool) -> None:
        """Come off the shaft, or be put back on; counts from the next look-up."""
        self._fitted = fitted
        self._set()

    def blow(self, thrust_factor: float, torque_factor: float) -> None:
        """Air that is not still; counts from the next look-up."""
        self._wind = (thrust_factor, torque_factor)
        self._set()

    def _set(self) -> None:
        thrust, torque, inertia = self._built if self._fitted else (0.0, 0.0, 0.0)
        self._thrust_factor = self._wind[0] * thrust
        self._torque_factor = self._wind[1] * torque
        self.inertia_kg_m2 = inertia

    def coefficients(self, speed_rad_s: float) -> tuple[float, float]:
        """C_T and C_P at a speed, in still air."""
        return self._ct.at(speed_rad_s), self._cp.at(speed_rad_s)

    @property
    def wind(self) -> tuple[float, float]:
        """Factors on C_T and C_P by the air that is not still."""
        return self._wind

    def turn_at(self, speed_rad_s: float) -> None:
        """Look up thrust, torque and its slope at a speed of zero or more."""
        ct, cp = self._ct, self._cp
        if not ct.low <= speed_rad_s < ct.high:
            ct.seek(speed_rad_s)
        if not cp.low <= speed_rad_s < cp.high:
            cp.seek(speed_rad_s)
        square = speed_rad_s * speed_rad_s
        self.thrust_n = (
            self._thrust_factor * square * (ct.base + ct.slope * speed_rad_s)
        )
        grown = cp.slope * speed_rad_s
        self.torque_nm = self._torque_factor * square * (cp.base + grown)
        self.torque_slope_nm_s = (
            self._torque_factor * speed_rad_s * (2.0 * cp.base + 3.0 * grown)
        )


class FlexingPropeller(Propeller):
    """Blades that bend and twist under their own speed.

    Each coefficient has a factor exp(k (n D)^2) on top of its table: centrifugal
    force, air load and so the twist they bring about all grow with the square of
    the tip's speed. Source: dimensional reasoning on a blade that stays elastic
    (the Cauchy number, density times speed squared over stiffness); sizes: common
    practice, no source.
    """

    __slots__ = ("_flex_cp", "_flex_ct", "_tip_s2")

    def __init__(self, truth: PropellerTruth, density_kg_m3: float) -> None:
        super().__init__(truth, density_kg_m3)
        self._tip_s2 = (truth.diameter_m / (2.0 * math.pi)) ** 2
        self._flex_ct, self._flex_cp = truth.flex_ct_s2_m2, truth.flex_cp_s2_m2

    @override
    def turn_at(self, speed_rad_s: float) -> None:
        # By name: twice as fast as super(), in the hottest loop there is.
        Propeller.turn_at(self, speed_rad_s)
        tip = self._tip_s2 * speed_rad_s
        growth = self._flex_cp * tip
        factor = math.exp(growth * speed_rad_s)
        self.thrust_n *= math.exp(self._flex_ct * tip * speed_rad_s)
        torque = factor * self.torque_nm
        self.torque_nm = torque
        self.torque_slope_nm_s = factor * self.torque_slope_nm_s + 2.0 * growth * torque

    @override
    def coefficients(self, speed_rad_s: float) -> tuple[float, float]:
        ct, cp = super().coefficients(speed_rad_s)
        tip = self._tip_s2 * speed_rad_s * speed_rad_s
        return ct * math.exp(self._flex_ct * tip), cp * math.exp(self._flex_cp * tip)


def propeller(truth: PropellerTruth, density_kg_m3: float) -> Propeller:
    """The propeller that a truth describes."""
    flexes = truth.flex_ct_s2_m2 != 0.0 or truth.flex_cp_s2_m2 != 0.0
    return (FlexingPropeller if flexes else Propeller)(truth, density_kg_m3)

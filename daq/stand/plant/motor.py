"""The motor: Kv, winding resistance, no-load current, inertia.

Winding inductance, saturation and heating are left out; torque reaction on
the mount is not modelled.
"""

from daq.stand.plant.truth_parts import MotorTruth
from daq.units import kv_to_volt_second


class Motor:
    """First-order motor whose no-load current grows with speed.

    Source: M. Drela, First-Order DC Electric Motor Model (MIT, 2007):
    Q = K_t (I - I0), back-EMF = K_t omega, K_t = 60/(2 pi Kv). The growth
    I0(omega) = I0 + g omega is the linear term of the same author's second-order
    model (from memory).

    Attributes:
        kt_nm_a: torque constant, also back-EMF constant in V s/rad.
        resistance_ohm: winding resistance between two terminals.
        no_load_a: no-load current at standstill; it is the friction at rest too.
        no_load_growth_a_s_rad: how I0 grows with speed.
        inertia_kg_m2: rotor (bell and shaft) without propeller.
    """

    __slots__ = (
        "inertia_kg_m2",
        "kt_nm_a",
        "no_load_a",
        "no_load_growth_a_s_rad",
        "resistance_ohm",
    )

    def __init__(self, truth: MotorTruth) -> None:
        self.kt_nm_a = kv_to_volt_second(truth.kv_rpm_v)
        self.resistance_ohm = truth.resistance_ohm
        self.no_load_a = truth.no_load_current_a
        self.no_load_growth_a_s_rad = truth.no_load_growth_a_s_rad
        self.inertia_kg_m2 = truth.inertia_kg_m2

    def no_load_current_a(self, speed_rad_s: float) -> float:
        """I0 at a speed."""
        return self.no_load_a + self.no_load_growth_a_s_rad * speed_rad_s

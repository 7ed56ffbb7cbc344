"""The shaft: motor and propeller turning as one."""

from daq.stand.plant.motor import Motor
from daq.stand.plant.propeller import Propeller


class Rotor:
    """J d(omega)/dt = K_t (I - I0(omega)) - Q_prop(omega), omega never below zero.

    Stepped by the one-stage Rosenbrock method with gamma = 1/2 (second order,
    A-stable; Hairer and Wanner, Solving Ordinary Differential Equations II,
    ch. IV.7): omega += h f/(1 - h f'/2), with f' taken exactly, so that a light
    rotor cannot make the step unstable. A blocked one is infinitely heavy and
    stands still.

    Attributes:
        speed_rad_s: speed of the shaft.
    """

    __slots__ = (
        "_growth",
        "_half_step_over_inertia",
        "_kt",
        "_motor_kg_m2",
        "_no_load",
        "_propeller",
        "_step_over_inertia",
        "_step_s",
        "speed_rad_s",
    )

    def __init__(self, motor: Motor, propeller: Propeller, step_s: float) -> None:
        self._kt = motor.kt_nm_a
        self._no_load = motor.no_load_a
        self._growth = motor.no_load_growth_a_s_rad
        self._motor_kg_m2 = motor.inertia_kg_m2
        self._propeller = propeller
        self._step_s = step_s
        self.speed_rad_s = 0.0
        self.hold(blocked=False)

    def hold(self, *, blocked: bool) -> None:
        """Take the inertia of what is on the shaft now, or block it."""
        if blocked:
            self._step_over_inertia = self._half_step_over_inertia = 0.0
            self.speed_rad_s = 0.0
            self._propeller.turn_at(0.0)
            return
        inertia = self._motor_kg_m2 + self._propeller.inertia_kg_m2
        self._step_over_inertia = self._step_s / inertia
        self._half_step_over_inertia = 0.5 * self._step_s / inertia

    def advance(self, current_a: float, current_slope_a_s: float) -> float:
        """One step.

        Args:
            current_a: motor current at the start of the step.
            current_slope_a_s: d(current)/d(omega) at the start.

        Returns:
            The new speed in rad/s; the propeller then stands at it too.
        """
        speed = self.speed_rad_s
        propeller = self._propeller
        kt, growth = self._kt, self._growth
        torque = kt * (current_a - self._no_load - growth * speed) - propeller.torque_nm
        torque_slope = kt * (current_slope_a_s - growth) - propeller.torque_slope_nm_s
        new = speed + self._step_over_inertia * torque / (
            1.0 - self._half_step_over_inertia * torque_slope
        )
        if new < 0.0:
            new = 0.0
        self.speed_rad_s = new
        propeller.turn_at(new)
        return new

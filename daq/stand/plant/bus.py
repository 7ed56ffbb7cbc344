"""The bus between plug and ESC: who draws what, and where the voltage settles.

With the plug in the bus capacitor is left out, because it settles within
microseconds; with the plug out it is the only supply. The bridge is averaged over
its switching (``chopped`` says what that leaves out); its body diodes are not
modelled.
"""

import math

from daq.stand.plant.esc import Esc
from daq.stand.plant.motor import Motor


class Bus:
    """Bus voltage and currents, averaged over the step last taken.

    Source: Kirchhoff's laws on an averaged bridge, solved in closed form:
    I_motor = (d V_bus - K_t omega)/(R_motor + R_esc), never below zero,
    I_bus = d I_motor + draw, V_bus = emf - R_source I_bus.

    Attributes:
        kt_v_s: how much voltage the motor sets against a speed.
        loop_ohm: resistance around motor and bridge.
        source_ohm: resistance between the pack's inside and the bus.
        volt_v: voltage at the ESC's input.
        bus_a: current from the pack.
        motor_a: current in the motor.
        slope_a_s: d(motor current)/d(omega) at the start of the step.
        rippled_w: sum over all steps of how much the product of mean voltage and
            mean current is above the mean power.
        switched_w: sum over all steps of what switching costs.
    """

    __slots__ = (
        "_draw_a",
        "_duty",
        "_emf",
        "_esc",
        "_step_s",
        "bus_a",
        "kt_v_s",
        "loop_ohm",
        "motor_a",
        "rippled_w",
        "slope_a_s",
        "source_ohm",
        "switched_w",
        "volt_v",
    )

    def __init__(
        self, esc: Esc, motor: Motor, source_ohm: float, step_s: float
    ) -> None:
        self._esc = esc
        self.kt_v_s = motor.kt_nm_a
        self.loop_ohm = motor.resistance_ohm + esc.resistance_ohm
        self.source_ohm = source_ohm
        self._step_s = step_s
        self._duty = self._emf = self._draw_a = 0.0
        self.volt_v = self.bus_a = self.motor_a = self.slope_a_s = 0.0
        self.rippled_w = self.switched_w = 0.0

    def ripple_w(self, motor_a: float) -> float:
        """Product of the means less mean power at a motor current: none here."""
        return 0.0 * motor_a

    def feed(self, emf_v: float, duty: float, speed_rad_s: float) -> None:
        """Solve at the start of a step with the plug in."""
        self._emf = emf_v
        self._duty = duty
        self._draw_a = draw = self._esc.draw_a(duty)
        if duty > 0.0:
            source = self.source_ohm
            loop = self.loop_ohm + duty * duty * source
            kt = self.kt_v_s
            current = (duty * (emf_v - source * draw) - kt * speed_rad_s) / loop
            if current > 0.0:
                self.motor_a = current
                self.slope_a_s = -kt / loop
                return
        self.motor_a = self.slope_a_s = 0.0

    def average(self, speed_change_rad_s: float) -> None:
        """Move from the start of the step to its middle: second order means."""
        duty = self._duty
        current = self.motor_a + 0.5 * self.slope_a_s * speed_change_rad_s
        if current < 0.0:
            current = 0.0
        self.motor_a = current
        bus = duty * current + self._draw_a
        volt = self._emf - self.source_ohm * bus
        if volt < 0.0:
            volt = 0.0
            bus = self._emf / self.source_ohm
        self.volt_v = volt
        self.bus_a = bus

    def at_once(
        self, emf_v: float, duty: float, speed_rad_s: float
    ) -> tuple[float, float, float]:
        """Motor current, bus current and voltage at one instant with the plug in.

        Leaves what the bus holds as it was.
        """
        held = (self._emf, self._duty, self._draw_a)
        means = (self.motor_a, self.bus_a, self.volt_v, self.slope_a_s)
        self.feed(emf_v, duty, speed_rad_s)
        self.average(0.0)
        now = (self.motor_a, self.bus_a, self.volt_v)
        self._emf, self._duty, self._draw_a = held
        self.motor_a, self.bus_a, self.volt_v, self.slope_a_s = means
        return now

    def drain(self, duty: float, speed_rad_s: float) -> None:
        """One step with the plug out: the capacitor is the only supply.

        It empties into the motor as an RC circuit does, then into the ESC's own
        draw: constant above the drop-out voltage, in proportion to the voltage
        below it.
        """
        esc = self._esc
        capacitance = esc.capacitance_f
        start = self.volt_v
        self.bus_a = self.motor_a = self.slope_a_s = 0.0
        volt = start
        if duty > 0.0:
            floor = max(0.0, self.kt_v_s * speed_rad_s / duty)
            if volt > floor:
                rate = duty * duty / (self.loop_ohm * capacitance)
                volt = floor + (volt - floor) * math.exp(-self._step_s * rate)
                self.motor_a = capacitance * (start - volt) / (self._step_s * duty)
        self.volt_v = self._after_draw(volt, esc.draw_a(duty), self._step_s)

    def _after_draw(self, volt_v: float, draw_a: float, time_s: float) -> float:
        capacitance, knee = self._esc.capacitance_f, self._esc.dropout_v
        if draw_a <= 0.0:
            return volt_v
        if volt_v > knee:
            to_knee_s = (volt_v - knee) * capacitance / draw_a
            if to_knee_s >= time_s:
                return volt_v - draw_a * time_s / capacitance
            time_s -= to_knee_s
            volt_v = knee
        return volt_v * math.exp(-time_s * draw_a / (capacitance * knee))

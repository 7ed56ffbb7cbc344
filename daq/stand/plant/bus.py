"""The bus between plug and ESC: who draws what, and where the voltage settles.

With the plug in the bus capacitor is left out, because it settles within
microseconds; with the plug out it is the only supply. The bridge is averaged over
its switching; what switching adds is nothing here and worked out in ``chopped``. Body
diodes are not modelled.
"""

import math

from daq.stand.plant.esc import Esc
from daq.stand.plant.motor import Motor


class Bus:
    """Bus voltage and currents, averaged over the step last taken.

    Source: Kirchhoff's laws on an averaged bridge, solved in closed form:
    I_motor = (d V_bus - K_t omega)/(R_motor + R_esc + R_ripple), never below zero,
    I_bus = (d + s) I_motor + draw, V_bus = emf - R_source I_bus, where R_ripple and
    the share s come from switching.

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
        "_for_ohm",
        "_load_ohm",
        "_ripple_ohm",
        "_step_s",
        "_switch_share",
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
        self._ripple_ohm = self._switch_share = self._load_ohm = 0.0
        self._for_ohm = math.nan
        self.volt_v = self.bus_a = self.motor_a = self.slope_a_s = 0.0
        self.rippled_w = self.switched_w = 0.0

    @property
    def duty_frac(self) -> float:
        """Duty of the bridge, mean of the step last taken."""
        return self._duty

    def ripple_w(self, motor_a: float) -> float:
        """Product of the means less mean power at a motor current."""
        return self._ripple_ohm * motor_a * motor_a

    def _change(self, duty: float) -> None:
        """Take note of what follows from duty and source alone."""
        self._duty, self._for_ohm = duty, self.source_ohm
        self._draw_a = self._esc.draw_a(duty)
        self._load_ohm = duty * (duty + self._switch_share) * self.source_ohm
        self._load_ohm += self._ripple_ohm

    def feed(self, emf_v: float, duty: float, speed_rad_s: float) -> None:
        """Solve at the start of a step with the plug in."""
        source = self.source_ohm
        if duty != self._duty or source != self._for_ohm:
            self._change(duty)
        self._emf = emf_v
        if duty > 0.0:
            loop = self.loop_ohm + self._load_ohm
            kt = self.kt_v_s
            back_v = source * self._draw_a
            current = (duty * (emf_v - back_v) - kt * speed_rad_s) / loop
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
        share = self._switch_share
        bus = (duty + share) * current + self._draw_a
        volt = self._emf - self.source_ohm * bus
        if volt < 0.0:
            volt = 0.0
            bus = self._emf / self.source_ohm
        self.volt_v = volt
        self.bus_a = bus
        if share or self._ripple_ohm:
            self.rippled_w += self._ripple_ohm * current * current
            self.switched_w += volt * share * current

    def at_once(
        self, emf_v: float, duty: float, speed_rad_s: float
    ) -> tuple[float, float, float, float]:
        """Motor current, bus current, voltage and power at one instant, plug in.

        Leaves what the bus holds as it was.
        """
        held_v, held_duty = self._emf, self._duty
        means = (self.motor_a, self.bus_a, self.volt_v, self.slope_a_s)
        sums = (self.rippled_w, self.switched_w)
        self.feed(emf_v, duty, speed_rad_s)
        self.average(0.0)
        power_w = self.bus_a * self.volt_v - self.ripple_w(self.motor_a)
        now = (self.motor_a, self.bus_a, self.volt_v, power_w)
        self._emf = held_v
        self._change(held_duty)
        self.motor_a, self.bus_a, self.volt_v, self.slope_a_s = means
        self.rippled_w, self.switched_w = sums
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

"""A bridge that switches: ripple on the bus, and what switching costs.

Mean currents and voltages follow the averaged model of ``bus``; what it leaves out
is that the motor draws its whole current for a part of each cycle. Never stepped
at the switching frequency: one cycle is solved in closed form.
"""

import math

from typing_extensions import override

from daq.stand.plant.bus import Bus
from daq.stand.plant.esc import Esc
from daq.stand.plant.motor import Motor
from daq.stand.plant.truth_effects import ChoppingTruth


def ripple_share(duty: float, cycles: float) -> float:
    """Variance of a pulse train behind a first-order filter, in pulses squared.

    Args:
        duty: of the pulses.
        cycles: their period over the filter's time constant.
    """
    if not 0.0 < duty < 1.0:
        return 0.0
    on, off = math.exp(-duty * cycles), math.exp(-(1.0 - duty) * cycles)
    top = -math.expm1(-duty * cycles) / -math.expm1(-cycles)
    foot = off * top
    away = foot - 1.0
    square = (
        duty
        + (
            2.0 * away * (1.0 - on)
            + 0.5 * away * away * (1.0 - on * on)
            + 0.5 * top * top * (1.0 - off * off)
        )
        / cycles
    )
    return max(0.0, square - duty * duty)


class ChoppedBus(Bus):
    """The bus with a capacitor between a source and a bridge that switches.

    The bridge draws I_motor for a share d of each cycle; resistance of the source
    and capacitor filter it to the first order, so that source current and bus
    voltage ripple. With g the variance of the filtered pulses over I_motor^2, the
    mean of v i is the product of the means less R_source g I_motor^2, and the motor,
    which is fed while the bus is low, sees R_source g more in its loop: the energy
    of the cycle balances. Each edge costs V I edge_s/2, drawn from the bus and
    turned into heat in the bridge, twice a cycle; there are none at full duty.

    Sources: Kirchhoff's laws on one cycle; R. W. Erickson, D. Maksimovic, Fundamentals
    of Power Electronics, ch. 2 to 4 (capacitor charge balance, switching loss, rms of
    a pulse train; from memory). The motor's own ripple, inductance of the leads and
    the capacitor's own resistance are left out; current and voltage sensors see the
    mean of the cycles.
    """

    __slots__ = (
        "_cycle_s",
        "_edges",
        "_extra",
        "_for_duty",
        "_for_ohm",
        "_ripple_ohm",
    )

    def __init__(
        self,
        esc: Esc,
        motor: Motor,
        source_ohm: float,
        step_s: float,
        truth: ChoppingTruth,
    ) -> None:
        super().__init__(esc, motor, source_ohm, step_s)
        self._cycle_s = 1.0 / truth.frequency_hz
        self._edges = truth.edge_s * truth.frequency_hz
        self._for_duty = self._for_ohm = -1.0
        self._ripple_ohm = self._extra = 0.0

    def _look(self, duty: float) -> None:
        """Ripple and cost of switching at that duty on this source."""
        source = self.source_ohm
        self._for_duty, self._for_ohm = duty, source
        self._extra = self._edges if 0.0 < duty < 1.0 else 0.0
        time_s = source * self._esc.capacitance_f
        share = ripple_share(duty, self._cycle_s / time_s) if time_s else 0.0
        self._ripple_ohm = source * share

    @override
    def feed(self, emf_v: float, duty: float, speed_rad_s: float) -> None:
        source = self.source_ohm
        if duty != self._for_duty or source != self._for_ohm:
            self._look(duty)
        self._emf = emf_v
        self._duty = duty
        self._draw_a = draw = self._esc.draw_a(duty)
        if duty > 0.0:
            loop = self.loop_ohm + self._ripple_ohm
            loop += source * duty * (duty + self._extra)
            kt = self.kt_v_s
            current = (duty * (emf_v - source * draw) - kt * speed_rad_s) / loop
            if current > 0.0:
                self.motor_a = current
                self.slope_a_s = -kt / loop
                return
        self.motor_a = self.slope_a_s = 0.0

    @override
    def average(self, speed_change_rad_s: float) -> None:
        duty = self._duty
        current = self.motor_a + 0.5 * self.slope_a_s * speed_change_rad_s
        if current < 0.0:
            current = 0.0
        self.motor_a = current
        bus = (duty + self._extra) * current + self._draw_a
        volt = self._emf - self.source_ohm * bus
        if volt < 0.0:
            volt = 0.0
            bus = self._emf / self.source_ohm
        self.volt_v = volt
        self.bus_a = bus
        self.rippled_w += self._ripple_ohm * current * current
        self.switched_w += volt * self._extra * current

    @override
    def ripple_w(self, motor_a: float) -> float:
        return self._ripple_ohm * motor_a * motor_a

    @override
    def at_once(
        self, emf_v: float, duty: float, speed_rad_s: float
    ) -> tuple[float, float, float]:
        held = (self.rippled_w, self.switched_w)
        now = super().at_once(emf_v, duty, speed_rad_s)
        self.rippled_w, self.switched_w = held
        return now

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

    @override
    def _change(self, duty: float) -> None:
        source = self.source_ohm
        self._switch_share = self._edges if 0.0 < duty < 1.0 else 0.0
        time_s = source * self._esc.capacitance_f
        share = ripple_share(duty, self._cycle_s / time_s) if time_s else 0.0
        self._ripple_ohm = source * share
        super()._change(duty)

"""Where the losses go: the temperatures of winding and ESC, and their sensors.

One lump of heat each, cooled in proportion to how much hotter than the air it is.
That it cools better while the propeller blows on it is not modelled.
"""

import math

from daq.stand.plant.esc import Esc
from daq.stand.plant.motor import Motor
from daq.stand.plant.noise import Stream
from daq.stand.plant.sensors import fast_sensor, slow_specs, true_gain
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_parts import HeatTruth
from daq.units import c_to_k

COPPER_PER_K = 0.00393
COPPER_REFERENCE_K = 293.15
"""Resistance of copper: R(T) = R20 (1 + 0.00393/K (T - 20 degC)), IEC 60028."""


class Lump:
    """C dT/dt = P - (T - T_air)/R, stepped by its exact answer to a steady power.

    Source: Newton's law of cooling on one node, any textbook of heat transfer
    (from memory). Without figures it stays as warm as the air.

    Attributes:
        temperature_k: its temperature.
    """

    __slots__ = ("_air_k", "_kept", "_resistance_k_w", "temperature_k")

    def __init__(self, truth: HeatTruth | None, air_k: float, span_s: float) -> None:
        """Start it.

        Args:
            truth: its figures; None: it has no end of capacity.
            air_k: temperature of the air around it.
            span_s: how long each ``take`` is.
        """
        self._air_k = self.temperature_k = air_k
        self._resistance_k_w = 0.0
        self._kept = 1.0
        if truth is not None:
            self._resistance_k_w = truth.resistance_k_w
            time_s = truth.resistance_k_w * truth.capacity_j_k
            self._kept = math.exp(-span_s / time_s)
            if truth.start_c is not None:
                self.temperature_k = c_to_k(truth.start_c)

    def take(self, power_w: float) -> None:
        """One span with that much heat going in."""
        end_k = self._air_k + power_w * self._resistance_k_w
        self.temperature_k = end_k + self._kept * (self.temperature_k - end_k)


class Warmth:
    """Winding and ESC, warmed by what they lose.

    The magnets are as warm as the winding, and lose flux in proportion to it; Kv is
    at 20 degrees Celsius then. Source: reversible temperature coefficient of
    remanence, near -0.0011/K for NdFeB (data sheets; from memory).

    Attributes:
        specs: the temperature channels, in the order of ``frame``.
        winding: its lump.
        esc: its lump.
        winding_ohm: resistance of the winding as warm as it is now.
        magnet_frac: how much of their flux the magnets have, as warm as they are.
        follows: whether either changes with its temperature.
    """

    def __init__(
        self, truth: Truth, seed: int, motor: Motor, esc: Esc, span_s: float
    ) -> None:
        air_k = c_to_k(truth.air.celsius)
        heat = truth.winding_heat
        self.winding = Lump(heat, air_k, span_s)
        self.esc = Lump(truth.esc_heat, air_k, span_s)
        self._copper = heat is not None and heat.resistance_follows
        self._magnet_rel_k = 0.0 if heat is None else heat.magnet_rel_k
        self.magnet_frac = 1.0
        self.follows = self._copper or self._magnet_rel_k != 0.0
        self._motor, self._bridge = motor, esc
        self.winding_ohm = motor.resistance_ohm
        self.specs = slow_specs(truth)
        self._sensors = [
            (lump, fast_sensor(sensor, true_gain(sensor, seed, gain), seed, noise))
            for lump, sensor, gain, noise in (
                (
                    self.winding,
                    truth.winding_sensor,
                    Stream.WINDING_GAIN,
                    Stream.WINDING_NOISE,
                ),
                (self.esc, truth.esc_sensor, Stream.ESC_GAIN, Stream.ESC_NOISE),
            )
            if sensor is not None
        ]
        self._resist()

    def take(
        self,
        motor_a2: float,
        speed_rad_s: float,
        bus_v: float,
        heating_factor: float,
        switched_w: float = 0.0,
    ) -> None:
        """One span: copper, friction and iron heat the winding, the rest the ESC.

        Args:
            motor_a2: mean square of the motor current.
            speed_rad_s: mean speed.
            bus_v: mean bus voltage.
            heating_factor: on the heat that goes into the winding.
            switched_w: what switching costs the ESC.
        """
        motor, esc = self._motor, self._bridge
        lost_w = motor_a2 * self.winding_ohm
        friction_a = motor.no_load_current_a(speed_rad_s)
        lost_w += motor.kt_nm_a * friction_a * speed_rad_s
        self.winding.take(lost_w * heating_factor)
        draw_w = bus_v * esc.draw_a(esc.duty_frac)
        self.esc.take(motor_a2 * esc.resistance_ohm + draw_w + switched_w)
        self._resist()

    def _resist(self) -> None:
        if self._copper:
            factor = copper_factor(self.winding.temperature_k)
            self.winding_ohm = self._motor.resistance_ohm * factor
        if self._magnet_rel_k:
            over_k = self.winding.temperature_k - COPPER_REFERENCE_K
            self.magnet_frac = 1.0 + self._magnet_rel_k * over_k

    def frame(self) -> tuple[int, ...]:
        """Counts of the temperature channels now."""
        counts = []
        for lump, sensor in self._sensors:
            sensor.sample(lump.temperature_k)
            counts.append(sensor.collect()[0])
        return tuple(counts)


def copper_factor(temperature_k: float) -> float:
    """How many times its resistance at 20 degC copper has."""
    return 1.0 + COPPER_PER_K * (temperature_k - COPPER_REFERENCE_K)

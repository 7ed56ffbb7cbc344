"""What the stand's channels are, and the sensors that fill the fast ones.

The nominal constants are what a stand declares; the true ones stay here and in
the side door for tests. Nothing here corrects a reading.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from typing_extensions import override

from daq.stand.plant import load_cell
from daq.stand.plant.bus import Bus
from daq.stand.plant.noise import Stream, standard_normals
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_parts import (
    BusSensorTruth,
    FastSensorTruth,
    GainTruth,
    SpeedSensorTruth,
)
from daq.units import RPM_RAD_S, rad_s_to_rpm

PULSE_COUNTS_PER_S = 1e6
PULSE_HIGH_COUNTS = 32767
PULSE_TOLERANCE_REL = 5e-5
"""A crystal-clocked board's timer (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class SensorSpec:
    """One channel as the stand declares it.

    Attributes:
        name: of the channel.
        quantity: what it measures, in words.
        kind: what of it: the newest value, or mean, highest or lowest since the
            last frame.
        counts_per_unit: declared gain, counts per SI unit (N, A, V, rad/s, s, K).
        zero_counts: declared reading at zero.
        low_counts: lowest reading it can give.
        high_counts: highest reading it can give.
        width_bytes: 2 or 4, signed.
        gain_tolerance_rel: relative standard uncertainty of ``counts_per_unit``.
        delay_s: how long after the fact a reading comes.
    """

    name: str
    quantity: str
    kind: Literal["point", "mean", "high", "low"]
    counts_per_unit: float
    zero_counts: int
    low_counts: int
    high_counts: int
    width_bytes: int
    gain_tolerance_rel: float
    delay_s: float


class FastFrame(NamedTuple):
    """Counts of the fast channels, in the order of their specs.

    A tuple rather than a dataclass: it is made at every frame, and the tuple is
    made in a third of the time.
    """

    current_mean_counts: int
    current_high_counts: int
    voltage_mean_counts: int
    voltage_low_counts: int
    speed_counts: int
    pulse_counts: int


@dataclass(frozen=True, slots=True)
class Wired:
    """How a sensor hangs on the bus.

    Attributes:
        bus: the bus.
        step_s: length of a step.
        filter_s: time constant of its filter; 0: none.
        tap_resistance_ohm: between where it is tapped and the ESC.
        rested: what it has read for long at the start.
    """

    bus: Bus
    step_s: float
    filter_s: float
    tap_resistance_ohm: float
    rested: float


def true_gain(truth: GainTruth, seed: int, stream: Stream) -> float:
    """The gain this specimen has, in counts per unit; drawn if only u is given."""
    error = truth.gain_error
    if error is None:
        error = (truth.gain_u or 0.0) * standard_normals(seed, stream)()
    return truth.counts_per_unit * (1.0 + error)


class FastSensor:
    """A quantity sampled once a step; mean, highest and lowest between frames.

    Each sample is the step's mean with gain, zero and white noise, clipped to the
    sensor's range. Source: the usual linear sensor model (JCGM 200:2012 terms).

    Attributes:
        counts_per_unit: the true gain.
        newest_counts: the newest sample.
    """

    __slots__ = (
        "_high",
        "_high_limit",
        "_low",
        "_low_limit",
        "_noise",
        "_noise_counts",
        "_number",
        "_sum",
        "_zero_counts",
        "counts_per_unit",
        "newest_counts",
    )

    def __init__(
        self,
        counts_per_unit: float,
        zero_counts: float,
        noise_counts_rms: float,
        limits_counts: tuple[int, int],
        noise: Callable[[], float],
    ) -> None:
        self.counts_per_unit = counts_per_unit
        self._zero_counts = zero_counts
        self._noise_counts = noise_counts_rms
        self._noise = noise
        self._low_limit, self._high_limit = limits_counts
        self._number = 0
        self._sum = self._high = self._low = self.newest_counts = 0.0

    def sample(self, value: float) -> None:
        """Take the mean of one step."""
        counts = (
            self._zero_counts
            + self.counts_per_unit * value
            + self._noise_counts * self._noise()
        )
        if counts > self._high_limit:
            counts = self._high_limit
        elif counts < self._low_limit:
            counts = self._low_limit
        self.newest_counts = counts
        if self._number:
            self._sum += counts
            self._number += 1
            if counts > self._high:
                self._high = counts
            elif counts < self._low:
                self._low = counts
        else:
            self._sum = self._high = self._low = counts
            self._number = 1

    def in_counts(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values as it would give them without noise and ends."""
        return self._zero_counts + self.counts_per_unit * values

    def collect(self) -> tuple[int, int, int]:
        """Mean, highest and lowest since last asked; the last ones if none is new."""
        if self._number:
            self._sum /= self._number
            self._number = 0
        return round(self._sum), round(self._high), round(self._low)


class FilteredSensor(FastSensor):
    """A sensor of the bus behind a first-order filter, with a lead to its tap.

    Stepped by the filter's exact answer to an input held over the step, of which it
    takes the mean. Between tap and ESC lies a resistance that carries the bus
    current. Sources: a first-order low-pass (any textbook); Ohm's law.
    """

    __slots__ = ("_bus", "_end_kept", "_filtered", "_mean_kept", "_tap_ohm")

    def __init__(
        self,
        truth: FastSensorTruth,
        counts_per_unit: float,
        noise: Callable[[], float],
        wired: Wired,
    ) -> None:
        super().__init__(
            counts_per_unit,
            truth.zero_error_counts,
            truth.noise_counts_rms,
            (truth.low_counts, truth.high_counts),
            noise,
        )
        self._bus, self._tap_ohm = wired.bus, wired.tap_resistance_ohm
        self._filtered = wired.rested
        self._end_kept = self._mean_kept = 0.0
        if wired.filter_s:
            self._end_kept = math.exp(-wired.step_s / wired.filter_s)
            self._mean_kept = (1.0 - self._end_kept) * wired.filter_s / wired.step_s

    @override
    def sample(self, value: float) -> None:
        value += self._tap_ohm * self._bus.bus_a
        away = self._filtered - value
        self._filtered = value + self._end_kept * away
        # By name: twice as fast as super(), in the hottest loop there is.
        FastSensor.sample(self, value + self._mean_kept * away)


class SpeedSensor:
    """Shaft speed in whole rpm, in steps of the sensor's resolution.

    Common practice, no source: such sensors time the motor's phases or blades
    and report a rounded figure.
    """

    __slots__ = ("_high_rpm", "_resolution_rpm")

    def __init__(self, truth: SpeedSensorTruth) -> None:
        self._resolution_rpm = truth.resolution_rpm
        self._high_rpm = truth.high_rpm

    def counts(self, speed_rad_s: float) -> int:
        """The reading at a speed."""
        resolution = self._resolution_rpm
        steps = round(rad_s_to_rpm(speed_rad_s) / resolution)
        return min(self._high_rpm, round(steps * resolution))


def pulse_counts(pulse_s: float) -> int:
    """Reading of the pin that watches the pulse, in microseconds; 0: no pulse."""
    if not 0.0 < pulse_s <= PULSE_HIGH_COUNTS / PULSE_COUNTS_PER_S:
        return 0
    return round(pulse_s * PULSE_COUNTS_PER_S)


def fast_sensor(
    truth: FastSensorTruth, counts_per_unit: float, seed: int, stream: Stream
) -> FastSensor:
    """The sensor that a truth describes, with its drawn gain."""
    return FastSensor(
        counts_per_unit,
        truth.zero_error_counts,
        truth.noise_counts_rms,
        (truth.low_counts, truth.high_counts),
        standard_normals(seed, stream),
    )


def bus_sensor(
    truth: BusSensorTruth,
    counts_per_unit: float,
    noise: Callable[[], float],
    wired: Wired,
) -> FastSensor:
    """The sensor that a truth describes: the plain one where that is all it is."""
    if wired.filter_s or wired.tap_resistance_ohm:
        return FilteredSensor(truth, counts_per_unit, noise, wired)
    return FastSensor(
        counts_per_unit,
        truth.zero_error_counts,
        truth.noise_counts_rms,
        (truth.low_counts, truth.high_counts),
        noise,
    )


def spec_of(
    name: str,
    quantity: str,
    truth: FastSensorTruth,
    *,
    kind: Literal["point", "mean"],
    delay_s: float = 0.0,
) -> SensorSpec:
    """A channel of 16-bit counts as a stand declares it."""
    return SensorSpec(
        name=name,
        quantity=quantity,
        kind=kind,
        counts_per_unit=truth.counts_per_unit,
        zero_counts=0,
        low_counts=truth.low_counts,
        high_counts=truth.high_counts,
        width_bytes=2,
        gain_tolerance_rel=truth.tolerance_rel,
        delay_s=delay_s,
    )


def _fast_specs(
    name: str, quantity: str, extreme: Literal["high", "low"], truth: FastSensorTruth
) -> tuple[SensorSpec, SensorSpec]:
    mean = spec_of(name, quantity, truth, kind="mean")
    return mean, replace(mean, name=f"{name}-{extreme}", kind=extreme)


def slow_specs(truth: Truth) -> tuple[SensorSpec, ...]:
    """The temperature channels that a truth has, winding first."""
    sensors = (("winding-temp", truth.winding_sensor), ("esc-temp", truth.esc_sensor))
    return tuple(
        spec_of(name, "temperature", sensor, kind="point")
        for name, sensor in sensors
        if sensor is not None
    )


def sensor_specs(truth: Truth) -> tuple[SensorSpec, ...]:
    """The channels: thrust, then the fast ones in the order of ``FastFrame``."""
    cell = truth.load_cell
    thrust = SensorSpec(
        name="thrust",
        quantity="force",
        kind="point",
        counts_per_unit=cell.counts_per_unit,
        zero_counts=0,
        low_counts=load_cell.LOW_COUNTS,
        high_counts=load_cell.HIGH_COUNTS,
        width_bytes=4,
        gain_tolerance_rel=cell.tolerance_rel,
        delay_s=load_cell.FILTER_DELAY_CONVERSIONS / cell.samples_s,
    )
    speed = SensorSpec(
        name="speed",
        quantity="rotational speed",
        kind="point",
        counts_per_unit=1.0 / RPM_RAD_S,
        zero_counts=0,
        low_counts=0,
        high_counts=truth.speed_sensor.high_rpm,
        width_bytes=4,
        gain_tolerance_rel=truth.speed_sensor.gain_tolerance_rel,
        delay_s=0.0,
    )
    pulse = SensorSpec(
        name="pulse",
        quantity="duration",
        kind="point",
        counts_per_unit=PULSE_COUNTS_PER_S,
        zero_counts=0,
        low_counts=0,
        high_counts=PULSE_HIGH_COUNTS,
        width_bytes=2,
        gain_tolerance_rel=PULSE_TOLERANCE_REL,
        delay_s=0.0,
    )
    current = _fast_specs("current", "current", "high", truth.current_sensor)
    voltage = _fast_specs("voltage", "voltage", "low", truth.voltage_sensor)
    return (thrust, *current, *voltage, speed, pulse)

"""The converter that takes fast captures, and what it takes.

Where the truth says nothing of what happens within a step it takes the reading of the
step, one a step. It has noise of its own, so that looking changes no other reading.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from daq.stand.plant.fast import FastBus, Held, Moments
from daq.stand.plant.noise import Stream, generator
from daq.stand.plant.sensors import FastSensor
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_fast import FastTruth

LONGEST_US = 1_000
MICROSECOND_S = 1e-6


@dataclass(frozen=True, slots=True)
class Converter:
    """How a channel is taken quickly.

    Attributes:
        shortest_us: from one conversion to the next, at the fastest.
        longest_us: at the slowest.
        step_counts: what it tells is in whole steps of so many counts.
    """

    shortest_us: int
    longest_us: int
    step_counts: int

    def nearest_us(self, period_us: float) -> int:
        """The period it can do that is nearest to one asked for."""
        return min(self.longest_us, max(self.shortest_us, round(period_us)))


class Conversions:
    """Readings within the newest step of a plant.

    Sample and hold behind a first-order filter (in ``fast``), gain and zero of the
    channel's sensor, white noise, whole steps of the converter, clipped to the
    channel's range.

    Attributes:
        within: whether the truth says what happens within a step.
    """

    def __init__(
        self,
        truth: Truth,
        seed: int,
        step_s: float,
        sensors: Mapping[str, FastSensor],
    ) -> None:
        self._sensors = sensors
        self._step_us = round(step_s / MICROSECOND_S)
        self._fast = truth.fast
        self._bus: FastBus | None = None
        if truth.fast is not None and truth.chopping_hz is not None:
            self._bus = FastBus(
                truth.fast,
                truth.bus_capacitor,
                truth.esc.bus_capacitance_f,
                truth.chopping_hz,
                truth.voltage_sensor.tap_resistance_ohm,
                step_s,
            )
        self._steps = {} if truth.fast is None else _steps(truth, truth.fast)
        volts, amps = truth.voltage_sensor, truth.current_sensor
        self._ranges = {
            "voltage": (volts.low_counts, volts.high_counts),
            "current": (amps.low_counts, amps.high_counts),
        }
        self._noise = generator(seed, Stream.FAST_NOISE)

    @property
    def within(self) -> bool:
        """Whether the truth says what happens within a step."""
        return self._bus is not None

    def converter(self, name: str) -> Converter:
        """What takes ``current`` or ``voltage`` quickly."""
        if self._fast is None:
            return Converter(self._step_us, self._step_us, 1)
        return Converter(self._fast.shortest_us, LONGEST_US, self._steps[name])

    def moments(self, held: Held) -> Moments | None:
        """The truth within a step; None where the truth says nothing of it."""
        return None if self._bus is None else self._bus.moments(held)

    def take(
        self, name: str, held: Held | None, at_us: tuple[int, int], looped_a: float
    ) -> list[int]:
        """Counts at moments of the newest step.

        Args:
            name: of the channel.
            held: the step; None: its reading is taken.
            at_us: the first moment from the step's start, and how far they are apart.
            looped_a: what else flows through the sensor.
        """
        first_us, period_us = at_us
        moments_us = range(first_us, self._step_us + 1, period_us)
        sensor = self._sensors[name]
        if held is None or self._bus is None or self._fast is None:
            return [round(sensor.newest_counts) for _ in moments_us]
        value = self._bus.moments(held).filtered(name)
        places = np.arange(first_us, self._step_us + 1, period_us) - 1
        step, noise = self._steps[name], self._noise.standard_normal(places.size)
        counts = sensor.in_counts(value[places] + looped_a)
        steps = np.round(counts / step + self._fast.noise_steps_rms * noise)
        low, high = self._ranges[name]
        steps = np.clip(steps, -(-low // step), high // step)
        return [int(count) for count in (step * steps).tolist()]


def _steps(truth: Truth, fast: FastTruth) -> dict[str, int]:
    """Counts of a step of the converter."""
    volts, amps = truth.voltage_sensor, truth.current_sensor
    return {
        "voltage": max(1, round(fast.voltage_step_v * volts.counts_per_unit)),
        "current": max(1, round(fast.current_step_a * amps.counts_per_unit)),
    }

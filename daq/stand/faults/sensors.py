"""Faults of the sensors, laid over what the plant's own ones read.

The sensors beneath go on as they were, noise included, so that a fault changes
the channel it is on and no other. Sizes are in the channel's SI unit.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from typing_extensions import override

from daq.stand.faults.fault import Lasting, choice, figure
from daq.stand.plant.bench import Plant
from daq.stand.plant.conversions import Converter
from daq.stand.plant.sensors import FastFrame, SensorSpec

CHANNELS = (
    "thrust",
    "current",
    "current-high",
    "voltage",
    "voltage-low",
    "speed",
    "pulse",
    "winding-temp",
    "esc-temp",
)
EXTREMES = {"current": "current-high", "voltage": "voltage-low"}
"""An extreme comes from the same sensor as its mean."""

SIZES_SI = {
    "thrust": 1.0,
    "current": 5.0,
    "current-high": 5.0,
    "voltage": 2.0,
    "voltage-low": 2.0,
    "speed": 1000.0,
    "pulse": 2e-4,
    "winding-temp": 40.0,
    "esc-temp": 40.0,
}
"""What is a large error of each: random draws are in units of it."""

Reader = Callable[[int], int | None]
"""A count as it was, to a count as it is; None for no reading."""


@dataclass(frozen=True, slots=True)
class SensorFault(Lasting, ABC):
    """A fault of one sensor.

    Attributes:
        channel: which; a mean takes the extreme of the same sensor along.
    """

    channel: str = choice("current", CHANNELS)

    def channels(self) -> tuple[str, ...]:
        """Names of the channels that it falsifies."""
        extreme = EXTREMES.get(self.channel)
        return (self.channel,) if extreme is None else (self.channel, extreme)

    @abstractmethod
    def reader(
        self, spec: SensorSpec, period_s: float, rng: np.random.Generator
    ) -> Reader:
        """What it does to one channel.

        Args:
            spec: of the channel.
            period_s: from one reading to the next.
            rng: for what is random in it.
        """


@dataclass(frozen=True, slots=True)
class FrozenSensor(SensorFault):
    """Repeats the first reading after its start."""

    kind: ClassVar[str] = "frozen-sensor"

    @override
    def reader(
        self, spec: SensorSpec, period_s: float, rng: np.random.Generator
    ) -> Reader:
        held: list[int] = []

        def read(count: int) -> int:
            if not held:
                held.append(count)
            return held[0]

        return read

    @override
    def words(self) -> str:
        return f"{self.channel} is frozen"


@dataclass(frozen=True, slots=True)
class NoisySensor(SensorFault):
    """Has white noise on each reading.

    Attributes:
        noise_rms_si: its size.
    """

    kind: ClassVar[str] = "noisy-sensor"

    noise_rms_si: float = figure(1.0, 0.0, 1e6, (0.02, 1.0))

    @override
    def reader(
        self, spec: SensorSpec, period_s: float, rng: np.random.Generator
    ) -> Reader:
        rms = self.noise_rms_si * abs(spec.counts_per_unit)
        return lambda count: _kept(count + rms * rng.standard_normal(), spec)

    @override
    def words(self) -> str:
        return f"{self.channel} is noisy, {self.noise_rms_si:.3g} rms"


@dataclass(frozen=True, slots=True)
class OffsetSensor(SensorFault):
    """Reads that much too high.

    Attributes:
        offset_si: how much; negative: too low.
    """

    kind: ClassVar[str] = "offset-sensor"

    offset_si: float = figure(1.0, -1e6, 1e6, (0.1, 1.0))

    @override
    def reader(
        self, spec: SensorSpec, period_s: float, rng: np.random.Generator
    ) -> Reader:
        offset = self.offset_si * spec.counts_per_unit
        return lambda count: _kept(count + offset, spec)

    @override
    def words(self) -> str:
        return f"{self.channel} is off by {self.offset_si:.3g}"


@dataclass(frozen=True, slots=True)
class SaturatedSensor(SensorFault):
    """Stands at one end of its range.

    Attributes:
        at: which end.
    """

    kind: ClassVar[str] = "saturated-sensor"

    at: str = choice("high", ("high", "low"))

    @override
    def reader(
        self, spec: SensorSpec, period_s: float, rng: np.random.Generator
    ) -> Reader:
        end = spec.high_counts if self.at == "high" else spec.low_counts
        return lambda _: end

    @override
    def words(self) -> str:
        return f"{self.channel} is at the {self.at} end of its range"


@dataclass(frozen=True, slots=True)
class GlitchingSensor(SensorFault):
    """Has a spike now and then, one reading long, of either sign.

    Attributes:
        spikes_s: how many a second in the mean, no more than readings.
        size_si: height of each.
    """

    kind: ClassVar[str] = "glitching-sensor"

    spikes_s: float = figure(1.0, 1e-6, 1e3, (0.2, 10.0))
    size_si: float = figure(10.0, 0.0, 1e6, (0.3, 10.0))

    @override
    def reader(
        self, spec: SensorSpec, period_s: float, rng: np.random.Generator
    ) -> Reader:
        chance = min(1.0, self.spikes_s * period_s)
        size = self.size_si * spec.counts_per_unit

        def read(count: int) -> int:
            draw = rng.random()
            if draw >= chance:
                return count
            sign = 1.0 if draw < 0.5 * chance else -1.0
            return _kept(count + sign * size, spec)

        return read

    @override
    def words(self) -> str:
        spikes = f"spikes of {self.size_si:.3g}, {self.spikes_s:.3g} a second"
        return f"{self.channel} has {spikes}"


@dataclass(frozen=True, slots=True)
class SilentSensor(SensorFault):
    """Gives no reading: thrust no sample at all, the others the count for none."""

    kind: ClassVar[str] = "silent-sensor"

    @override
    def reader(
        self, spec: SensorSpec, period_s: float, rng: np.random.Generator
    ) -> Reader:
        return lambda _: None

    @override
    def words(self) -> str:
        return f"{self.channel} is silent"


def _kept(count: float, spec: SensorSpec) -> int:
    """A count inside the channel's range."""
    return max(spec.low_counts, min(spec.high_counts, round(count)))


class Overlay:
    """The plant as its faulty sensors show it; what a device sees of it.

    Attributes:
        sensor_specs: the channels, as the plant has them, but the slow ones.
        slow_specs: the slow ones.
        readers: what is done to a channel's counts, by its name, in order.
    """

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self.sensor_specs = plant.sensor_specs
        self.slow_specs = plant.slow_specs
        self.readers: dict[str, list[Reader]] = {}

    @property
    def specs(self) -> tuple[SensorSpec, ...]:
        """All channels, in the order of their indices."""
        return self.sensor_specs + self.slow_specs

    def advance(self, duration_s: float, pulse_s: float) -> None:
        """Move on with that pulse on the ESC's input."""
        self._plant.advance(duration_s, pulse_s)

    def fast_frame(self) -> FastFrame:
        """Counts of everything but the load cell since the last call."""
        counts = self._plant.fast_frame()
        return FastFrame(*self._read(self.sensor_specs[1:], counts))

    def converter(self, name: str) -> Converter:
        """What takes ``current`` or ``voltage`` quickly."""
        return self._plant.converter(name)

    def conversions(self, name: str, first_us: int, period_us: int) -> list[int]:
        """Counts of such a channel at moments of the newest sub-step."""
        spec = next(spec for spec in self.sensor_specs if spec.name == name)
        counts = self._plant.conversions(name, first_us, period_us)
        return [self._one(spec, count) for count in counts]

    def slow_frame(self) -> tuple[int, ...]:
        """Counts of the slow channels now."""
        return tuple(self._read(self.slow_specs, self._plant.slow_frame()))

    def take_conversion(self) -> int | None:
        """The load cell's newest count, once."""
        count = self._plant.take_conversion()
        for read in self.readers.get("thrust", ()):
            count = None if count is None else read(count)
        return count

    def _read(
        self, specs: tuple[SensorSpec, ...], counts: tuple[int, ...]
    ) -> list[int]:
        return [
            self._one(spec, count) for spec, count in zip(specs, counts, strict=True)
        ]

    def _one(self, spec: SensorSpec, count: int) -> int:
        for read in self.readers.get(spec.name, ()):
            changed = read(count)
            if changed is None:
                return no_reading(spec)
            count = changed
        return count


def no_reading(spec: SensorSpec) -> int:
    """The count that says there is no reading: the lowest of its width."""
    return -(1 << (8 * spec.width_bytes - 1))

"""The arming plug: two contacts that warm, and an amplifier across each.

A contact is a constriction of metal: what it drops is in proportion to the current, and
its resistance rises with its temperature about as that of the metal does (R. Holm,
Electric Contacts, 4th ed. 1967, from memory). Films, fretting and softening are not
modelled. Nothing here corrects a reading.
"""

from daq.stand.plant.heat import Lump
from daq.stand.plant.noise import Stream
from daq.stand.plant.sensors import (
    FastSensor,
    SensorSpec,
    fast_sensor,
    spec_of,
    true_gain,
)
from daq.stand.plant.truth import Truth
from daq.stand.plant.truth_parts import HeatTruth
from daq.stand.plant.truth_plug import POLES, PlugSenseTruth, PlugTruth, Pole
from daq.units import c_to_k

AVERAGED_S = 0.1
"""What one reading is the mean of: a monitor chip that averages 64 conversions of
1.1 ms takes 70 ms for it (such chips' data sheets, from memory)."""

GAINS = {"plus": Stream.PLUG_PLUS_GAIN, "minus": Stream.PLUG_MINUS_GAIN}
NOISES = {"plus": Stream.PLUG_PLUS_NOISE, "minus": Stream.PLUG_MINUS_NOISE}


class Contacts:
    """Both poles in series with the pack, one lump of heat.

    Attributes:
        plus_ohm: as warm as it is now.
        minus_ohm: as warm as it is now.
        lump: what they warm.
    """

    __slots__ = ("_air_k", "_cold", "_rise_rel_k", "lump", "minus_ohm", "plus_ohm")

    def __init__(
        self, truth: PlugTruth, cold_ohm: float, air_k: float, span_s: float
    ) -> None:
        heat = HeatTruth(
            capacity_j_k=truth.capacity_j_k, resistance_k_w=truth.resistance_k_w
        )
        self.lump = Lump(heat, air_k, span_s)
        self._air_k = air_k
        plus_ohm = truth.plus_share_frac * cold_ohm
        self._cold = (plus_ohm, cold_ohm - plus_ohm)
        self._rise_rel_k = truth.rise_rel_k
        self.plus_ohm, self.minus_ohm = self._cold

    @property
    def resistance_ohm(self) -> float:
        """Of both poles."""
        return self.plus_ohm + self.minus_ohm

    def take(self, bus_a: float, gained_ohm: float) -> None:
        """One span at that current; ``gained_ohm`` heats them too."""
        self.lump.take(bus_a * bus_a * (self.resistance_ohm + gained_ohm))
        factor = 1.0 + self._rise_rel_k * (self.lump.temperature_k - self._air_k)
        self.plus_ohm, self.minus_ohm = (factor * ohm for ohm in self._cold)


class Plug:
    """Contacts, and what the stand reads across each.

    Attributes:
        contacts: both poles.
        gained_ohm: what the plus pole has gained by a fault.
        looped_a: what else flows through the contacts, from a supply of its own.
        shunt_ohm: a resistor that the sense wires of both poles sit across instead,
            with that current in it; None where they sit at the contacts.
        pack_on: whether there is a pack in front of it.
        specs: its channels, in the order of ``frame``; none where nothing measures it.
    """

    __slots__ = (
        "_asked",
        "_before",
        "_before_truth",
        "_sensors",
        "_tap_ohm",
        "_thermometer",
        "_truth",
        "_warmed_a",
        "contacts",
        "gained_ohm",
        "looped_a",
        "pack_on",
        "shunt_ohm",
        "specs",
    )

    def __init__(self, truth: Truth, plug: PlugTruth, seed: int, span_s: float) -> None:
        self.contacts = Contacts(
            plug, truth.leads.plug_resistance_ohm, c_to_k(truth.air.celsius), span_s
        )
        self.gained_ohm = 0.0
        self.looped_a = 0.0
        self.shunt_ohm: float | None = None
        self.pack_on = True
        self._truth = truth.plug_sense
        self._sensors = () if self._truth is None else _sensors(self._truth, seed)
        self._warmed_a = 0.0
        self._asked = (0, 0.0, 0.0)
        self._thermometer = _thermometer(truth, seed)
        self._before_truth = truth.pack_voltage_sensor
        self._before = _divider(truth, seed)
        self._tap_ohm = truth.voltage_sensor.tap_resistance_ohm
        self.specs = _specs(truth)

    @property
    def resistance_ohm(self) -> float:
        """Of both poles now."""
        return self.contacts.resistance_ohm + self.gained_ohm

    def warm(self, sum_a: float, steps: int) -> None:
        """One span of so many steps, up to a sum of the bus current over all steps."""
        self.contacts.take((sum_a - self._warmed_a) / steps, self.gained_ohm)
        self._warmed_a = sum_a

    def frame(
        self, steps: int, sum_a: float, sum_v: float, open_v: float | None = None
    ) -> tuple[int, ...]:
        """Counts of both poles, each the mean since last asked, and the warmth now.

        Args:
            steps: taken since the start.
            sum_a: of the bus current over them.
            sum_v: of the bus voltage over them.
            open_v: of the pack, where the plug is out; None where it is in.
        """
        before, before_a, before_v = self._asked
        if steps > before:
            bus_a = (sum_a - before_a) / (steps - before)
            bus_v = (sum_v - before_v) / (steps - before)
            self._asked = (steps, sum_a, sum_v)
            self._sample(bus_a, bus_v, open_v)
        return self._drops() + self._in_front() + self._warmth()

    def _sample(self, bus_a: float, bus_v: float, open_v: float | None) -> None:
        if self._truth is not None:
            for pole, sensor in zip(POLES, self._sensors, strict=True):
                sensor.sample(self._across_v(self._truth, pole, bus_a, bus_v))
        if self._before is not None and self._before_truth is not None:
            between_ohm = self._tap_ohm + self._before_truth.lead_ohm
            pack_v = bus_v + bus_a * (between_ohm + self.resistance_ohm)
            pack_v = pack_v if open_v is None else open_v
            self._before.sample(pack_v if self.pack_on else 0.0)

    def _in_front(self) -> tuple[int, ...]:
        return () if self._before is None else (self._before.collect()[0],)

    def _warmth(self) -> tuple[int, ...]:
        if self._thermometer is None:
            return ()
        self._thermometer.sample(self.contacts.lump.temperature_k)
        return (self._thermometer.collect()[0],)

    def _drops(self) -> tuple[int, ...]:
        if self._truth is None:
            return ()
        read = (sensor.collect()[0] for sensor in self._sensors)
        return tuple(
            self._truth.high_counts if pole in self._truth.broken else count
            for pole, count in zip(POLES, read, strict=True)
        )

    def _across_v(
        self, truth: PlugSenseTruth, pole: Pole, bus_a: float, bus_v: float
    ) -> float:
        """What reaches the amplifier of one pole."""
        common_v = truth.common_mode_rel * bus_v if pole == "plus" else 0.0
        sign = -1.0 if pole in truth.swapped else 1.0
        if self.shunt_ohm is not None:
            return sign * self.shunt_ohm * self.looped_a
        between_ohm = self.between_ohm(pole)
        return sign * between_ohm * (bus_a + self.looped_a) + common_v

    def between_ohm(self, pole: Pole) -> float:
        """Between the sense points of one pole, as warm as it is now."""
        contacts, truth = self.contacts, self._truth
        plus_ohm, minus_ohm = (
            (0.0, 0.0) if truth is None else (truth.plus_lead_ohm, truth.minus_lead_ohm)
        )
        if pole == "plus":
            return contacts.plus_ohm + self.gained_ohm + plus_ohm
        return contacts.minus_ohm + minus_ohm


def _specs(truth: Truth) -> tuple[SensorSpec, ...]:
    """The channels as the stand declares them."""
    found: list[SensorSpec] = []
    if truth.plug_sense is not None:
        found += [
            spec_of(
                f"plug-{pole}",
                "voltage",
                truth.plug_sense,
                kind="mean",
                delay_s=AVERAGED_S / 2,
            )
            for pole in POLES
        ]
    if truth.pack_voltage_sensor is not None:
        found.append(
            spec_of(
                "pack-voltage",
                "voltage",
                truth.pack_voltage_sensor,
                kind="mean",
                delay_s=AVERAGED_S / 2,
            )
        )
    if truth.plug_sensor is not None:
        found.append(
            spec_of("plug-temp", "temperature", truth.plug_sensor, kind="point")
        )
    return tuple(found)


def _thermometer(truth: Truth, seed: int) -> FastSensor | None:
    sensor = truth.plug_sensor
    if sensor is None:
        return None
    gain = true_gain(sensor, seed, Stream.PLUG_GAIN)
    return fast_sensor(sensor, gain, seed, Stream.PLUG_NOISE)


def _divider(truth: Truth, seed: int) -> FastSensor | None:
    sensor = truth.pack_voltage_sensor
    if sensor is None:
        return None
    gain = true_gain(sensor, seed, Stream.PACK_VOLTAGE_GAIN)
    return fast_sensor(sensor, gain, seed, Stream.PACK_VOLTAGE_NOISE)


def _sensors(truth: PlugSenseTruth, seed: int) -> tuple[FastSensor, ...]:
    minus = truth.model_copy(
        update={"zero_error_counts": truth.minus_zero_error_counts}
    )
    return tuple(
        fast_sensor(one, true_gain(one, seed, GAINS[pole]), seed, NOISES[pole])
        for pole, one in zip(POLES, (truth, minus), strict=True)
    )


def plug_of(truth: Truth, seed: int, span_s: float) -> Plug | None:
    """The plug that a truth has; ``span_s`` is how often it warms."""
    return None if truth.plug is None else Plug(truth, truth.plug, seed, span_s)

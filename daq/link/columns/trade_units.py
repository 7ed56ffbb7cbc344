"""The units a printed figure may be in, and the SI value it stands for.

Factors are those of ``daq.units``; what is left here are the metric prefixes and
pulses a turn. This module must never know where a figure came from.
"""

from collections.abc import Callable
from dataclasses import dataclass

from daq import units
from daq.link.messages import Quantity


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit that a person may write.

    Attributes:
        quantity: what is measured in it.
        to_si: a value in it as SI.
    """

    quantity: Quantity
    to_si: Callable[[float], float]


def _as_it_is(value: float) -> float:
    return value


def _milli(value: float) -> float:
    return value / 1e3


def _micro(value: float) -> float:
    return value / 1e6


def _kilogram_force(value: float) -> float:
    return units.gf_to_n(value * 1e3)


def _per_second(value: float) -> float:
    return units.rpm_to_rad_s(value * 60)


# A load cell reads force; what a scale prints as gram is gram-force.
UNITS: dict[str, Unit] = {
    "gf": Unit(Quantity.FORCE, units.gf_to_n),
    "g": Unit(Quantity.FORCE, units.gf_to_n),
    "kg": Unit(Quantity.FORCE, _kilogram_force),
    "N": Unit(Quantity.FORCE, _as_it_is),
    "mN": Unit(Quantity.FORCE, _milli),
    "A": Unit(Quantity.CURRENT, _as_it_is),
    "mA": Unit(Quantity.CURRENT, _milli),
    "V": Unit(Quantity.VOLTAGE, _as_it_is),
    "mV": Unit(Quantity.VOLTAGE, _milli),
    "rpm": Unit(Quantity.ROTATIONAL_SPEED, units.rpm_to_rad_s),
    "rad/s": Unit(Quantity.ROTATIONAL_SPEED, _as_it_is),
    "Hz": Unit(Quantity.ROTATIONAL_SPEED, _per_second),
    "degC": Unit(Quantity.TEMPERATURE, units.c_to_k),
    "K": Unit(Quantity.TEMPERATURE, _as_it_is),
    "us": Unit(Quantity.DURATION, _micro),
    "ms": Unit(Quantity.DURATION, _milli),
    "s": Unit(Quantity.DURATION, _as_it_is),
    "W": Unit(Quantity.POWER, _as_it_is),
    "mW": Unit(Quantity.POWER, _milli),
    "N m": Unit(Quantity.TORQUE, _as_it_is),
    "mN m": Unit(Quantity.TORQUE, _milli),
}

# What a channel must be able to tell at the least, in SI: what a stand for very small
# multirotors may meet, with room. Common practice, no source.
LEAST_RANGE_SI: dict[Quantity, float] = {
    Quantity.FORCE: 10.0,
    Quantity.CURRENT: 50.0,
    Quantity.VOLTAGE: 50.0,
    Quantity.ROTATIONAL_SPEED: 10_000.0,
    Quantity.DURATION: 0.01,
    Quantity.TEMPERATURE: 500.0,
    Quantity.POWER: 1000.0,
    Quantity.TORQUE: 0.1,
}

PULSES = "Hz"  # the unit that needs to know how many pulses make a turn

# What a channel that the rest of the program knows by name has to measure.
KNOWN_CHANNELS: dict[str, Quantity] = {
    "thrust": Quantity.FORCE,
    "current": Quantity.CURRENT,
    "current-high": Quantity.CURRENT,
    "voltage": Quantity.VOLTAGE,
    "voltage-low": Quantity.VOLTAGE,
    "speed": Quantity.ROTATIONAL_SPEED,
    "pulse": Quantity.DURATION,
    "winding-temp": Quantity.TEMPERATURE,
    "esc-temp": Quantity.TEMPERATURE,
    "pack-voltage": Quantity.VOLTAGE,
    "plug-plus": Quantity.VOLTAGE,
    "plug-minus": Quantity.VOLTAGE,
    "plug-temp": Quantity.TEMPERATURE,
}

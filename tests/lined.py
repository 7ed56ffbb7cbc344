"""Spins on a simulated stand that prints lines, in virtual time."""

from collections.abc import Iterable
from typing import cast

from daq.link.columns.description import Description, read_description
from daq.stand.device import Device
from daq.stand.faults.fault import Fault
from daq.stand.faults.stand import FaultyStand
from daq.stand.lines import LineStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import Truth, shipped_truth
from protocols.control import Control
from protocols.limits import Limit
from protocols.plan import Plan
from protocols.task import Task
from tests.spins import LIMITS, NONCE, plan
from tests.virtual import VirtualSpin

DESCRIPTION = r"""
format = 1
name = "a sketch on the bench"
baud = 115200
form = "separated"
separator = "comma"
columns = ["t", "load", "bus", "amps"]
exact_decimals = true
skip = ["#"]
rate_hz = 80

[time]
column = "t"
unit = "us"
wraps_at = 4294967296

[[channel]]
name = "thrust"
column = "load"
unit = "gf"
decimals = 1

[[channel]]
name = "voltage"
column = "bus"
unit = "V"
decimals = 2
kind = "mean"

[[channel]]
name = "current"
column = "amps"
unit = "A"
decimals = 2
kind = "mean"

[commands]
throttle = "T{percent:.1f}\n"
stop = "S\n"
"""


def described(text: str = DESCRIPTION) -> Description:
    """The stand of these spins, or another."""
    return read_description(text, "bench.toml")


PLUGGED = DESCRIPTION.replace(
    '"amps"]', '"amps", "plug_plus_mV", "plug_minus_mV"]'
).replace(
    "[commands]",
    "".join(
        f"""[[channel]]
name = "plug-{pole}"
column = "plug_{pole}_mV"
unit = "mV"
decimals = 3
kind = "mean"

"""
        for pole in ("plus", "minus")
    )
    + "[commands]",
)
"""The same with an amplifier across each pole of its plug."""


def slow(text: str = DESCRIPTION, rate_hz: float = 10) -> str:
    """The same stand, printing more slowly."""
    return text.replace("rate_hz = 80", f"rate_hz = {rate_hz:g}")


def timeless(text: str = DESCRIPTION) -> str:
    """The same stand without a clock of its own."""
    begin, end = text.index("[time]"), text.index("[[channel]]")
    text = text[:begin] + text[end:]
    return text.replace('"t", ', "")


def spin_on_lines(
    text: str = DESCRIPTION,
    *,
    walked: Plan | None = None,
    limits: tuple[Limit, ...] = LIMITS,
    faults: Iterable[Fault] = (),
    seed: int = 1,
    heeds_keep_alive: bool = False,
    truth: Truth | None = None,
) -> VirtualSpin:
    """A virtual spin of the shipped plant behind a sketch that prints lines."""
    task = Task(walked or plan((0.3, 0.5)), limits, NONCE, lines=text)
    plant = Plant(truth or shipped_truth(), seed)
    hardware = FaultyStand(plant, faults, seed=seed)
    stand = LineStand(hardware, described(text), heeds_keep_alive=heeds_keep_alive)
    return VirtualSpin(Control(task, "test port"), cast(Device, stand))

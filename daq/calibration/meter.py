"""A multimeter, or a known load, as what voltage and current are held against.

A maker states accuracy as a share of the reading and a number of digits; both are
bounds. The share is the meter's scale and the same at every reading; of the digits half
the variance is the meter's own zero, the rest each reading's. Nothing here is measured.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.calibration.gravity import ROOT_3
from daq.calibration.reference import Level, Reference
from daq.errors import InputFault

_ACCURACY: Final = re.compile(
    r"\s*(?P<percent>\d+(\.\d+)?)\s*%\s*(\+\s*(?P<digits>\d+)\s*(x|digits? of)\s*"
    r"(?P<step>\d+(\.\d+)?)\s*)?"
)
ZERO_SHARE: Final = 0.5


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter on one of its ranges.

    Attributes:
        percent: of the reading, as its maker states.
        digits: counts of the last digit, as its maker states.
        step: one count of the last digit, in SI.
        resistance_ohm: of a known load across which it reads volts, where current is
            wanted, or through which it reads amperes, where a voltage is; None where it
            reads what is wanted.
        resistance_u_ohm: standard uncertainty of that.
        name: which meter, where somebody says so: what is held against one meter
            shares its scale.
    """

    percent: float
    digits: int
    step: float
    resistance_ohm: float | None = None
    resistance_u_ohm: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        """Refuse what no meter is.

        Raises:
            InputFault: an accuracy or a load that cannot be.
        """
        if not (0.0 < self.percent <= 20.0 and 0 <= self.digits <= 200):
            raise InputFault(
                f"a meter good to {self.percent:g} % and {self.digits} digits: give "
                "what its maker states, such as 0.5% + 2 x 0.01"
            )
        ohm = self.resistance_ohm
        if ohm is not None and not (
            1e-4 <= ohm <= 1e6 and 0.0 < self.resistance_u_ohm < ohm
        ):
            raise InputFault(
                f"a load of {ohm:g} ohm, known to {self.resistance_u_ohm:g} ohm, "
                "cannot serve: give its resistance and the standard uncertainty of it"
            )

    def words(self) -> str:
        """How good it is."""
        which = f'meter "{self.name}"' if self.name else "meter"
        words = f"{which} within {self.percent:g} % of the reading"
        if self.digits:
            many = "digit" if self.digits == 1 else "digits"
            words += f" and {self.digits} {many} of {self.step:g}"
        if self.resistance_ohm is not None:
            words += (
                f", across {self.resistance_ohm:g} ohm known to "
                f"{self.resistance_u_ohm:g} ohm"
            )
        return words


def meter_from(accuracy: str) -> Meter:
    """A meter by what its maker states, such as ``0.5% + 2 x 0.01``.

    Raises:
        InputFault: it is not of that form.
    """
    found = _ACCURACY.fullmatch(accuracy)
    if found is None:
        raise InputFault(
            f'"{accuracy[:40]}" is no accuracy of a meter; write it as its maker does, '
            "such as 0.5% + 2 x 0.01 (share of the reading, digits, one digit)."
        )
    return Meter(
        float(found["percent"]), int(found["digits"] or 0), float(found["step"] or 0.0)
    )


def metered(
    meter: Meter,
    readings: Sequence[float],
    unit: str,
    *,
    shown_in: str = "",
    shown_si: float = 1.0,
) -> Reference:
    """What the meter read, as known values.

    Args:
        meter: with how good it is, its step in what it shows.
        readings: shape (n,), as it shows them, zero left out.
        unit: of the channel, V or A.
        shown_in: unit that it shows, where that is not the channel's.
        shown_si: SI for one of what it shows.
    """
    read = np.array(readings, dtype=np.float64)
    per_unit = shown_si
    if meter.resistance_ohm is not None:
        ohm = meter.resistance_ohm
        per_unit *= ohm if unit == "V" else 1.0 / ohm
    value = read * per_unit
    gain = meter.percent / 100.0 / ROOT_3
    if meter.resistance_ohm is not None:
        gain = math.hypot(gain, meter.resistance_u_ohm / meter.resistance_ohm)
    digits = meter.digits * meter.step * per_unit / ROOT_3
    own = math.sqrt(1.0 - ZERO_SHARE) * digits
    shared = math.sqrt(ZERO_SHARE) * digits
    standards = np.concatenate(
        (own * np.eye(read.size), np.full((read.size, 1), shared)), axis=1
    )
    return Reference(
        levels=tuple(
            Level(f"{x:g} {shown_in or unit}", float(known))
            for x, known in zip(read if shown_in else value, value, strict=True)
        ),
        causes={"standards": standards, "gain": (gain * value)[:, np.newaxis]},
        told=tuple(
            {"name": f"{x:g} {unit}", "value": float(x), "source": meter.words()}
            for x in value
        ),
        facts={
            "meter_name": meter.name,
            "meter_unit": shown_in or unit,
            "meter_percent": meter.percent,
            "meter_digits": meter.digits,
            "meter_step": meter.step,
            "load_ohm": meter.resistance_ohm,
            "load_u_ohm": meter.resistance_u_ohm,
        },
    )

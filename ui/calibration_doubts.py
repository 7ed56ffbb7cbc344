"""What cannot be as a person says it, told while it can be mended by one step back.

A figure in another unit, a supply that is still on, a mass that is not the one that was
meant. By the stand's own constants and by the readings before; nothing is refused that
these cannot tell.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from daq.errors import InputFault
from ui.calibration_sensed import SUPPLY_OFF_V

if TYPE_CHECKING:
    from daq.calibration.readings import Reading
    from daq.calibration.reference import Reference

#: A reading further than this from what it should be, as a share of the largest load so
#: far, is told at once.
DOUBT_SHARE: Final = 0.02
#: A load that moves the reading by fewer than so many of its own scatters does not
#: arrive at the sensor.
ARRIVES: Final = 5.0
#: What is typed is within this factor of what the stand's constants say, or in another
#: unit; of less than this, in SI, nothing can be said.
FAR: Final = 5.0
LEAST_NOMINAL: Final = 0.2
#: Of a channel whose known values are set down and not typed.
ZEROED_UNIT: Final = "N"


def check_zero(nominal: float, unit: str) -> None:
    """Whether a channel can be at its zero.

    Args:
        nominal: what it reads by the stand's own constants.
        unit: of the channel.

    Raises:
        InputFault: there is a voltage.
    """
    if unit == "V" and abs(nominal) > SUPPLY_OFF_V:
        raise InputFault(
            f"The channel reads {nominal:.1f} V: switch the supply off, or take the "
            "pack off, for its zero."
        )


def check_typed(
    typed: float | None,
    before: Collection[float],
    nominal: float,
    unit: str,
    *,
    direct: bool,
) -> None:
    """Whether what was typed can be what a meter reads.

    Args:
        typed: None where nothing was.
        before: what was typed at the steps before.
        nominal: what the channel reads by the stand's own constants, in that unit.
        unit: of what the meter shows; "" where nothing is typed.
        direct: whether the meter reads what the channel reads.

    Raises:
        InputFault: it cannot.
    """
    if not unit:
        return
    if typed is None or not math.isfinite(typed):
        raise InputFault("Type what the meter reads, such as 11.08.")
    if typed == 0.0 or typed in before:
        raise InputFault(f"{typed:g} was taken already; set another value.")
    if not direct or abs(nominal) < LEAST_NOMINAL:
        return
    if not 1.0 / FAR <= abs(typed / nominal) <= FAR:
        raise InputFault(
            f"By its own constants the stand reads {nominal:.3g} {unit}, and "
            f"{typed:g} was typed: is that in {unit}?"
        )


def doubt(readings: Sequence[Reading], reference: Reference) -> str:
    """Why the newest reading cannot be of what should be on it; "" where it can.

    Args:
        readings: so far, the first of them a zero.
        reference: the masses.
    """
    newest, zero = readings[-1], readings[0]
    pairs = []
    for reading in readings:
        if reading.kind == "load":
            known = reference.levels[reading.level].value_si
            pairs.append((known, reading.counts - zero.counts))
    if newest.kind == "zero" and pairs:
        most = max(abs(moved) for _, moved in pairs)
        if abs(newest.counts - zero.counts) > DOUBT_SHARE * most:
            return (
                "It does not come back to where it began: look whether everything "
                "is off and nothing touches."
            )
    if newest.kind != "load":
        return ""
    known, moved = pairs[-1]
    name = reference.levels[newest.level].name
    if abs(moved) < ARRIVES * newest.sd_counts:
        return (
            f"The channel has not moved for {name}: look whether it is on, and whether "
            "the sensor is wired."
        )
    if len(pairs) == 1:
        return ""
    scale = float(np.median([counts / value for value, counts in pairs[:-1]]))
    largest = max(abs(value) for value, _ in pairs)
    seems = moved / scale
    if abs(seems - known) <= DOUBT_SHARE * largest:
        return ""
    share = f"that is {100.0 * seems / known:.0f} % of {name}."
    if len(pairs) == 2:  # nothing says yet which of the two it is
        return f"By the step before, {share} One of the two is not what it should be."
    return f"By the steps before, {share} Look what is on it."

"""What keeps a pole of the plug from having a resistance, or casts doubt on it.

Only words; whether there is trouble was found in ``plug``. Nothing here computes.
"""

from typing import Final

import numpy as np

from daq.analysis.findings import (
    Evidence,
    Finding,
    channels_of,
    reading,
    remark_of,
    text_of,
)
from daq.analysis.plug import BOTH, PlugDrop, Pole, Trouble
from daq.analysis.plugged import capital, name_of
from daq.units import milli

#: Resistance of a contact that is in order, in ohm (common practice, no source).
USUAL_OHM: Final = 0.030


def trouble(evidence: Evidence) -> Finding | None:
    """What kept a pole from having a resistance, or casts doubt on it."""
    drop = evidence.plug
    if drop is None:
        return None
    said = _few_levels(evidence, drop)
    said = said or [words for pole in drop.poles if (words := _doubt(evidence, pole))]
    if not said:
        return None
    return remark_of(
        "plug-doubt",
        " ".join(said),
        None,
        "",
        channels_of(drop.channels),
        evidence.cautions(drop.channels),
    )


def _few_levels(evidence: Evidence, drop: PlugDrop) -> list[str]:
    """That no pole was read at enough currents, which is a matter of the plan."""
    if any(pole.trouble is not Trouble.FEW_LEVELS for pole in drop.poles):
        return []
    levels = np.unique(evidence.plateaus.level[list(drop.points)]).size
    one = "one current only" if levels == 1 else "too few currents, or too alike"
    return [
        f"{capital(name_of(evidence))} was read at {one}, and a resistance is told "
        "from an offset by several: walk three levels or more, the lowest below two "
        "thirds of the highest ('gramwatt spin plug-steps' does)."
    ]


def _doubt(evidence: Evidence, pole: Pole) -> str:
    if pole.name == BOTH:
        return _divided_doubt(evidence, pole)
    name = f"The {pole.name} pole of {name_of(evidence)}"
    if pole.trouble is Trouble.FEW_LEVELS:
        return (
            f"{name} was read at too few currents: measure three levels or more, the "
            "lowest below two thirds of the highest."
        )
    if pole.trouble is Trouble.CLIPPED:
        return (
            f"{name} was read at the end of its amplifier's range at all but the "
            "lowest currents: spin at less, or give the amplifier less gain."
        )
    if pole.trouble is Trouble.SWAPPED:
        return f"{name} reads below zero under load: exchange its two sense wires."
    if pole.trouble is Trouble.WIRE_OFF:
        return (
            f"{name} does not follow the current: one of its sense wires is off, or "
            "its amplifier at the end of its range."
        )
    if pole.trouble is Trouble.TOO_SMALL:
        most = milli(pole.most_ohm or 0.0)
        return (
            f"{name} cannot be told from none: {most:.2g} milliohm at most. Spin at "
            "more current, or hold each level longer."
        )
    return _offset_doubt(name, pole)


def _divided_doubt(evidence: Evidence, pole: Pole) -> str:
    """Why two dividers say nothing of it."""
    name = capital(name_of(evidence))
    if pole.trouble is Trouble.SWAPPED:
        return (
            "Under load the voltage behind the plug is above the one in front of it: "
            "pack-voltage and voltage are exchanged, or one of the dividers is off by "
            "more than its constants say."
        )
    if pole.trouble is Trouble.TOO_SMALL:
        most = milli(pole.most_ohm or 0.0)
        return (
            f"{name} cannot be told from none by two dividers: {most:.2g} milliohm at "
            "most. To know more, calibrate both by one meter, or fit an amplifier to "
            "each pole."
        )
    if pole.trouble is not None:
        return f"{name} gave no drop: one of the two dividers gives no readings."
    return ""


def _offset_doubt(name: str, pole: Pole) -> str:
    if pole.clipped:
        return (
            f"{name} was read at the end of its amplifier's range at the highest "
            "currents, which are left out: its resistance is that of the others."
        )
    offset = reading(pole.offset_v, 0, "mV", milli)
    if offset is not None and (offset.low > 0 or offset.high < 0):
        return (
            f"The drop of the {pole.name} pole does not go to zero with the current: "
            f"{text_of(offset)} are left. Its resistance is not the same at all "
            "currents (it got hot, or is loose), or its amplifier drifts with the load."
        )
    ohm = reading(pole.ohm, 0, "milliohm", milli)
    if ohm is not None and ohm.low > milli(USUAL_OHM):
        return (
            f"{name} has more than the 1 to 30 milliohm of a contact in order: it is "
            "worn or loose, or its sense wires sit far from it, with lead between."
        )
    return ""

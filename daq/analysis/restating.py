"""Findings about what a run would be on one voltage, and in other air.

Each function writes one finding, or None where there is nothing to say. Only picks,
converts and words.
"""

import numpy as np

from daq.analysis.air import standard_atmosphere
from daq.analysis.findings import (
    Evidence,
    Finding,
    finding_of,
    percent,
    reading,
    remark_of,
    text_of,
)
from daq.analysis.one_air import in_standard_air
from daq.units import n_to_gf

#: A move of less than this is not worth telling, in per cent.
MOVED_TOLD_PERCENT = 0.5
#: Air within this of standard air is not worth restating.
SAME_AIR_REL = 0.003


def legs_on_one_voltage(evidence: Evidence) -> Finding | None:
    """What the legs differ by once sag is taken out."""
    on_one = evidence.one_voltage
    if on_one is None or on_one.legs is None:
        return None
    found = reading(on_one.legs, 0, "%", percent)
    if found is None:
        return None
    apart = (
        "thrust of the later leg cannot be told from that of the earlier"
        if found.low <= 0 <= found.high
        else f"thrust of the later leg is {'lower' if found.value < 0 else 'higher'}"
    )
    return finding_of(
        evidence,
        "legs-on-one-voltage",
        f"On one bus voltage {apart}: the difference is {text_of(found)}; what sag did "
        "is taken out, heat and the cell's hysteresis are left.",
        found,
        (),
        ("thrust", "voltage"),
        (),
    )


def moved_by_voltage(evidence: Evidence) -> Finding | None:
    """How far the curves move when they are restated for one bus voltage."""
    on_one = evidence.one_voltage
    if on_one is None:
        return None
    low = round(100 * float(np.min(on_one.curves[0].throttle_frac)), 1)
    moved = 100 * on_one.moved[0]
    if abs(moved) < MOVED_TOLD_PERCENT:
        return None
    way = "less" if moved < 0 else "more"
    channels = ("thrust", "voltage")
    return remark_of(
        "moved-by-voltage",
        f"On {on_one.bus_v:.2f} V throughout, which the bus had at the highest "
        f"throttle, thrust at {low:g} % throttle would have been {abs(moved):.1f} % "
        f"{way}: by so much a sagging bus bends the curves against throttle.",
        moved,
        "%",
        evidence.grounds((), channels),
        evidence.cautions(
            channels,
            ("the speed controller is taken to make duty in proportion to throttle",),
        ),
    )


def thrust_in_standard_air(evidence: Evidence) -> Finding | None:
    """Highest thrust as it would be in standard air at sea level."""
    thrust, disc = evidence.plateaus.measured("thrust"), evidence.disc
    if thrust is None or disc is None or disc.air.assumed:
        return None
    apart = disc.air.density_kg_m3 / standard_atmosphere(0.0).density_kg_m3 - 1
    good = np.flatnonzero(np.isfinite(thrust.value))
    if not good.size or abs(apart) < SAME_AIR_REL:
        return None
    top = int(good[np.argmax(thrust.value[good])])
    found = reading(in_standard_air(thrust, disc.air), top, "gf", n_to_gf)
    if found is None:
        return None
    way = "thinner" if apart < 0 else "denser"
    level = round(100 * float(evidence.plateaus.throttle_frac[top]), 2)
    return finding_of(
        evidence,
        "thrust-in-standard-air",
        f"In standard air at sea level thrust at {level:g} % throttle would be "
        f"{text_of(found)}: the bench's air was {100 * abs(apart):.1f} % {way}.",
        found,
        (top,),
        ("thrust",),
        (
            "at one throttle thrust goes with density to a power between a third (one "
            "shaft power) and one (one speed); both are in the interval",
        ),
    )

"""Findings about a motor without its propeller.

Each function writes one finding, or None where the run has not what it takes. A
bare motor has no thrust: a thrust that is read is told as the sign that it is, and
never as a result.
"""

import numpy as np

from daq.analysis.findings import Evidence, Finding, finding_of, reading, text_of
from daq.analysis.rounding import in_passing
from daq.units import n_to_gf, rad_s_to_rpm

#: A bare bell stirs the air; it pulls less than this (common practice, no source).
BARE_THRUST_GF = 1.0
AT_PART_THROTTLE = (
    "taken from the source at part throttle, which passes it on at a lower voltage: "
    "the current in the motor itself is higher by about as much"
)
WITH_CONTROLLER = "what the speed controller takes to switch is in it"


def propeller_seen(evidence: Evidence) -> Finding | None:
    """Said when thrust shows that the motor was not bare."""
    thrust = evidence.plateaus.measured("thrust")
    top = _top(evidence)
    if thrust is None or top is None:
        return None
    found = reading(thrust, top, "gf", n_to_gf)
    if found is None or not found.low > BARE_THRUST_GF:
        return None
    return finding_of(
        evidence,
        "propeller-seen",
        f"A thrust of {text_of(found)} was read at {_throttle(evidence, top)} "
        "throttle: a propeller seems to be on, and then this is no no-load current.",
        found,
        (top,),
        ("thrust",),
        (),
    )


def no_load_current(evidence: Evidence) -> Finding | None:
    """Current at the highest speed; nothing where a propeller seems to be on."""
    current, top = evidence.plateaus.measured("current"), _top(evidence)
    if current is None or top is None or propeller_seen(evidence):
        return None
    found = reading(current, top, "A")
    if found is None:
        return None
    return finding_of(
        evidence,
        "no-load-current",
        f"Without a propeller the motor took {text_of(found)}"
        f"{_at_speed(evidence, top)} at {_throttle(evidence, top)} throttle.",
        found,
        (top,),
        ("current",),
        (AT_PART_THROTTLE, WITH_CONTROLLER),
    )


def no_load_power(evidence: Evidence) -> Finding | None:
    """Power at the highest speed: all of it goes into friction, iron and copper.

    Nothing where a propeller seems to be on.
    """
    top = _top(evidence)
    if evidence.power is None or top is None or propeller_seen(evidence):
        return None
    found = reading(evidence.power.measured, top, "W")
    if found is None:
        return None
    return finding_of(
        evidence,
        "no-load-power",
        f"Turning nothing but itself it used {text_of(found)}"
        f"{_at_speed(evidence, top)} at {_throttle(evidence, top)} throttle.",
        found,
        (top,),
        ("voltage", "current"),
        (*evidence.power.cautions, WITH_CONTROLLER),
    )


def _top(evidence: Evidence) -> int | None:
    """The plateau of highest throttle."""
    throttle = evidence.plateaus.throttle_frac
    return int(np.argmax(throttle)) if throttle.size else None


def _at_speed(evidence: Evidence, point: int) -> str:
    speed = reading(evidence.plateaus.measured("speed"), point, "rpm", rad_s_to_rpm)
    if speed is None:
        return ""
    return f" at {in_passing(speed.value, speed.half_width)} rpm,"


def _throttle(evidence: Evidence, point: int) -> str:
    return f"{round(100 * float(evidence.plateaus.throttle_frac[point]), 2):g} %"

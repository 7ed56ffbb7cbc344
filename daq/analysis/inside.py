"""Findings about the motor alone: speed constant, shaft power, figure of merit.

Each function writes one finding, or None where the run or the article has not what
it takes. Only picks, converts and words; every figure was computed in ``motor``.
"""

import numpy as np

from daq.analysis.findings import (
    Evidence,
    Finding,
    bare_text,
    finding_of,
    reading,
    text_of,
)
from daq.analysis.measured import Measured
from daq.analysis.motor import MotorMeans

CHANNELS = ("voltage", "current", "speed")
MODEL = (
    "by a motor of constant Kv and resistance; the winding's heat, the bridge and the "
    "controller's own draw are bounds by common practice"
)
APART = "the motor's resistance is the article's, measured apart from this run"
NO_LOAD = (
    "the no-load current is the article's, and grows with speed in a way not known"
)


def speed_constant(evidence: Evidence) -> Finding | None:
    """Kv from full throttle, against what is printed."""
    motor = evidence.motor
    if motor is None:
        return None
    found = reading(_mean(motor, motor.kv_rpm_v), 0, "rpm/V")
    if found is None:
        return None
    printed = evidence.printed_kv_rpm_v
    against = ""
    if printed is not None:
        outside = not found.low <= printed <= found.high
        against = (
            f", which leaves out the {printed:g} printed on it"
            if outside
            else f"; {printed:g} is printed on it"
        )
    return finding_of(
        evidence,
        "speed-constant",
        f"At full throttle the motor's Kv was {text_of(found)}{against}.",
        found,
        motor.points,
        CHANNELS,
        (MODEL, APART),
    )


def shaft_power(evidence: Evidence) -> Finding | None:
    """What reached the propeller at full throttle, and what did not."""
    motor = evidence.motor
    if motor is None or motor.shaft_w is None or motor.efficiency is None:
        return None
    found = reading(_mean(motor, motor.efficiency), 0, "%", _percent)
    watt = reading(_mean(motor, motor.shaft_w), 0, "W")
    copper = reading(_mean(motor, motor.copper_w), 0, "W")
    idle = reading(_mean(motor, motor.idle_w), 0, "W")
    if found is None or watt is None or copper is None or idle is None:
        return None
    return finding_of(
        evidence,
        "shaft-power",
        f"At full throttle {text_of(found)} of the electrical power reached the "
        f"propeller, {bare_text(watt)}; copper took {bare_text(copper)}, iron and "
        f"friction {bare_text(idle)}.",
        found,
        motor.points,
        CHANNELS,
        (MODEL, APART, NO_LOAD),
    )


def figure_of_merit(evidence: Evidence) -> Finding | None:
    """Ideal over shaft power at full throttle."""
    motor = evidence.motor
    if motor is None or motor.figure_of_merit is None:
        return None
    found = reading(_mean(motor, motor.figure_of_merit), 0, "")
    if found is None:
        return None
    impossible = (
        "; above 1 with the whole interval, which no propeller reaches: check the "
        "diameter first"
        if found.low > 1
        else ""
    )
    return finding_of(
        evidence,
        "figure-of-merit",
        f"The propeller's figure of merit at full throttle was {text_of(found)}"
        f"{impossible}.",
        found,
        motor.points,
        ("thrust", *CHANNELS),
        (MODEL, APART, NO_LOAD),
    )


def power_coefficient(evidence: Evidence) -> Finding | None:
    """C_P at full throttle."""
    motor = evidence.motor
    if motor is None or motor.power_coefficient is None:
        return None
    found = reading(_mean(motor, motor.power_coefficient), 0, "")
    if found is None:
        return None
    return finding_of(
        evidence,
        "power-coefficient",
        f"The power coefficient C_P at full throttle was {text_of(found)}.",
        found,
        motor.points,
        CHANNELS,
        (MODEL, APART, NO_LOAD),
    )


def _mean(motor: MotorMeans, measured: Measured | None) -> Measured | None:
    """Over the plateaus at full throttle."""
    if measured is None:
        return None
    return measured.grouped([np.arange(len(motor.points))])


def _percent(share: float) -> float:
    return 100 * share

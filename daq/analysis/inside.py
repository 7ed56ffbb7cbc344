"""Findings about the motor alone: speed constant, shaft power, figure of merit.

Each function writes one finding, or None where the run or the article has not what
it takes. Only picks, converts and words; every figure was computed in ``motor``.
"""

from collections.abc import Callable

from daq.analysis.findings import (
    Evidence,
    Finding,
    Pick,
    Reading,
    bare_text,
    finding_of,
    percent,
    readings_of,
    text_of,
)
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
IMPOSSIBLE = (
    "; above 1 with the whole interval, which no propeller reaches: check the diameter "
    "first"
)


def speed_constant(evidence: Evidence) -> Finding | None:
    """Kv from full throttle, against what is printed."""
    motor = evidence.motor
    if motor is None:
        return None
    return _told(
        evidence,
        "speed-constant",
        motor,
        ((motor.kv_rpm_v, "rpm/V", float),),
        lambda kv: (
            f"At full throttle the motor's Kv was {text_of(kv)}"
            f"{_against_printed(motor, kv)}."
        ),
    )


def shaft_power(evidence: Evidence) -> Finding | None:
    """What reached the propeller at full throttle, and what did not."""
    motor = evidence.motor
    if motor is None:
        return None
    return _told(
        evidence,
        "shaft-power",
        motor,
        (
            (motor.efficiency, "%", percent),
            (motor.shaft_w, "W", float),
            (motor.copper_w, "W", float),
            (motor.idle_w, "W", float),
        ),
        lambda share, watt, copper, idle: (
            f"At full throttle {text_of(share)} of the electrical power reached the "
            f"propeller, {bare_text(watt)}; copper took {bare_text(copper)}, iron and "
            f"friction {bare_text(idle)}."
        ),
        NO_LOAD,
    )


def figure_of_merit(evidence: Evidence) -> Finding | None:
    """Ideal over shaft power at full throttle."""
    motor = evidence.motor
    if motor is None:
        return None
    return _told(
        evidence,
        "figure-of-merit",
        motor,
        ((motor.figure_of_merit, "", float),),
        lambda merit: (
            f"The propeller's figure of merit at full throttle was {text_of(merit)}"
            f"{IMPOSSIBLE if merit.low > 1 else ''}."
        ),
        NO_LOAD,
        channels=("thrust", *CHANNELS),
    )


def power_coefficient(evidence: Evidence) -> Finding | None:
    """C_P at full throttle."""
    motor = evidence.motor
    if motor is None:
        return None
    return _told(
        evidence,
        "power-coefficient",
        motor,
        ((motor.power_coefficient, "", float),),
        lambda found: (
            f"The power coefficient C_P at full throttle was {text_of(found)}."
        ),
        NO_LOAD,
    )


def _told(
    evidence: Evidence,
    name: str,
    motor: MotorMeans,
    picks: tuple[Pick, ...],
    words: Callable[..., str],
    *more: str,
    channels: tuple[str, ...] = CHANNELS,
) -> Finding | None:
    """A finding about the motor, unless a figure is missing or known too badly.

    Args:
        evidence: What it is made of.
        name: Of the finding.
        motor: What it is about.
        picks: The figures, the finding's own first.
        words: Makes the sentence of readings.
        more: Cautions of its own.
        channels: That it rests on.
    """
    readings = readings_of(picks)
    # That a figure cannot be told from none helps nobody.
    if readings is None or readings[0].low <= 0:
        return None
    cautions = (MODEL, APART, *more)
    return finding_of(
        evidence, name, words(*readings), readings[0], motor.points, channels, cautions
    )


def _against_printed(motor: MotorMeans, kv: Reading) -> str:
    printed = motor.winding.printed_kv_rpm_v
    if kv.low <= printed <= kv.high:
        return f"; {printed:g} is printed on it"
    return f", which leaves out the {printed:g} printed on it"

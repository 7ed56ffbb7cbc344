"""Findings about what differs between one leg of a run and the next.

Up and down, or a first and a second pass in shuffled order, or before a burst and
after it: the words follow what was walked. Only picks, converts and words.
"""

from daq.analysis.findings import (
    Evidence,
    Finding,
    Reading,
    finding_of,
    percent,
    reading,
    text_of,
)
from daq.analysis.measured import Measured
from daq.analysis.rounding import in_passing


def legs_apart(evidence: Evidence) -> Finding | None:
    """Thrust on the later leg against the earlier one."""
    leg = next((leg for leg in evidence.legs if leg.channel == "thrust"), None)
    if leg is None or leg.relative is None:
        return None
    found = reading(
        Measured(-leg.relative.value, leg.relative.sources),
        0,
        "%",
        percent,
    )
    if found is None:
        return None
    volts = next((leg for leg in evidence.legs if leg.channel == "voltage"), None)
    drop = reading(volts.mean, 0, "V") if volts else None
    beside = ""
    if drop is not None:
        way = "lower" if drop.value >= 0 else "higher"
        size = in_passing(abs(drop.value), drop.half_width)
        beside = f"; voltage was {size} V {way} {_later_words(evidence)[0]}"
    levels = leg.throttle_frac.size
    what = "throttle levels" if evidence.bursts is None else "bursts"
    over = "" if levels == 1 else f", on average over {levels} {what}"
    sentence = f"{_later_against_earlier(found, evidence)}{over}{beside}."
    return finding_of(
        evidence, "up-down", sentence, found, (), ("thrust",), (looks_alike(evidence),)
    )


def looks_alike(evidence: Evidence) -> str:
    """What may stand behind a difference between legs."""
    causes = "a warmer motor and the cell's hysteresis both"
    if not evidence.on_supply:
        causes = "a sagging pack, a warmer motor and the cell's hysteresis all"
    return f"{causes} look like this"


def _later_words(evidence: Evidence) -> tuple[str, str]:
    """What the later leg and the earlier one are called."""
    if evidence.bursts is not None:
        return "after the burst", "before it"
    if "second" in evidence.plateaus.leg:
        return "in the second pass", "in the first"
    return "on the way down", "on the way up"


def _later_against_earlier(found: Reading, evidence: Evidence) -> str:
    """By how much thrust was lower or higher on the later leg."""
    later, earlier = _later_words(evidence)
    if found.low <= 0 <= found.high:
        return (
            f"Thrust {later} cannot be told from that {earlier}: the "
            f"difference was {text_of(found)}"
        )
    size = abs(found.value)
    low, high = sorted((abs(found.low), abs(found.high)))
    way = "lower" if found.value < 0 else "higher"
    text = text_of(Reading(size, low, high, found.unit))
    return f"Thrust was {text} {way} {later} than {earlier}"

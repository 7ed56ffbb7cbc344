"""Findings about what was read while throttle moved: glides and bursts.

Each function writes one finding, or None where the run has not what it takes.
Only picks, converts and words; and says what these figures are not.
"""

import math
from collections.abc import Sequence

from daq.analysis.apart import looks_alike
from daq.analysis.bursts import RISEN_SHARE, Bursts
from daq.analysis.findings import (
    Evidence,
    Finding,
    Reading,
    channels_of,
    finding_of,
    in_words,
    percent,
    reading,
    remark_of,
    text_of,
)
from daq.analysis.glides import BIN_FRAC, Glides
from daq.analysis.measured import Measured

NO_PLATEAUS = (
    "what lags behind a moving throttle is in these readings, so they are no plateaus "
    "and no curve is fitted; a staircase gives curves with intervals"
)
SINGLE_READING = "the extreme of single readings, noise and all, so it has no interval"


def glided(evidence: Evidence) -> Finding | None:
    """What was recorded on a glide, and what it is not."""
    glides = evidence.glides
    if glides is None:
        return None
    low, high = (round(100 * frac, 1) for frac in glides.span_frac)
    ways = "up and back" if len(set(glides.leg)) > 1 else "one way only"
    names = list(glides.channels)
    sentence = (
        f"Throttle glided between {low:g} and {high:g} %, {ways}, at "
        f"{100 * glides.rate_frac_s:.2g} % a second; {in_words(names)} "
        f"{'were' if len(names) > 1 else 'was'} averaged over {100 * BIN_FRAC:g} % of "
        f"throttle at a time. No level was held, so there is no plateau and no curve: "
        "a staircase gives those."
    )
    return _remark(evidence, "glide", sentence, float(len(glides)), "", names, ())


def glide_ways(evidence: Evidence) -> Finding | None:
    """Thrust on the way down against the way up, at equal throttle."""
    glides = evidence.glides
    if glides is None:
        return None
    legs = next((legs for legs in glides.legs if legs.channel == "thrust"), None)
    if legs is None or legs.relative is None:
        return None
    later = Measured(-legs.relative.value, legs.relative.sources)
    found = reading(later, 0, "%", percent)
    if found is None:
        return None
    sentence = (
        f"{_ways_apart(found)}, on average over {legs.throttle_frac.size} "
        f"stretches of {100 * BIN_FRAC:g} %."
    )
    cautions = (_lag_words(glides), looks_alike(evidence))
    return finding_of(
        evidence, "glide-ways", sentence, found, (), ("thrust",), cautions
    )


def _ways_apart(found: Reading) -> str:
    if found.low <= 0 <= found.high:
        text = text_of(found)
        return (
            "Gliding down, thrust cannot be told from that gliding up: the difference "
            f"was {text}"
        )
    low, high = sorted((abs(found.low), abs(found.high)))
    text = text_of(Reading(abs(found.value), low, high, "%"))
    way = "lower" if found.value < 0 else "higher"
    return f"Thrust was {text} {way} gliding down than gliding up"


def _lag_words(glides: Glides) -> str:
    """What a lag does to the difference between the ways."""
    per_tenth = 100 * glides.rate_frac_s * 0.1
    return (
        f"a motor or converter that follows 0.1 s late reads {per_tenth:.2g} % of "
        "throttle behind on either way, which lifts thrust on the way down and lowers "
        "it on the way up"
    )


def burst_current(evidence: Evidence) -> Finding | None:
    """The highest current of any burst."""
    bursts = evidence.bursts
    values = _known([b.peak_current_a for b in bursts.each]) if bursts else []
    if bursts is None or not values:
        return None
    return _remark(
        evidence,
        "burst-current",
        f"Current peaked at {_span(values, 2, 'A')} in {_what(bursts)}.",
        max(values),
        "A",
        ("current",),
        (SINGLE_READING,),
    )


def burst_voltage(evidence: Evidence) -> Finding | None:
    """The lowest voltage of any burst."""
    bursts = evidence.bursts
    values = _known([b.lowest_voltage_v for b in bursts.each]) if bursts else []
    if bursts is None or not values:
        return None
    more = () if evidence.on_supply else ("an aircraft draws with all its motors",)
    return _remark(
        evidence,
        "burst-voltage",
        f"Voltage dipped to {_span(values, 2, 'V')} in {_what(bursts)}.",
        min(values),
        "V",
        ("voltage",),
        (SINGLE_READING, *more),
    )


def burst_rise(evidence: Evidence) -> Finding | None:
    """How long speed or thrust took to follow."""
    bursts = evidence.bursts
    values = _known([1e3 * b.rise_s for b in bursts.each]) if bursts else []
    if bursts is None or bursts.rising is None or not values:
        return None
    name = bursts.rising
    return _remark(
        evidence,
        "burst-rise",
        f"{name.capitalize()} took {_span(values, 0, 'ms')} for "
        f"{100 * RISEN_SHARE:g} % of its rise in {_what(bursts)}, the way of the "
        "throttle included.",
        max(values),
        "ms",
        (name,),
        (
            f"read every {1e3 * bursts.every_s:.3g} ms, and the start is known to a "
            "few milliseconds only",
        ),
    )


def _what(bursts: Bursts) -> str:
    """The bursts in words."""
    count = len(bursts.each)
    first = bursts.each[0]
    how_many = "a burst" if count == 1 else f"{count} bursts"
    return (
        f"{how_many} from {100 * first.from_frac:g} to {100 * first.throttle_frac:g} % "
        "throttle"
    )


def _span(values: Sequence[float], digits: int, unit: str) -> str:
    """One value, or the lowest and the highest of several."""
    low, high = f"{min(values):.{digits}f}", f"{max(values):.{digits}f}"
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def _known(values: Sequence[float]) -> list[float]:
    return [value for value in values if math.isfinite(value)]


def _remark(
    evidence: Evidence,
    name: str,
    sentence: str,
    value: float,
    unit: str,
    channels: Sequence[str],
    cautions: tuple[str, ...],
) -> Finding:
    """A finding without an interval."""
    more = (NO_PLATEAUS, *cautions) if evidence.glides is not None else cautions
    about = evidence.cautions(channels, more)
    return remark_of(name, sentence, value, unit, channels_of(channels), about)

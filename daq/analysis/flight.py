"""Findings about the aircraft: hover, endurance, full throttle against ratings.

Each function writes one finding, or None where the run or the article has not what
it takes. Only picks, converts and words; every figure was computed in ``hover``.
"""

from collections.abc import Callable

from daq.analysis.aircraft import FLOWN_SHARE, Aircraft, Rating
from daq.analysis.findings import (
    Evidence,
    Finding,
    Pick,
    Reading,
    bare_text,
    channels_of,
    finding_of,
    in_words,
    percent,
    readings_of,
    remark_of,
    text_of,
)
from daq.analysis.hover import FullThrottle, Hover
from daq.units import coulomb_to_mah, n_to_gf

CHANNELS = ("thrust", "voltage", "current")
SECONDS_A_MINUTE = 60.0
PREDICTED = "predicted from this run, not measured in flight"
LEADS = (
    "leads and plug of the stand are taken for the aircraft's, and its motors and "
    "propellers for the one that was measured"
)
ONE_AIR = "the aircraft is taken to hover in the air of the bench, away from the ground"
USUAL_PACK = (
    "the cells' mean voltage and what a pack really holds are taken as usual for such "
    "packs (common practice), not measured"
)


def hover_throttle(evidence: Evidence) -> Finding | None:
    """Throttle at which the aircraft hovers."""
    hover = _hover(evidence)
    if hover is None:
        return None
    return _told(
        evidence,
        "hover-throttle",
        hover,
        (
            (hover.throttle_frac, "%", percent),
            (hover.thrust_n, "gf", n_to_gf),
            (hover.gram_throttle_frac, "%", percent),
        ),
        lambda craft, throttle, each, more: (
            f"{_named(craft)} hovers at {text_of(throttle)} throttle, "
            f"{bare_text(each)} a motor; a gram more asks for {bare_text(more)} more."
        ),
    )


def hover_specific_thrust(evidence: Evidence) -> Finding | None:
    """Specific thrust and power of a motor in hover."""
    hover = _hover(evidence)
    if hover is None:
        return None
    return _told(
        evidence,
        "hover-specific-thrust",
        hover,
        ((hover.specific_n_w, "g/W", n_to_gf), (hover.motor_w, "W", float)),
        lambda _, specific, watt: (
            f"In hover a motor takes {bare_text(watt)}: {text_of(specific)}."
        ),
    )


def hover_current(evidence: Evidence) -> Finding | None:
    """Current from the pack in hover."""
    hover = _hover(evidence)
    if hover is None:
        return None
    return _told(
        evidence,
        "hover-current",
        hover,
        ((hover.total_a, "A", float), (hover.bus_v, "V", float)),
        lambda craft, amps, volts: (
            f"In hover the pack gives {text_of(amps)}, {_load(craft)}, and "
            f"{bare_text(volts)} arrive at the speed controllers."
        ),
    )


def endurance(evidence: Evidence) -> Finding | None:
    """Time in hover from a full pack."""
    hover = _hover(evidence)
    if hover is None:
        return None
    return _told(
        evidence,
        "hover-endurance",
        hover,
        ((hover.endurance_s, "min", _minutes), (hover.gram_s, "s", float)),
        lambda craft, minutes, gram: (
            f"A full pack of {_charge_mah(craft):.0f} mAh lasts {text_of(minutes)} in "
            f"hover, to {100 * (1 - FLOWN_SHARE[0]):.0f} % left; a gram more costs "
            f"{bare_text(gram)}."
        ),
        USUAL_PACK,
    )


def thrust_to_weight(evidence: Evidence) -> Finding | None:
    """Thrust of all motors at full throttle over the weight."""
    full = _full(evidence)
    if full is None:
        return None
    return _told(
        evidence,
        "thrust-to-weight",
        full,
        ((full.to_weight, "", float), (full.thrust_n, "gf", n_to_gf)),
        lambda craft, ratio, thrust: (
            f"At full throttle {_all(craft)} give {bare_text(thrust)}, "
            f"{text_of(ratio)} times the weight, on a pack charged as this one was."
        ),
    )


def full_throttle_current(evidence: Evidence) -> Finding | None:
    """Current from the pack at full throttle, against what parts are rated for."""
    full = _full(evidence)
    if full is None:
        return None
    return _told(
        evidence,
        "full-throttle-current",
        full,
        (
            (full.total_a, "A", float),
            (full.motor_a, "A", float),
            (full.bus_v, "V", float),
        ),
        lambda craft, total, motor, volts: (
            f"At full throttle the pack gives {text_of(total)}, {bare_text(motor)} a "
            f"motor, and {bare_text(volts)} arrive at the speed controllers"
            f"{_against_all(craft, total, motor)}."
        ),
    )


def no_hover(evidence: Evidence) -> Finding | None:
    """Said where an aircraft is known but its hover cannot be."""
    flight = evidence.flight
    if flight is None or flight.hover is not None or flight.aircraft.all_up_n is None:
        return None
    each = n_to_gf(flight.aircraft.all_up_n / flight.aircraft.motors)
    return remark_of(
        "no-hover",
        f"Hover asks for {each:.0f} gf a motor, which lies outside of what was "
        "measured; measure levels on both sides of it.",
        None,
        "",
        channels_of(CHANNELS),
        evidence.cautions(CHANNELS),
    )


def _hover(evidence: Evidence) -> Hover | None:
    return evidence.flight.hover if evidence.flight else None


def _full(evidence: Evidence) -> FullThrottle | None:
    return evidence.flight.full if evidence.flight else None


def _told(
    evidence: Evidence,
    name: str,
    state: Hover | FullThrottle,
    picks: tuple[Pick, ...],
    words: Callable[..., str],
    *more: str,
) -> Finding | None:
    """A finding about a state of the aircraft, unless one of its figures is missing.

    Args:
        evidence: What it is made of.
        name: Of the finding.
        state: What it is about.
        picks: The figures, the finding's own first.
        words: Makes the sentence of aircraft and readings.
        more: Cautions of its own.
    """
    flight = evidence.flight
    readings = readings_of(picks)
    if readings is None or flight is None:
        return None
    cautions = [PREDICTED, *more, LEADS, ONE_AIR]
    if state.extrapolated:
        cautions.insert(
            1,
            "extrapolated: the pack was seen to give "
            f"{flight.pack.highest_a:.3g} A at most, and this rests on more",
        )
    sentence = words(flight.aircraft, *readings)
    return finding_of(
        evidence, name, sentence, readings[0], (), CHANNELS, tuple(cautions)
    )


def _load(aircraft: Aircraft) -> str:
    if aircraft.electronics_a == 0:
        return "nothing of it to any electronics, since none is stated"
    return f"{aircraft.electronics_a:g} A of it to the electronics"


def _charge_mah(aircraft: Aircraft) -> float:
    return coulomb_to_mah(aircraft.capacity_c or 0.0)


def _against_all(aircraft: Aircraft, total: Reading, motor: Reading) -> str:
    told = [_against(r, motor if r.each else total) for r in aircraft.ratings]
    return f"; {in_words(told)}" if told else ""


def _against(rating: Rating, amps: Reading) -> str:
    """A current against a rating, as the interval allows."""
    limit = f"the {rating.part}'s {rating.current_a:g} A"
    if amps.low > rating.current_a:
        factor = amps.value / rating.current_a
        times = f" ({factor:.1f} times)" if factor >= 1.1 else ""
        return f"that is beyond {limit}{times}"
    if amps.high < rating.current_a:
        return f"within {limit}"
    return f"it cannot be told whether that is within {limit}"


def _named(aircraft: Aircraft) -> str:
    weight = aircraft.all_up_g or n_to_gf(aircraft.all_up_n or 0.0)
    motors = "1 motor" if aircraft.motors == 1 else f"{aircraft.motors} motors"
    return f"The aircraft ({weight:.4g} g on {motors})"


def _all(aircraft: Aircraft) -> str:
    return "the motor" if aircraft.motors == 1 else f"all {aircraft.motors} motors"


def _minutes(seconds: float) -> float:
    return seconds / SECONDS_A_MINUTE

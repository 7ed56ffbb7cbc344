"""Findings about the aircraft: hover, endurance, full throttle against ratings.

Each function writes one finding, or None where the run or the article has not what
it takes. Only picks, converts and words; every figure was computed in ``hover``.
"""

from daq.analysis.findings import (
    Evidence,
    Finding,
    Reading,
    bare_text,
    finding_of,
    in_words,
    reading,
    text_of,
)
from daq.analysis.hover import (
    FLOWN_SHARE,
    Aircraft,
    Flight,
    FullThrottle,
    Hover,
    Rating,
)
from daq.units import n_to_gf

CHANNELS = ("thrust", "voltage", "current")
SECONDS_A_MINUTE = 60.0
PREDICTED = "predicted from this run, not measured in flight"
LEADS = (
    "leads and plug of the stand are taken for the aircraft's, and its motors and "
    "propellers for the one that was measured"
)
ONE_AIR = "the aircraft is taken to hover in the air of the bench, away from the ground"


def hover_throttle(evidence: Evidence) -> Finding | None:
    """Throttle at which the aircraft hovers."""
    known = _hover(evidence)
    if known is None:
        return None
    flight, hover = known
    throttle = reading(hover.throttle_frac, 0, "%", _percent)
    more = reading(hover.gram_throttle_frac, 0, "%", _percent)
    each = reading(hover.thrust_n, 0, "gf", n_to_gf)
    if throttle is None or more is None or each is None:
        return None
    return _finding(
        evidence,
        flight,
        "hover-throttle",
        f"{_named(flight.aircraft)} hovers at {text_of(throttle)} throttle, "
        f"{bare_text(each)} a motor; a gram more asks for {bare_text(more)} more.",
        throttle,
        extrapolated=hover.extrapolated,
    )


def hover_specific_thrust(evidence: Evidence) -> Finding | None:
    """Specific thrust and power of a motor in hover."""
    known = _hover(evidence)
    if known is None:
        return None
    flight, hover = known
    specific = reading(hover.specific_n_w, 0, "g/W", n_to_gf)
    watt = reading(hover.motor_w, 0, "W")
    if specific is None or watt is None:
        return None
    return _finding(
        evidence,
        flight,
        "hover-specific-thrust",
        f"In hover a motor takes {bare_text(watt)}: {text_of(specific)}.",
        specific,
        extrapolated=hover.extrapolated,
    )


def hover_current(evidence: Evidence) -> Finding | None:
    """Current from the pack in hover."""
    known = _hover(evidence)
    if known is None:
        return None
    flight, hover = known
    amps = reading(hover.total_a, 0, "A")
    volts = reading(hover.bus_v, 0, "V")
    if amps is None or volts is None:
        return None
    load_a = flight.aircraft.electronics_a
    load = f"{load_a:g} A of it to the electronics"
    if load_a == 0:
        load = "nothing of it to any electronics, since none is stated"
    return _finding(
        evidence,
        flight,
        "hover-current",
        f"In hover the pack gives {text_of(amps)}, {load}, "
        f"and {bare_text(volts)} arrive at the speed controllers.",
        amps,
        extrapolated=hover.extrapolated,
    )


def endurance(evidence: Evidence) -> Finding | None:
    """Time in hover from a full pack."""
    known = _hover(evidence)
    if known is None:
        return None
    flight, hover = known
    minutes = reading(hover.endurance_s, 0, "min", _minutes)
    gram = reading(hover.gram_s, 0, "s")
    if minutes is None or gram is None or flight.aircraft.capacity_c is None:
        return None
    left = 100 * (1 - FLOWN_SHARE[0])
    charge_mah = flight.aircraft.capacity_c / 3.6
    return _finding(
        evidence,
        flight,
        "hover-endurance",
        f"A full pack of {charge_mah:.0f} mAh lasts {text_of(minutes)} in hover, to "
        f"{left:.0f} % left; a gram more costs {bare_text(gram)}.",
        minutes,
        extrapolated=hover.extrapolated,
        more=(
            "the cells' mean voltage and what a pack really holds are taken as usual "
            "for such packs (common practice), not measured",
        ),
    )


def thrust_to_weight(evidence: Evidence) -> Finding | None:
    """Thrust of all motors at full throttle over the weight."""
    known = _full(evidence)
    if known is None:
        return None
    flight, full = known
    ratio = reading(full.to_weight, 0, "")
    thrust = reading(full.thrust_n, 0, "gf", n_to_gf)
    if ratio is None or thrust is None:
        return None
    return _finding(
        evidence,
        flight,
        "thrust-to-weight",
        f"At full throttle {_all(flight.aircraft)} give {bare_text(thrust)}, "
        f"{text_of(ratio)} times the weight, on a pack charged as this one was.",
        ratio,
        extrapolated=full.extrapolated,
    )


def full_throttle_current(evidence: Evidence) -> Finding | None:
    """Current from the pack at full throttle, against what parts are rated for."""
    known = _full(evidence)
    if known is None:
        return None
    flight, full = known
    total = reading(full.total_a, 0, "A")
    motor = reading(full.motor_a, 0, "A")
    volts = reading(full.bus_v, 0, "V")
    if total is None or motor is None or volts is None:
        return None
    against = [
        _against(rating, motor if rating.each else total)
        for rating in flight.aircraft.ratings
    ]
    return _finding(
        evidence,
        flight,
        "full-throttle-current",
        f"At full throttle the pack gives {text_of(total)}, {bare_text(motor)} a "
        f"motor, and {bare_text(volts)} arrive at the speed controllers"
        f"{'; ' + in_words(against) if against else ''}.",
        total,
        extrapolated=full.extrapolated,
    )


def no_hover(evidence: Evidence) -> Finding | None:
    """Said where an aircraft is known but its hover cannot be."""
    flight = evidence.flight
    if flight is None or flight.hover is not None or flight.aircraft.all_up_n is None:
        return None
    each = n_to_gf(flight.aircraft.all_up_n / flight.aircraft.motors)
    nothing = Reading(0.0, 0.0, 0.0, "")
    found = _finding(
        evidence,
        flight,
        "no-hover",
        f"Hover asks for {each:.0f} gf a motor, which lies outside of what was "
        "measured; measure levels on both sides of it.",
        nothing,
        extrapolated=False,
    )
    return found


def _hover(evidence: Evidence) -> tuple[Flight, Hover] | None:
    flight = evidence.flight
    if flight is None or flight.hover is None:
        return None
    return flight, flight.hover


def _full(evidence: Evidence) -> tuple[Flight, FullThrottle] | None:
    flight = evidence.flight
    return None if flight is None or flight.full is None else (flight, flight.full)


def _finding(
    evidence: Evidence,
    flight: Flight,
    name: str,
    sentence: str,
    found: Reading,
    *,
    extrapolated: bool,
    more: tuple[str, ...] = (),
) -> Finding:
    cautions = [PREDICTED, *more, LEADS, ONE_AIR]
    if extrapolated:
        cautions.insert(
            1,
            "extrapolated: the pack was seen to give "
            f"{flight.pack.highest_a:.3g} A at most, and this rests on more",
        )
    return finding_of(evidence, name, sentence, found, (), CHANNELS, tuple(cautions))


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


def _percent(share: float) -> float:
    return 100 * share


def _minutes(seconds: float) -> float:
    return seconds / SECONDS_A_MINUTE

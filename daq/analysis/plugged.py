"""Findings about the arming plug: what it drops, here and on the aircraft.

Each function writes one finding, or None where the run or the article has not what it
takes. Only picks, converts and words; what the plug has was computed in ``plug``, what
flies in ``hover``.
"""

from dataclasses import replace
from typing import Final

import numpy as np

from daq.analysis.copper import PER_K
from daq.analysis.findings import (
    Evidence,
    Finding,
    Reading,
    bare_text,
    finding_of,
    in_words,
    percent,
    reading,
    readings_of,
    text_of,
)
from daq.analysis.hover import FullThrottle, full_throttle
from daq.analysis.measured import Measured, derived, exact, minus, stated
from daq.analysis.plug import BOTH, PlugDrop, Pole
from daq.analysis.series import Array
from daq.units import milli, n_to_gf

ONE_MATING: Final = (
    "one mating: put together again the plug may have another resistance, so spin it "
    "several times, out and in between"
)
UNDER_LOAD: Final = (
    "a volt drop at the currents that flow, sense wires apart from current leads as in "
    "IEC 60512-2-1; its test goes to 20 mV and 100 mA, breaks no films and is another "
    "quantity, which data sheets may state"
)
COMMON: Final = (
    "the amplifiers are taken to reject what their wires have in common by 80 dB; two "
    "dividers in their place do not"
)
DIVIDERS: Final = (
    "read as the difference of two dividers: what their gains differ by, times the "
    "sag, looks like resistance of the plug, and so does lead between them; calibrate "
    "both by one meter, or fit an amplifier to each pole"
)
LEADS: Final = (
    "the aircraft is taken to have this plug, and the stand's leads and pack in front "
    "of it"
)
#: How far a lead is from its gauge's solid copper, as a rectangular bound: stranded and
#: tinned lead, its length to a few millimetres (common practice, no source).
LEAD_SHARE: Final = 0.15


def resistance(evidence: Evidence) -> Finding | None:
    """Resistance of both poles, or of the one that is measured."""
    drop = evidence.plug
    poles = [pole for pole in drop.poles if pole.ohm is not None] if drop else []
    if drop is None or not poles:
        return None
    whole = drop.whole_ohm
    found = reading(poles[0].ohm if whole is None else whole, 0, "milliohm", milli)
    if found is None:
        return None
    sentence = f"{_has(evidence, drop, poles, found)}{_compared(evidence, poles)}."
    return _told(evidence, "plug-resistance", sentence, found, drop.points, UNDER_LOAD)


def _has(evidence: Evidence, drop: PlugDrop, poles: list[Pole], found: Reading) -> str:
    """What has so much, in words."""
    if drop.by_dividers:
        return (
            f"{capital(name_of(evidence))} has {text_of(found)} under load, both poles "
            f"together, by two dividers, which say nothing below {_least(found)}"
        )
    if drop.whole_ohm is None:
        return f"The {poles[0].name} pole of {name_of(evidence)} has {text_of(found)}"
    each = {pole.name: reading(pole.ohm, 0, "milliohm", milli) for pole in poles}
    told = [f"{name} {bare_text(one)}" for name, one in each.items() if one]
    return (
        f"{capital(name_of(evidence))} has {text_of(found)} under load, both poles "
        f"together ({in_words(told)})"
    )


def contacts(evidence: Evidence) -> Finding | None:
    """What is left for the contacts once the lead between the wires is taken off."""
    drop, fitted = evidence.plug, evidence.fitted_plug
    if drop is None or drop.whole_ohm is None or fitted is None or not fitted.lead_ohm:
        return None
    both = 2 * fitted.lead_ohm
    lead = stated(both, "lead between the sense wires", LEAD_SHARE * both / np.sqrt(3))
    left = reading(minus(drop.whole_ohm, lead), 0, "milliohm", milli)
    if left is None:
        return None
    said = (
        "Of that the lead between the sense wires should have "
        f"{milli(both):.2g} milliohm (copper of its gauge and length), which leaves "
        f"{text_of(left)} for the contacts"
    )
    if left.high < 0:
        said += "; less than nothing: the wires do not sit where the article says"
    return _told(evidence, "plug-contacts", f"{said}.", left, drop.points)


def dropped(evidence: Evidence) -> Finding | None:
    """What it drops at the highest current that was held, and what heat that is."""
    drop = evidence.plug
    if drop is None:
        return None
    readings = readings_of(
        (
            (drop.drop_v, "mV", milli),
            (drop.lost_w, "W", float),
            (drop.at_a, "A", float),
        )
    )
    if readings is None:
        return None
    volt, watt, amp = readings
    share = _share_of_bus(evidence, drop)
    return _told(
        evidence,
        "plug-drop",
        f"At {bare_text(amp)}, the most that was held, it drops {text_of(volt)}{share} "
        f"and turns {bare_text(watt)} into heat{_rated(evidence, amp)}.",
        volt,
        (drop.top,),
    )


def in_flight(evidence: Evidence) -> Finding | None:
    """What it drops on the aircraft, in hover and at full throttle."""
    drop = evidence.plug
    if drop is None or drop.whole_ohm is None:
        return None
    parts = _flown(evidence)
    told, first = [], None
    for when, total_a in parts:
        readings = readings_of(
            (
                (derived(np.multiply, drop.whole_ohm, total_a), "mV", milli),
                (derived(_heat_w, drop.whole_ohm, total_a), "W", float),
                (total_a, "A", float),
            )
        )
        if readings is None:
            continue
        volt, watt, amp = readings
        figure = bare_text(volt) if first else text_of(volt)
        first = first or volt
        told.append(f"{figure} {when} ({bare_text(amp)}, {bare_text(watt)} of heat)")
    if first is None:
        return None
    beyond = any(float(amp.value[0]) > drop.highest_a for _, amp in parts)
    cautions = [LEADS]
    if beyond:
        cautions.insert(
            0,
            f"extrapolated: no more than {drop.highest_a:.3g} A went through it here, "
            "and a plug that gets hot has more resistance",
        )
    sentence = f"On the aircraft it drops {in_words(told)}."
    return _told(evidence, "plug-in-flight", sentence, first, drop.points, *cautions)


def _flown(evidence: Evidence) -> list[tuple[str, Measured]]:
    """The aircraft's currents: worked out from the run, or as the article says."""
    flight = evidence.flight
    if flight is None:
        said = evidence.full_a
        return [] if said is None else [("at full throttle", exact(said))]
    parts: list[tuple[str, Measured]] = []
    if flight.full is not None:
        parts.append(("at full throttle", flight.full.total_a))
    if flight.hover is not None:
        parts.append(("in hover", flight.hover.total_a))
    return parts


def costs(evidence: Evidence) -> Finding | None:
    """Thrust at full throttle that would be there without it."""
    drop, flight = evidence.plug, evidence.flight
    if drop is None or flight is None or flight.full is None or drop.whole_ohm is None:
        return None
    without = replace(
        flight.pack, quick_ohm=minus(flight.pack.quick_ohm, drop.whole_ohm)
    )
    if float(without.quick_ohm.value[0]) <= 0:
        return None
    better = full_throttle(flight.train, without, flight.aircraft)
    if better is None:
        return None
    gained = reading(minus(better.thrust_n, flight.full.thrust_n), 0, "gf", n_to_gf)
    if gained is None:
        return None
    share = gained.value / n_to_gf(float(flight.full.thrust_n.value[0]))
    return _told(
        evidence,
        "plug-thrust",
        f"At full throttle the plug costs the aircraft {text_of(gained)} of thrust, "
        f"{percent(share):.2g} % of it.",
        gained,
        drop.points,
        *_beyond(flight.full),
        LEADS,
    )


def soaked(evidence: Evidence) -> Finding | None:
    """What a long hold did to it."""
    drop = evidence.plug
    soak = drop.soaked if drop else None
    found = reading(soak.share, 0, "%", percent) if soak else None
    if drop is None or soak is None or found is None:
        return None
    held = f"Held at {soak.amp:.3g} A for {soak.lasted_s:.0f} s"
    if found.low <= 0 <= found.high:
        most = max(abs(found.low), abs(found.high))
        sentence = f"{held} its resistance changed by less than {most:.2g} %."
    else:
        sentence = f"{held} its resistance grew by {text_of(found)}{_as_copper(found)}."
    return _told(evidence, "plug-soak", sentence, found, drop.points)


def warmed(evidence: Evidence) -> Finding | None:
    """What its resistance did from one leg to the other."""
    drop = evidence.plug
    found = reading(drop.warmed, 0, "%", percent) if drop else None
    if drop is None or found is None:
        return None
    if found.low <= 0 <= found.high:
        most = max(abs(found.low), abs(found.high))
        sentence = (
            "Its resistance cannot be told apart between the legs: it changed by less "
            f"than {most:.2g} %."
        )
    else:
        sentence = (
            f"On the later leg its resistance was {text_of(found)} above that of the "
            f"earlier{_as_copper(found)}."
        )
    return _told(evidence, "plug-warming", sentence, found, drop.points)


def _least(found: Reading) -> str:
    """What is no more than its own uncertainty."""
    return f"{found.half_width:.2g} milliohm"


def _told(
    evidence: Evidence,
    name: str,
    sentence: str,
    found: Reading,
    points: tuple[int, ...],
    *more: str,
) -> Finding:
    drop = evidence.plug
    channels = ("current", *(drop.channels if drop else ()))
    how = DIVIDERS if drop and drop.by_dividers else COMMON
    cautions = (*more, ONE_MATING, how)
    return finding_of(evidence, name, sentence, found, points, channels, cautions)


def _as_copper(grown: Reading) -> str:
    """A change of resistance as a change of temperature."""
    kelvin = grown.value / percent(PER_K)
    word = "warmer" if kelvin > 0 else "cooler"
    return f", as of copper that is {abs(kelvin):.0f} K {word}"


def name_of(evidence: Evidence) -> str:
    """The plug, by its name where the article gives one."""
    fitted = evidence.fitted_plug
    return f"the plug ({fitted.name})" if fitted else "the plug"


def capital(words: str) -> str:
    """The same, as a sentence begins."""
    return words[:1].upper() + words[1:]


def _compared(evidence: Evidence, poles: list[Pole]) -> str:
    """Against what a contact has at most by its data sheet."""
    fitted = evidence.fitted_plug
    if fitted is None or fitted.contact_ohm is None:
        return ""
    count = 2 if any(pole.name == BOTH for pole in poles) else 1
    limit = count * (fitted.contact_ohm + fitted.lead_ohm)
    readings = [reading(pole.ohm, 0, "milliohm", milli) for pole in poles]
    most = f"{milli(fitted.contact_ohm):.2g} milliohm a contact of its data sheet"
    if any(one is not None and one.low > milli(limit) for one in readings):
        return f"; more than the {most}"
    if all(one is not None and one.high < milli(limit) for one in readings):
        return f"; within the {most}"
    return ""


def _share_of_bus(evidence: Evidence, drop: PlugDrop) -> str:
    volts = evidence.plateaus.measured("voltage")
    if volts is None or drop.drop_v is None:
        return ""
    share = float(drop.drop_v.value[0]) / float(volts.value[drop.top])
    return f", {percent(share):.2g} % of the bus voltage,"


def _rated(evidence: Evidence, amp: Reading) -> str:
    fitted = evidence.fitted_plug
    if fitted is None or fitted.rated_a is None:
        return ""
    factor = amp.value / fitted.rated_a
    if factor > 1.0:
        return (
            f"; it is rated {fitted.rated_a:g} A, and carried {factor:.1f} times that"
        )
    return f"; it is rated {fitted.rated_a:g} A"


def _heat_w(ohm: Array, amp: Array) -> Array:
    return ohm * amp**2


def _beyond(full: FullThrottle) -> tuple[str, ...]:
    if not full.extrapolated:
        return ()
    return ("extrapolated: full throttle lies beyond what was measured here",)

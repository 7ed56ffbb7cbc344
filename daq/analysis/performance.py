"""Findings about the article: thrust, efficiency, propeller, sag.

Each function writes one finding, or None where the run has not what it takes.
Only picks, converts and words; every figure was computed elsewhere.
"""

import math

import numpy as np

from daq.analysis.budget import budget_of
from daq.analysis.findings import (
    Evidence,
    Finding,
    Reading,
    bare_text,
    finding_of,
    in_words,
    percent,
    reading,
    text_of,
)
from daq.analysis.measured import COVERAGE, Measured, Source, t_factor
from daq.analysis.propeller import CHECK_FIRST, coefficient_at
from daq.analysis.rounding import in_passing
from daq.analysis.series import Index
from daq.units import n_to_gf, rad_s_to_rpm

ELECTRICAL = ("voltage", "current")


def maximum_thrust(evidence: Evidence) -> Finding | None:
    """Highest thrust of any plateau, with throttle, current, power, voltage."""
    top = top_plateau(evidence)
    if top is None:
        return None
    thrust = reading(evidence.plateaus.measured("thrust"), top, "gf", n_to_gf)
    if thrust is None:
        return None
    beside = _beside(evidence, top)
    return finding_of(
        evidence,
        "max-thrust",
        f"Thrust at {_throttle(evidence, top)} throttle was {text_of(thrust)}"
        f"{' at ' + in_words(beside) if beside else ''}.",
        thrust,
        (top,),
        ("thrust", *ELECTRICAL) if beside else ("thrust",),
        ("gram-force by standard gravity",),
    )


def specific_thrust_at_maximum(evidence: Evidence) -> Finding | None:
    """Specific thrust at the plateau of highest thrust."""
    top = top_plateau(evidence)
    if top is None or evidence.power is None:
        return None
    found = reading(evidence.specific, top, "g/W", n_to_gf)
    watt = reading(evidence.power.measured, top, "W")
    if found is None or watt is None:
        return None
    return finding_of(
        evidence,
        "specific-thrust-at-max",
        f"At {_throttle(evidence, top)} throttle"
        f"{'' if evidence.one_level() else ', where thrust was highest,'} "
        f"specific thrust was {text_of(found)} from {bare_text(watt)}.",
        found,
        (top,),
        ("thrust", *ELECTRICAL),
        evidence.power.cautions,
    )


def best_specific_thrust(evidence: Evidence) -> Finding | None:
    """Highest specific thrust of any level, allowing for the pick."""
    if evidence.power is None or evidence.specific is None or evidence.one_level():
        return None
    usable = _finite(evidence.specific)
    if not usable.size:
        return None
    best = int(usable[np.argmax(evidence.specific.value[usable])])
    half = n_to_gf(_picked_half_width(evidence.specific, best, usable.size))
    value = n_to_gf(float(evidence.specific.value[best]))
    parts = budget_of(evidence.specific, best, n_to_gf)
    found = Reading(value, value - half, value + half, "g/W", parts)
    thrust = reading(evidence.plateaus.measured("thrust"), best, "gf", n_to_gf)
    if not found.finite or thrust is None:
        return None
    return finding_of(
        evidence,
        "specific-thrust-best",
        f"The best measured specific thrust was {text_of(found)}, at "
        f"{_throttle(evidence, best)} throttle and {bare_text(thrust)}.",
        found,
        (best,),
        ("thrust", *ELECTRICAL),
        (
            f"picked as the best of {usable.size} plateaus; the interval allows "
            "for the pick",
            *evidence.power.cautions,
        ),
    )


def thrust_exponent(evidence: Evidence) -> Finding | None:
    """Exponent of thrust against electrical power."""
    curve = evidence.exponent
    if curve is None or evidence.power is None:
        return None
    low, high = curve.fit.interval(1)
    found = Reading(float(curve.coefficients[1]), low, high, "")
    if not found.finite:
        return None
    cautions = list(evidence.power.cautions)
    if curve.misfit_share > 0:
        cautions.append(
            "no single exponent fits all levels: the points lie off such a curve by "
            f"about {100 * curve.misfit_share:.2g} % of the highest thrust, more than "
            "their noise explains; the interval allows for it"
        )
    return finding_of(
        evidence,
        "thrust-exponent",
        f"Thrust grew as electrical power to the exponent {text_of(found)}; "
        "momentum theory alone would give two thirds.",
        found,
        curve.points,
        ("thrust", *ELECTRICAL),
        tuple(cautions),
    )


def thrust_coefficient(evidence: Evidence) -> Finding | None:
    """C_T at the plateau of highest thrust."""
    top = top_plateau(evidence)
    thrust, omega = (evidence.plateaus.measured(n) for n in ("thrust", "speed"))
    if top is None or thrust is None or omega is None or evidence.disc is None:
        return None
    speed = reading(omega, top, "rpm", rad_s_to_rpm)
    if speed is None or not speed.value > 0:
        return None
    found = reading(coefficient_at(thrust, omega, evidence.disc, top), 0, "")
    if found is None:
        return None
    return finding_of(
        evidence,
        "thrust-coefficient",
        f"The thrust coefficient C_T at {_throttle(evidence, top)} throttle "
        f"({bare_text(speed)}) was {text_of(found)}, with a diameter of "
        f"{1000 * evidence.disc.diameter_m:.4g} mm.",
        found,
        (top,),
        ("thrust", "speed"),
        _disc_cautions(evidence),
    )


def total_efficiency(evidence: Evidence) -> Finding | None:
    """Ideal over electrical power at the plateau of highest thrust."""
    top = top_plateau(evidence)
    if top is None or evidence.propeller is None or evidence.power is None:
        return None
    found = reading(evidence.propeller.total_efficiency, top, "%", percent)
    if found is None:
        return None
    return finding_of(
        evidence,
        "total-efficiency",
        f"At {_throttle(evidence, top)} throttle the ideal power for the thrust "
        f"was {text_of(found)} of the electrical power; motor and speed controller "
        "are in this total efficiency.",
        found,
        (top,),
        ("thrust", *ELECTRICAL),
        (*_disc_cautions(evidence), *evidence.power.cautions),
    )


def momentum_bound(evidence: Evidence) -> Finding | None:
    """Whether a plateau lies beyond what momentum theory allows."""
    if evidence.propeller is None or evidence.propeller.total_efficiency is None:
        return None
    efficiency = evidence.propeller.total_efficiency
    usable = _finite(efficiency)
    if not usable.size:
        return None
    beyond = np.flatnonzero(evidence.propeller.impossible)
    worst = int(usable[np.argmax(efficiency.value[usable])])
    if beyond.size:
        low = efficiency.interval(COVERAGE)[0][beyond]
        worst = int(beyond[np.argmax(low)])
    found = reading(efficiency, worst, "%", percent)
    if found is None:
        return None
    if beyond.size:
        sentence = (
            f"Impossible: total efficiency at {_throttle(evidence, worst)} throttle "
            f"comes out as {text_of(found)}, above 100 % with the whole interval "
            f"({_plateaus(beyond.size)} so); check {in_words(CHECK_FIRST)}, "
            "in this order."
        )
    elif found.value > 100:
        sentence = (
            f"Total efficiency reaches {text_of(found)} at "
            f"{_throttle(evidence, worst)} throttle: above 100 %, though the "
            f"interval still allows less; check {in_words(CHECK_FIRST)}."
        )
    else:
        where = f"at {_throttle(evidence, worst)} throttle"
        if not evidence.one_level():
            where = f"is highest {where} with"
        else:
            where = f"{where} was"
        sentence = (
            "No plateau lies beyond what momentum theory allows: total efficiency "
            f"{where} {text_of(found)}."
        )
    return finding_of(
        evidence,
        "momentum-bound",
        sentence,
        found,
        tuple(int(point) for point in beyond) or (worst,),
        ("thrust", *ELECTRICAL),
        _disc_cautions(evidence),
    )


def sag(evidence: Evidence) -> Finding | None:
    """Drop of the pack's voltage from rest to the highest throttle.

    Nothing on a bench supply: what it drops is no pack's sag.
    """
    voltage = evidence.plateaus.channels.get("voltage")
    if voltage is None or not voltage.rests.value.size or evidence.on_supply:
        return None
    usable = _finite(voltage.measured)
    if not usable.size:
        return None
    top = int(usable[np.argmax(evidence.plateaus.throttle_frac[usable])])
    before = np.flatnonzero(voltage.rests.time_s < evidence.plateaus.start_s[top])
    rest = int(before[-1]) if before.size else 0
    rest_v = float(voltage.rests.value[rest])
    drop_v = rest_v - float(voltage.mean[top])
    gain = np.sqrt(voltage.measured.sources["voltage gain"].variance()[top])
    gain_rel = float(gain) / float(voltage.mean[top])
    dof = np.array([voltage.rests.dof[rest]])
    drop = Measured(
        np.array([drop_v]),
        {
            "voltage at rest": Source(np.array([voltage.rests.u[rest]]), dof),
            "voltage random": voltage.measured.sources["voltage random"].take([top]),
        },
    ).with_source("voltage gain", np.array([[gain_rel * drop_v]]))
    found = reading(drop, 0, "V")
    if found is None:
        return None
    amps = reading(evidence.plateaus.measured("current"), top, "A")
    rest_u = math.hypot(float(voltage.rests.u[rest]), gain_rel * rest_v)
    rest_half_v = float(t_factor(math.inf, COVERAGE)) * rest_u
    return finding_of(
        evidence,
        "sag",
        f"Pack voltage fell by {text_of(found)} from rest "
        f"({in_passing(rest_v, rest_half_v)} V) to {_throttle(evidence, top)} "
        f"throttle{' at ' + bare_text(amps) if amps else ''}, measured on this stand "
        "with one motor.",
        found,
        (top,),
        ("voltage",),
        (
            "an aircraft draws on one pack with all its motors and sags further",
            f"the rest was read {'before' if before.size else 'after'} the plateau, "
            "and charge was drawn between them",
        ),
    )


def top_plateau(evidence: Evidence) -> int | None:
    """The plateau of highest thrust."""
    thrust = evidence.plateaus.measured("thrust")
    if thrust is None:
        return None
    usable = _finite(thrust)
    return int(usable[np.argmax(thrust.value[usable])]) if usable.size else None


def _finite(measured: Measured) -> Index:
    good = np.isfinite(measured.value) & np.isfinite(measured.variance())
    return np.flatnonzero(good)


def _picked_half_width(measured: Measured, index: int, count: int) -> float:
    """Half-width for the largest of ``count`` values.

    The pick favours luck, which only what each value has for itself can bring:
    that part is widened to hold for all at once (Bonferroni), the shared part
    is not.
    """
    one = measured.take([index])
    own2 = float(one.own_uncertainty()[0]) ** 2
    shared2 = max(0.0, float(one.variance()[0]) - own2)
    wide = t_factor(math.inf, 1 - (1 - COVERAGE) / count) / t_factor(math.inf, COVERAGE)
    u = math.sqrt(float(wide) ** 2 * own2 + shared2)
    return float(t_factor(one.dof(), COVERAGE)[0]) * u


def _beside(evidence: Evidence, point: int) -> list[str]:
    plateaus = evidence.plateaus
    power = None if evidence.power is None else evidence.power.measured
    readings = (
        reading(plateaus.measured("current"), point, "A"),
        reading(plateaus.measured("voltage"), point, "V"),
        reading(power, point, "W"),
    )
    return [bare_text(found) for found in readings if found is not None]


def _disc_cautions(evidence: Evidence) -> tuple[str, ...]:
    if evidence.disc is None:
        return ()
    found: list[str] = []
    if evidence.disc.air.assumed:
        found.append(evidence.disc.air.words)
    if evidence.disc.diameter_u_m == 0:
        found.append("the diameter was taken as exact; printed sizes can be 8 % off")
    return tuple(found)


def _throttle(evidence: Evidence, point: int) -> str:
    return f"{round(100 * float(evidence.plateaus.throttle_frac[point]), 2):g} %"


def _plateaus(count: int) -> str:
    return "1 plateau is" if count == 1 else f"{count} plateaus are"

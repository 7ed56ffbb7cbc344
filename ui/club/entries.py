"""A run as a club keeps it: its entry, made from its analysis.

Picks and condenses what the analysis says; computes no figure of its own but the
shares of an uncertainty. The shape is checked by ``ui.club.entry``.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from pydantic import ValidationError

from daq.errors import InputFault
from daq.typed_toml import told
from ui.club.entry import (
    FORMAT,
    ArticleTold,
    Curves,
    CurveTold,
    Entry,
    FindingTold,
    FullTold,
    HoverTold,
    Interval,
    RatingTold,
    key_of,
)
from ui.club.evidence import evidence_of
from ui.comparable import NOT_THE_ARTICLE, scale_of, stand_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from daq.analysis.aircraft import Rating
    from daq.analysis.curves import Curve
    from daq.analysis.findings import Evidence
    from daq.analysis.measured import Measured
    from daq.analysis.run import Analysis
    from daq.analysis.series import Array
    from daq.records.shelf import Article
    from ui.results import Results

#: Points of a curve, enough to draw a straight line from one to the next.
POINTS: Final = 17
#: More degrees of freedom than this are as good as any number.
MANY_DOF: Final = 1e6
#: Digits that are kept: more than any bench has.
DIGITS: Final = 7


def entry_of(results: Results) -> Entry:
    """A run's entry.

    Raises:
        InputFault: the record does not say what was tested, nothing was measured, or
            it says what no club could keep.
    """
    article, analysis = results.article, results.analysis
    name = results.run.folder.name
    if article is None or analysis is None:
        raise InputFault(
            f"{name} says nothing to share: it has no article, or the stand never sent "
            "a sample."
        )
    try:
        return _entry(results, article, analysis)
    except ValidationError as fault:
        raise InputFault(told(fault, Entry, name)) from None


def _entry(results: Results, article: Article, analysis: Analysis) -> Entry:
    run, evidence = results.run, analysis.evidence
    disc = evidence.disc
    noted = None if disc is None or disc.air.assumed else disc.air.density_kg_m3
    return Entry(
        format=FORMAT,
        run=run.folder.name[:120],
        utc=str(run.header.get("utc", ""))[:25],
        protocol=_protocol(results),
        article=article_told(article),
        stand=key_of(stand_of(results)),
        scale=key_of(scale_of(results)),
        density_kg_m3=_short(noted),
        full=_full(analysis, results),
        hover=_hover(evidence),
        curves=_curves(analysis),
        findings=tuple(
            FindingTold(
                id=f.id,
                sentence=f.sentence[:1200],
                value=_finite(f.value),
                unit=f.unit,
                low=_finite(f.low),
                high=_finite(f.high),
            )
            for f in analysis.findings
        ),
        evidence=evidence_of(results),
    )


def article_told(article: Article) -> ArticleTold:
    """What was tested, as far as a club asks."""
    whole = article.to_dict()
    own = {name: value for name, value in whole.items() if name not in NOT_THE_ARTICLE}
    return ArticleTold(
        key=key_of(own),
        name=article.name,
        motor=article.motor.name,
        kv_rpm_v=article.motor.kv_rpm_v,
        propeller=article.propeller.name,
        diameter_mm=article.propeller.diameter_mm,
        blades=article.propeller.blades,
        esc=article.esc.name,
        source=article.source.name,
        cells=None if article.pack is None else article.pack.cells,
        plug=None if article.plug is None else article.plug.name,
        mount=article.mount.kind,
        travels=getattr(article, "travels", None),
    )


def _protocol(results: Results) -> str:
    task = results.run.header.get("task")
    plan = task.get("plan") if isinstance(task, dict) else None
    name = plan.get("protocol") if isinstance(plan, dict) else None
    return str(name or "")[:120]


# ------------------------------------------------------------------ figures


def _finite(value: float | None) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return _short(float(value))


def _short(value: float | None) -> float | None:
    """To as many digits as are kept: what is written is what is compared."""
    return None if value is None else float(f"{value:.{DIGITS}g}")


def interval(measured: Measured | None, index: int = 0) -> Interval | None:
    """One value of a result with its 95 % interval; None where there is none."""
    if measured is None:
        return None
    one = measured.take([index])
    low, high = one.interval()
    return _told(float(one.value[0]), float(low[0]), float(high[0]))


def _told(value: float, low: float, high: float) -> Interval | None:
    if not all(map(math.isfinite, (value, low, high))):
        return None
    cut = [float(f"{x:.{DIGITS}g}") for x in (value, low, high)]
    return Interval(value=cut[0], low=min(cut[0], cut[1]), high=max(cut[0], cut[2]))


def _full(analysis: Analysis, results: Results) -> FullTold | None:
    from daq.analysis.performance import top_plateau

    evidence = analysis.evidence
    place = None if evidence.propeller_off else top_plateau(evidence)
    plateaus = evidence.plateaus
    thrust = interval(plateaus.measured("thrust"), place) if place is not None else None
    if place is None or thrust is None:
        return None
    power = None if evidence.power is None else evidence.power.measured
    current = interval(plateaus.measured("current"), place)
    return FullTold(
        throttle_frac=float(plateaus.throttle_frac[place]),
        thrust_n=thrust,
        current_a=current,
        voltage_v=interval(plateaus.measured("voltage"), place),
        power_w=interval(power, place),
        specific_n_w=interval(evidence.specific, place),
        ratings=_ratings(evidence, results, current),
    )


def _ratings(
    evidence: Evidence, results: Results, on_stand: Interval | None
) -> tuple[RatingTold, ...]:
    """Against what flows in the aircraft where that is known, else on the stand."""
    from ui.aircraft import ratings_of

    flight = evidence.flight
    full = None if flight is None else flight.full
    found = []
    for rating in ratings_of(results.article) if results.article else ():
        if full is not None:
            amps = interval(full.motor_a if rating.each else full.total_a)
        else:
            # What the aircraft draws together nobody knows here.
            amps = on_stand if rating.each else None
        if amps is not None:
            found.append(_rating(rating, amps, of_aircraft=full is not None))
    return tuple(found)


def _rating(rating: Rating, amps: Interval, *, of_aircraft: bool) -> RatingTold:
    limit = rating.current_a
    return RatingTold(
        part=rating.part,
        limit_a=limit,
        current_a=amps,
        verdict="beyond"
        if amps.low > limit
        else "within"
        if amps.high < limit
        else "cannot tell",
        of_aircraft=of_aircraft,
    )


def _hover(evidence: Evidence) -> HoverTold | None:
    flight = evidence.flight
    hover = None if flight is None else flight.hover
    if flight is None or hover is None or flight.aircraft.all_up_g is None:
        return None
    throttle, specific = interval(hover.throttle_frac), interval(hover.specific_n_w)
    if throttle is None or specific is None:
        return None
    return HoverTold(
        motors=flight.aircraft.motors,
        all_up_g=flight.aircraft.all_up_g,
        throttle_frac=throttle,
        specific_n_w=specific,
        endurance_s=interval(hover.endurance_s),
    )


# ------------------------------------------------------------------ curves


def _curves(analysis: Analysis) -> Curves:
    from daq.analysis.quantities import QUANTITIES

    evidence = analysis.evidence
    if evidence.propeller_off or evidence.by_hand:
        return Curves()
    scales = evidence.of_scale
    power = QUANTITIES["specific thrust"].curve(analysis)
    thrust = QUANTITIES["thrust"].curve(analysis)
    drawn = {curve.name: curve for curve in evidence.curves}
    return Curves(
        specific_thrust=curve_told(power, scales, _over_power),
        thrust=curve_told(thrust, scales),
        thrust_by_throttle=curve_told(drawn.get("thrust against throttle"), scales),
        current_by_throttle=curve_told(drawn.get("current against throttle"), scales),
        power_by_throttle=curve_told(drawn.get("power against throttle"), scales),
    )


def _over_power(x: Array, y: Array) -> Array:
    return x / y


def _as_it_is(x: Array, y: Array) -> Array:
    del x
    return y


def curve_told(
    curve: Curve | None,
    of_scale: frozenset[str],
    shown: Callable[[Array, Array], Array] = _as_it_is,
) -> CurveTold | None:
    """A curve at some points; None where it is not above zero, or not known, at most.

    Args:
        curve: the curve.
        of_scale: names of the sources that belong to the stand and not to the run.
        shown: what is told, of x and y; it may only multiply or divide by y.
    """
    from daq.analysis.measured import Measured

    if curve is None:
        return None
    x = np.linspace(float(curve.x.min()), float(curve.x.max()), POINTS)
    found = curve.at(x)
    u = found.standard_uncertainty()
    good = (found.value > 0) & np.isfinite(u) & (shown(x, np.abs(found.value)) > 0)
    if np.count_nonzero(good) < 2:
        return None
    x, found = x[good], found.take(np.flatnonzero(good))
    shared = Measured(
        found.value, {n: one for n, one in found.sources.items() if n in of_scale}
    )
    own = Measured(
        found.value, {n: one for n, one in found.sources.items() if n not in of_scale}
    )
    y = shown(x, found.value)
    dof = float(own.dof().min())
    return CurveTold(
        x=_cut(x),
        y=_cut(y),
        half=_cut(found.half_width() / found.value * y),
        own_u_rel=_cut(own.standard_uncertainty() / found.value),
        scale_u_rel=_cut(shared.standard_uncertainty() / found.value),
        dof=None if dof > MANY_DOF else _short(dof),
    )


def _cut(values: Array) -> tuple[float, ...]:
    return tuple(float(f"{value:.{DIGITS}g}") for value in values)

"""Readings and known values to a calibration, or one sentence why not.

Every known cause of error is carried through the fit by itself (``fit``), so that
what readings share stays shared. Readings that do not pass ``suspects`` make no
calibration. Nothing here looks at how a channel is used.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from daq.calibration import suspects
from daq.calibration.fit import Polynomial, fit_polynomial
from daq.calibration.readings import Reading, Table, returns, tabled
from daq.calibration.reference import GRAVITY, Reference
from daq.calibration.suspects import Sensor
from daq.calibration.text import named
from daq.calibration.trials import Behaviour, behaviour, curvature, percent
from daq.calibration.value import Calibration, Cause, Point, Stray, Subject, Trial

Array = NDArray[np.float64]

#: A curve is taken for a line unless its square stands out this far ...
CURVE_T: Final = 4.0
#: ... and matters by this share of the largest known value ...
CURVE_SHARE: Final = 2e-4
#: ... and from so many known values on.
CURVE_LEVELS: Final = 4
#: A square of more than this is no gentle curve: something bends or touches.
BENT_SHARE: Final = 0.05
ROOT_12: Final = math.sqrt(12.0)


def calibrate(
    readings: Sequence[Reading],
    reference: Reference,
    sensor: Sensor,
    subject: Subject,
    made_utc: str,
    *,
    note: str = "",
) -> Calibration:
    """Make a calibration.

    Args:
        readings: in order of time.
        reference: what they were held against.
        sensor: what the stand declares of the channel.
        subject: whose channel it is.
        made_utc: now, ISO 8601.
        note: anything worth remembering.

    Raises:
        InputFault: why no calibration can be made of them.
    """
    suspects.check_amount(readings, reference)
    suspects.check_sensor(readings, sensor, reference)
    loads = subject.unit == "N"
    table = tabled(readings, zeroed=loads)
    value = reference.value_at(table.level)
    suspects.check_order(table, reference)
    straight: tuple[int, ...] = (1,) if loads else (0, 1)
    suspects.check_pieces(table, reference, straight)
    powers = _powers(table, value, straight)
    fitted = fit_polynomial(table.x, value, powers)
    slope = float(fitted.coefficients[powers.index(1)])
    cautions = [*suspects.check_scale(slope, sensor), *_bend(table, value, straight)]
    seen = behaviour(table, value, fitted, readings, loads=loads)
    largest = float(np.abs(value).max())
    made = Calibration(
        subject=subject,
        made_utc=made_utc,
        zero_counts=_zero(table) if loads else 0.0,
        powers=powers,
        coefficients=tuple(float(c) for c in fitted.coefficients),
        low_si=float(min(0.0, value.min()) if loads else value.min()),
        high_si=float(max(0.0, value.max()) if loads else value.max()),
        causes=_causes(table, value, fitted, reference, seen),
        strays=(_straight(fitted, seen, largest),),
        hysteresis=_hysteresis(seen, largest) if loads else None,
        trials=seen.trials,
        points=_points(readings, table, reference, fitted),
        standards=reference.told,
        facts=dict(reference.facts or {}),
        cautions=(*reference.cautions, *cautions, *_untried(seen.trials)),
        note=note,
    )
    return named(made)


def _powers(table: Table, value: Array, straight: tuple[int, ...]) -> tuple[int, ...]:
    """A line, or a gentle curve where a line would not do."""
    levels = np.unique(table.level[table.level >= 0]).size
    if levels < CURVE_LEVELS:
        return straight
    t, share = curvature(table, value, straight)
    return (*straight, 2) if t > CURVE_T and share > CURVE_SHARE else straight


def _bend(table: Table, value: Array, straight: tuple[int, ...]) -> list[str]:
    t, share = curvature(table, value, straight)
    if t > CURVE_T and share > BENT_SHARE:
        return [
            f"It is bent by {percent(share)} over its range, which is no gentle curve: "
            "look whether something touches, or the cell is overloaded."
        ]
    return []


def _zero(table: Table) -> float:
    return float(np.mean([zero.counts for zero in table.zeros]))


def _untried(trials: Sequence[Trial]) -> list[str]:
    return [trial.sentence for trial in trials if not trial.tried]


# ------------------------------------------------------------------ causes


def _causes(
    table: Table,
    value: Array,
    fitted: Polynomial,
    reference: Reference,
    seen: Behaviour,
) -> tuple[Cause, ...]:
    """What the coefficients are wrong by, cause by cause."""
    known = reference.at(table.level)
    largest = int(np.argmax(np.abs(reference.value_si)))
    causes = [
        _gain(reference, largest),
        _carried("standards", known["standards"], fitted, math.inf, "masses"
                 if GRAVITY in known else "digits and zero of the meter"),
        _carried("repeatability", seen.scatter_si * np.eye(table.x.size), fitted,
                 seen.scatter_dof, "scatter of the readings"),
    ]  # fmt: skip
    if GRAVITY not in known:
        return tuple(causes)
    series = table.series[:, np.newaxis] == np.unique(table.series)
    seated = seen.seating_rel * value[:, np.newaxis] * series
    g_rel = _rel(reference, GRAVITY, largest)
    return (
        *causes,
        Cause(GRAVITY, (1,), ((g_rel,),), math.inf, alone=True,
              words="gravity of the place"),
        _carried("seating", seated, fitted, seen.seating_dof, "setting down anew"),
        _carried("zero return", _zeros(table, fitted), fitted, math.inf,
                 "zero between its readings"),
        Cause("creep", (1,), ((seen.creep_rel,),), math.inf, words="creep"),
    )  # fmt: skip


def _gain(reference: Reference, largest: int) -> Cause:
    """Lever and buoyancy, or the meter's scale, by its name where one is said.

    Whatever was held against the same meter, for the same quantity and without a load
    in between, is wrong by the same share.
    """
    row = ((_rel(reference, "gain", largest),),)
    if GRAVITY in reference.causes:
        return Cause("gain", (1,), row, math.inf, words="lever and buoyancy")
    facts = reference.facts or {}
    name, words = facts.get("meter_name"), "the meter's scale"
    if not name or facts.get("load_ohm") is not None:
        return Cause("gain", (1,), row, math.inf, words=words)
    unit = facts.get("meter_unit")
    name = f"scale of the meter {name} in {unit}"
    return Cause(name, (1,), row, math.inf, alone=True, words=words)


def _rel(reference: Reference, name: str, largest: int) -> float:
    factor = reference.causes[name][largest]
    return float(np.linalg.norm(factor)) / abs(float(reference.value_si[largest]))


def _zeros(table: Table, fitted: Polynomial) -> Array:
    """Errors of the zeros as errors of the known values, a column a series."""
    slope = float(fitted.coefficients[fitted.powers.index(1)])
    own = table.zero_share * [zero.u_counts for zero in table.zeros]
    moved = returns(table.zeros)
    wander = np.zeros((table.x.size, max(1, len(moved))))
    for column, (series, counts) in enumerate(moved.items()):
        wander[table.series == series, column] = abs(counts) / ROOT_12
    factor = slope * np.concatenate((own, wander), axis=1)
    return np.asarray(factor, dtype=np.float64)


def _carried(
    name: str, factor: Array, fitted: Polynomial, dof: float, words: str
) -> Cause:
    """Errors of the known values as errors of the scale, by powers of the value."""
    turned = _by_value(fitted) @ fitted.estimator @ factor
    values, vectors = np.linalg.eigh(turned @ turned.T)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    keep = np.flatnonzero(np.abs(root).max(axis=1) > 0.0)
    rows = tuple(tuple(float(x) for x in root[row]) for row in keep)
    powers = tuple(int(row) for row in keep)
    if not powers:
        return Cause(name, (1,), ((0.0,),), dof, words=words)
    return Cause(name, powers, rows, dof, words=words)


def _by_value(fitted: Polynomial) -> Array:
    """From errors of the coefficients to errors by powers 0, 1, 2 of the value.

    With f = a + b x, x is (f - a)/b; the curve's own part in this is a small share of
    an uncertainty and left out.
    """
    known = dict(zip(fitted.powers, fitted.coefficients, strict=True))
    a, b = float(known.get(0, 0.0)), float(known[1])
    expanded = {
        0: (1.0, 0.0, 0.0),
        1: (-a / b, 1.0 / b, 0.0),
        2: (a * a / b**2, -2.0 * a / b**2, 1.0 / b**2),
    }
    return np.array([expanded[power] for power in fitted.powers]).T


def _straight(fitted: Polynomial, seen: Behaviour, largest: float) -> Stray:
    """Departures from the line: alike nearby, each for itself further away."""
    words = "departures from the curve" if 2 in fitted.powers else "from the line"
    return _stray("straightness", seen.straight_si, seen.straight_dof, largest, words)


def _hysteresis(seen: Behaviour, largest: float) -> Stray:
    words = "the way up against the way down"
    return _stray("hysteresis", seen.hysteresis_si, seen.hysteresis_dof, largest, words)


def _stray(name: str, u_si: float, dof: float, largest: float, words: str) -> Stray:
    """Of one size from a third of the largest value on."""
    third = largest / 3.0
    knots_si = (third, 2.0 * third, 3.0 * third)
    return Stray(name, knots_si, (u_si, u_si, u_si), dof, words)


def _points(
    readings: Sequence[Reading],
    table: Table,
    reference: Reference,
    fitted: Polynomial,
) -> tuple[Point, ...]:
    gaps: Mapping[int, float] = {
        id(reading): float(gap)
        for reading, gap in zip(table.readings, fitted.residuals, strict=True)
    }
    levels = np.array([reading.level for reading in readings], dtype=np.intp)
    return tuple(
        Point(reading, float(value), gaps.get(id(reading), math.nan))
        for reading, value in zip(readings, reference.value_at(levels), strict=True)
    )


def with_bias(made: Calibration, **changed: object) -> Calibration:
    """The same calibration with something added, under an identity of its own."""
    return named(replace(made, **changed))  # type: ignore[arg-type]

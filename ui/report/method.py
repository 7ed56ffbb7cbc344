"""How the figures were made, in a few plain sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ui.report.setup import Lines
from ui.report.words import walked

if TYPE_CHECKING:
    from daq.analysis.curves import Curve
    from daq.analysis.run import Analysis
    from daq.records.read import Run


def sentences_on_method(run: Run, analysis: Analysis | None) -> Sequence[str]:
    """How the figures were made, in a few plain sentences."""
    if analysis is None:
        return ("Nothing was sampled, so no figure was made.",)
    from daq.analysis.zeros import REST_SETTLE_S

    evidence = analysis.evidence
    cut_s = _truncation_s(run, analysis)
    sentences = []
    if cut_s is not None:
        sentences.append(
            f"Each plateau is the mean of one dwell for all channels alike. The first "
            f"{cut_s:.2f} s after the throttle reached its level are cut off, always "
            f"the same, whatever the readings do."
        )
    sentences += _moving(analysis)
    sentences += [
        (
            "Intervals hold the truth 95 times in 100 if what the stand says about "
            "itself is right. They follow the GUM (JCGM 100:2008): scatter with the "
            "number of independent readings, trend, resolution, scale factor, zero "
            "and its drift; what plateaus share stays shared."
        ),
        (
            "Thrust and current are counted from the zero read in the rests with the "
            f"motor off, straight from one rest to the next; {REST_SETTLE_S:g} s of a "
            "rest that follows a spin are left out."
        ),
    ]
    sentences += _scales(run, analysis)
    if evidence.disc is not None:
        sentences.append(_air_sentence(analysis))
    if evidence.power is not None:
        sentences += [f"{words[:1].upper()}{words[1:]}." for words in _power(analysis)]
    sentences.append(
        "Gram-force is by standard gravity, 9.80665 m/s\N{SUPERSCRIPT TWO}. "
        "Uncertainties are given with two digits, and figures to the same place."
    )
    return sentences


def _scales(run: Run, analysis: Analysis) -> list[str]:
    """How counts became units."""
    from daq.calibration.trials import percent
    from ui.calibration_words import shown
    from ui.calibrations import calibrated

    uses = calibrated(run).uses
    nominal = analysis.evidence.nominal
    if nominal and not uses:
        return [
            "Counts became units by the stand's own nominal constants. No check mass "
            "and no meter was used: good for this stand's curves, not for comparing "
            "with another stand."
        ]
    said = [
        f"{name.capitalize()} is by the calibration {use.calibration.id}, up to "
        f"{shown(name, use.calibration.largest_si)}, known there to "
        f"{percent(use.calibration.u_rel)}; it lies beside this page, whole."
        for name, use in uses.items()
    ]
    left = sorted(nominal - {"speed"})
    if left:
        said.append(f"By the stand's own nominal constants: {', '.join(left)}.")
    return said


def _moving(analysis: Analysis) -> list[str]:
    """How readings were used that came while throttle moved."""
    from daq.analysis.glides import BIN_FRAC

    said = []
    if analysis.evidence.glides is not None:
        said.append(
            f"A glide is averaged over {100 * BIN_FRAC:g} % of throttle at a time, "
            "each way by itself. What lags behind the moving throttle is not taken "
            "off, so none of it is a plateau and no curve is fitted."
        )
    if analysis.evidence.bursts is not None:
        said.append(
            "A burst is told by the extremes of single readings, from where the "
            "throttle began to move; nothing in it is averaged into a level."
        )
    return said


def _power(analysis: Analysis) -> tuple[str, ...]:
    power = analysis.evidence.power
    return power.cautions if power else ()


def _air_sentence(analysis: Analysis) -> str:
    from daq.analysis.measured import t_factor
    from daq.analysis.rounding import figure

    disc = analysis.evidence.disc
    if disc is None:
        return ""
    half = disc.air.u_kg_m3 * float(t_factor(math.inf))
    density = f"{figure(disc.air.density_kg_m3, half)} \N{PLUS-MINUS SIGN} "
    return (
        f"Air density was taken as {density}{figure(half, half)} "
        f"kg/m\N{SUPERSCRIPT THREE} ({disc.air.words})."
    )


def _truncation_s(run: Run, analysis: Analysis) -> float | None:
    """Time between a level's start and its plateau's, as it was done."""
    starts_s = []
    held = False
    for hold in walked(run):
        if hold.kind == "settle" or (hold.kind == "dwell" and not held):
            starts_s.append(hold.start_s)
        held = hold.kind == "settle"
    cuts_s = [
        float(window_s) - max(before)
        for window_s in analysis.plateaus.start_s
        if (before := [start_s for start_s in starts_s if start_s <= window_s])
    ]
    return min(cuts_s, default=None)


def curve_lines(analysis: Analysis | None) -> Lines:
    """Each curve and its model, the misfit beyond noise in percent of its top."""
    found = []
    for curve in analysis.curves if analysis else ():
        words = curve.model.replace("^2", "\N{SUPERSCRIPT TWO}")
        words = words.replace("^3", "\N{SUPERSCRIPT THREE}")
        words = words.replace("^4", "\N{SUPERSCRIPT FOUR}")
        words = words.replace("x^b", "x to the power b")
        off = misfit_words(curve)
        name = f"{curve.name[:1].upper()}{curve.name[1:]}"
        found.append((name, f"{words}; {off}" if off else words))
    return tuple(found)


def misfit_words(curve: Curve) -> str:
    """How far the points lie off a curve; empty where noise explains it."""
    share = curve.misfit_share
    if not share > 0:
        return ""
    what = curve.name.partition(" against ")[0]
    return (
        f"the points lie off the curve by about {100 * share:.2g} % of the highest "
        f"{what}, more than their noise explains"
    )

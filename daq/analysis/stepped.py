"""Findings about steps of current: the pack in the second after a punch, and its cells.

Each function writes one finding, or None where the run has not what it takes. Only
picks, converts and words; the steps were read in ``steps``.
"""

from typing import Final

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
from daq.analysis.measured import minus
from daq.analysis.packed import AS_IT_WAS, WITH_LEADS
from daq.analysis.steps import IEC_AFTER_S, IEC_BEFORE_S, PackSteps, Steps
from daq.units import milli

CHANNELS: Final = ("voltage", "current")
DRAWN_MEANWHILE: Final = (
    "what was drawn since the step began is missing from the pack's own voltage, and "
    "is in it"
)
#: Currents that the standard takes, in units of the hourly rate.
IEC_RATES: Final = (0.2, 1.0)
HOUR_S: Final = 3600.0


def resistance(evidence: Evidence) -> Finding | None:
    """What a step of current took of the voltage within its burst."""
    steps = evidence.steps
    if steps is None:
        return None
    whole = steps.whole
    found = reading(whole.ohm, 0, "milliohm", milli)
    if found is None:
        return None
    count = whole.each_ohm.size
    said = (
        f"{'A step' if count == 1 else f'{count} steps'} from {whole.before_a:.3g} to "
        f"{whole.after_a:.3g} A took {text_of(found)} of the pack's voltage, read "
        f"{whole.after_s:.2g} s after the step began, with leads and plug."
    )
    cautions = (*_by_the_standard(whole, evidence), *_rested(whole, evidence))
    return finding_of(
        evidence,
        "pack-step",
        said,
        found,
        (),
        CHANNELS,
        (*cautions, DRAWN_MEANWHILE, WITH_LEADS, AS_IT_WAS),
    )


def cells(evidence: Evidence) -> Finding | None:
    """The cell with most resistance, and whether it can be told from the others."""
    steps = evidence.steps
    if steps is None or len(steps.cells) < 2:
        return None
    each = {name: reading(one.ohm, 0, "milliohm", milli) for name, one in _each(steps)}
    known = {name: one for name, one in each.items() if one is not None}
    if len(known) < 2:
        return None
    worst = max(known, key=lambda name: known[name].value)
    found = known.pop(worst)
    others = [f"{_cell(name)} {bare_text(one)}" for name, one in known.items()]
    said = (
        f"Of the pack's cells {_cell(worst)} has most, {text_of(found)}; "
        f"{in_words(others)}{_apart(steps, worst, list(known))}{_fell(steps)}."
    )
    return finding_of(
        evidence,
        "pack-cells",
        said,
        found,
        (),
        (worst, "current"),
        (
            "with what lies between the taps of each cell: tabs, solder and the "
            "balance leads' contacts carry no current and do not count",
            AS_IT_WAS,
        ),
    )


def _each(steps: PackSteps) -> list[tuple[str, Steps]]:
    return list(steps.cells.items())


def _cell(name: str) -> str:
    return name.replace("-", " ")


def _apart(steps: PackSteps, worst: str, others: list[str]) -> str:
    """From which of the others the worst cannot be told."""
    alike = []
    for name in others:
        more = reading(
            minus(steps.cells[worst].ohm, steps.cells[name].ohm), 0, "", milli
        )
        if more is None or more.low <= 0:
            alike.append(_cell(name))
    if not alike:
        return "; it is clearly the weakest"
    return f"; it cannot be told from {in_words(alike)}"


def _fell(steps: PackSteps) -> str:
    """The lowest of the cells at the end of the steps."""
    lowest = {
        name: found
        for name, one in steps.cells.items()
        if (found := reading(one.lowest_v, 0, "V")) is not None
    }
    if not lowest:
        return ""
    name = min(lowest, key=lambda name: lowest[name].value)
    return f". At the end of the steps {_cell(name)} was lowest, {_volt(lowest[name])}"


def _volt(found: Reading) -> str:
    return f"{found.value:.2f} V"


def _by_the_standard(whole: Steps, evidence: Evidence) -> tuple[str, ...]:
    """In how far it is the direct-current method of IEC 61960-3."""
    held = (
        f"held {whole.before_s:.0f} s before and read {whole.after_s:.2g} s after the "
        "step began"
    )
    if not whole.timed_as_the_standard:
        return (
            f"not at the times of the direct-current method of IEC 61960-3 "
            f"({IEC_BEFORE_S:g} s, then {IEC_AFTER_S:g} s): {held}",
        )
    pack = evidence.fitted_pack
    capacity_c = None if pack is None else pack.capacity_c
    rates = ""
    if capacity_c:
        before, after = (
            amp * HOUR_S / capacity_c for amp in (whole.before_a, whole.after_a)
        )
        rates = (
            f"; at {before:.2g} and {after:.2g} times the pack's hourly rate, where "
            f"the standard takes {IEC_RATES[0]:g} and {IEC_RATES[1]:g}"
        )
    return (
        f"at the times of the direct-current method of IEC 61960-3 ({held}){rates}",
    )


def _rested(whole: Steps, evidence: Evidence) -> tuple[str, ...]:
    """How charged it was, by its voltage at rest."""
    if whole.rest_v is None:
        return ()
    volt = float(whole.rest_v.value[0])
    words = (
        f"before the first step, {whole.rested_s:.0f} s at rest, it had {volt:.2f} V"
    )
    if evidence.fitted_pack is not None:
        words += f" ({volt / evidence.fitted_pack.cells:.2f} V a cell)"
    return (words,)

"""Figures on the page: headlines, findings and the table of plateaus.

Every figure comes from the analysis with its 95 % interval and is rounded by
that interval. Nothing is computed here but half of an interval's width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from daq import units
from daq.analysis.findings import Finding
from daq.analysis.rounding import figure

if TYPE_CHECKING:
    from daq.analysis.measured import Measured
    from daq.analysis.run import Analysis
    from daq.analysis.series import Array

NOTHING: Final = "\N{EM DASH}"
HEADLINES: Final = 4
#: What is told large, most wanted first.
WANTED: Final = (
    ("supply-ripple", "Ripple of the supply"),
    ("supply-dip", "Dip under the punch"),
    ("max-thrust", "Highest thrust"),
    ("endurance-in-air", "Hover, by the emptied pack"),
    ("usable-charge", "Usable charge"),
    ("usable-energy", "Usable energy"),
    ("pack-resistance-at-end", "Pack and leads, emptied"),
    ("hover-endurance", "Hover, predicted"),
    ("thrust-to-weight", "Thrust to weight"),
    ("specific-thrust-best", "Best thrust per watt"),
    ("no-load-current", "No-load current at highest speed"),
    ("no-load-power", "No-load power there"),
    ("sag", "Sag, rest to highest throttle"),
    ("specific-thrust-at-max", "Thrust per watt at highest thrust"),
    ("plug-resistance", "Plug under load"),
    ("pack-resistance", "Pack under load"),
)
#: The same of a run that was cut.
REACHED: Final = {
    "Highest thrust": "Highest thrust reached",
    "Sag, rest to highest throttle": "Sag, rest to highest reached",
    "No-load current at highest speed": "No-load current at highest reached",
    "Thrust per watt at highest thrust": "Thrust per watt at highest reached",
}
#: The same of a run with one level, where nothing is the highest or best.
WANTED_OF_ONE_LEVEL: Final = (
    ("supply-ripple", "Ripple of the supply"),
    ("supply-dip", "Dip under the punch"),
    ("pack-step", "Pack, by steps of current"),
    ("max-thrust", "Thrust"),
    ("specific-thrust-at-max", "Thrust per watt"),
    ("sag", "Sag from rest"),
    ("plug-resistance", "Plug under load"),
    ("pack-resistance", "Pack under load"),
)


@dataclass(frozen=True, slots=True)
class Headline:
    """A figure told large.

    Attributes:
        label: what it is.
        value: the figure, rounded by its interval.
        unit: its unit.
        interval: its interval in words.
    """

    label: str
    value: str
    unit: str
    interval: str


def headlines(
    findings: Sequence[Finding], *, one_level: bool = False, whole: bool = True
) -> list[Headline]:
    """Up to four figures that most people come for.

    Args:
        findings: what the run says.
        one_level: whether it has one level, so that nothing is the highest or best.
        whole: whether the plan was walked to its end; the highest is else only the
            highest that was reached.
    """
    by_id = {finding.id: finding for finding in findings}
    found = [
        _headline(label if whole else REACHED.get(label, label), by_id[name])
        for name, label in (WANTED_OF_ONE_LEVEL if one_level else WANTED)
        if name in by_id and has_interval(by_id[name])
    ]
    return found[:HEADLINES]


def has_interval(finding: Finding) -> bool:
    """Whether a finding is a figure with an interval."""
    return None not in (finding.value, finding.low, finding.high)


def _headline(label: str, finding: Finding) -> Headline:
    value, low, high = finding.value, finding.low, finding.high
    if value is None or low is None or high is None:
        return Headline(label, NOTHING, finding.unit, "")
    half = (high - low) / 2
    return Headline(
        label=label,
        value=figure(value, half),
        unit=finding.unit,
        interval=(
            f"{100 * finding.coverage:g} % interval "
            f"{figure(low, half)} to {figure(high, half)} {finding.unit}"
        ),
    )


# ------------------------------------------------------------------ plateaus


@dataclass(frozen=True, slots=True)
class Column:
    """One column of figures.

    Attributes:
        heading: the quantity.
        unit: its unit.
    """

    heading: str
    unit: str


@dataclass(frozen=True, slots=True)
class Cell:
    """A figure and half the width of its interval, both as text."""

    value: str
    half: str


@dataclass(frozen=True, slots=True)
class Row:
    """One plateau.

    Attributes:
        number: as in the chart against time.
        throttle: in percent.
        leg: up, down, first or second.
        cells: one for each column.
        flags: what is wrong with it, in words.
    """

    number: int
    throttle: str
    leg: str
    cells: tuple[Cell, ...]
    flags: str


@dataclass(frozen=True, slots=True)
class Table:
    """All plateaus of a run."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]


def plateau_table(analysis: Analysis) -> Table:
    """The plateaus, with a column for each quantity that the run has."""
    plateaus, evidence = analysis.plateaus, analysis.evidence
    power = evidence.power.measured if evidence.power else None
    wanted = (
        (Column("Thrust", "gf"), plateaus.measured("thrust"), units.n_to_gf(1.0)),
        (Column("Current", "A"), plateaus.measured("current"), 1.0),
        (Column("Voltage", "V"), plateaus.measured("voltage"), 1.0),
        (Column("Power", "W"), power, 1.0),
        (Column("Speed", "rpm"), plateaus.measured("speed"), units.rad_s_to_rpm(1.0)),
        (Column("Specific thrust", "g/W"), evidence.specific, units.n_to_gf(1.0)),
    )
    present = [(c, _half_widths(m, s)) for c, m, s in wanted if m is not None]
    rows = [
        Row(
            number=index + 1,
            throttle=f"{round(100 * float(plateaus.throttle_frac[index]), 2):g}",
            leg=plateaus.leg[index],
            cells=tuple(
                _cell(value[index], half[index]) for _, (value, half) in present
            ),
            flags="; ".join(plateaus.flags(index)),
        )
        for index in range(len(plateaus))
    ]
    return Table(tuple(column for column, _ in present), tuple(rows))


def _half_widths(measured: Measured, scale: float) -> tuple[Array, Array]:
    low, high = measured.interval()
    return measured.value * scale, (high - low) / 2 * scale


def _cell(value: float, half: float) -> Cell:
    if not np.isfinite(value):
        return Cell(NOTHING, "")
    if not np.isfinite(half):
        return Cell(figure(float(value)), "")
    half = float(half)
    return Cell(figure(float(value), half), figure(half, half) if half > 0 else "")

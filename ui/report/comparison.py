"""The page of a comparison: one HTML file that needs nothing but itself.

Takes what was compared and lays it out; compares nothing. Every text is escaped,
since names come from strangers, and the page's own policy forbids it to load or run
anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from daq import units
from daq.errors import WorldFault
from ui import compared
from ui.report import svg
from ui.report.charts import BOTTOM, LEFT, Drawn, one_chart
from ui.report.closely import Shown, captures_of, draw_captures
from ui.report.page import filled_in
from ui.report.paper import label, paper, say_simulated, span
from ui.report.words import moment as moment_words
from ui.report.words import text_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matplotlib.axes import Axes

    from daq.analysis.compare import Difference
    from ui.choosing import Chosen
    from ui.comparing import Comparison

TEMPLATE: Final = "comparison.html.j2"
METHOD: Final = (
    "Each article's runs are taken as mountings of it. A curve is fitted to each run; "
    "the articles are compared by the logarithm of their curves at nine points over "
    "the range that all runs cover, so that what they share in scale cancels.",
    "What mounting again does is the scatter of the runs of one article about their "
    "mean, pooled over all articles. It is taken to move a whole curve, and comes on "
    "top of what each run is uncertain by.",
    "Where the air of every run was noted all are restated to its mean density. "
    "Thrust at one throttle goes with the density to a power between 1/3 and 1, "
    "specific thrust at one thrust between 1/4 and 1/2; what is not known of that is "
    "in the band. What all densities are off by with one barometer cancels.",
    "Runs of different stands share no error of scale. Where a round robin is given a "
    "known bias is taken off, and what is not known of a stand counts with what stands "
    "differ by.",
    "The band holds over the whole range at once, in 95 of 100 comparisons: a verdict "
    "is given only where it leaves zero out.",
)


@dataclass(frozen=True, slots=True)
class Look:
    """How a quantity is drawn.

    Attributes:
        x_words: what it is matched at, with the unit.
        x_scale: surface unit per SI unit.
        y_words: the quantity, with the unit.
        y_scale: surface unit per SI unit.
    """

    x_words: str
    x_scale: float
    y_words: str
    y_scale: float


LOOKS: Final = {
    "specific thrust": Look(
        "Thrust, gf", units.n_to_gf(1.0), "Specific thrust, g/W", units.n_to_gf(1.0)
    ),
    "thrust": Look(
        "Throttle times bus voltage, V", 1.0, "Thrust, gf", units.n_to_gf(1.0)
    ),
}


@dataclass(frozen=True, slots=True)
class Told:
    """One verdict on the page."""

    sentence: str
    mark: str
    rests_on: str
    to_settle: str
    charts: tuple[Drawn, ...]


@dataclass(frozen=True, slots=True)
class Pair:
    """One article against the first."""

    name: str
    why_not: tuple[str, ...]
    told: tuple[Told, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One run in the table of runs."""

    letter: str
    article: str
    run: str
    date: str
    stand: str
    scale: str
    ended: str


@dataclass(frozen=True, slots=True)
class Asked:
    """One question to all articles."""

    sentence: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Page:
    """Everything that the template shows, in its order."""

    title: str
    simulated: bool
    articles: tuple[tuple[str, str], ...]
    order: str
    first: tuple[Asked, ...]
    noises: tuple[str, ...]
    overlays: tuple[Drawn, ...]
    unseen: tuple[str, ...]
    alone: bool
    pairs: tuple[Pair, ...]
    learned: tuple[str, ...]
    asked: tuple[Asked, ...]
    rows: tuple[Row, ...]
    cut: bool
    method: tuple[str, ...]
    cautions: tuple[str, ...]
    caution: str


def write_comparison(comparison: Comparison, matters: float, path: Path) -> None:
    """Write the page.

    Args:
        comparison: what was compared.
        matters: relative difference that matters to the person.
        path: where the page goes.

    Raises:
        WorldFault: it cannot be written.
    """
    page = filled_in(TEMPLATE, page_of(comparison, matters))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(page, encoding="utf-8", newline="\n")
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"The page {path} cannot be written: {why}.") from None


def page_of(comparison: Comparison, matters: float) -> Page:
    """What the page shows."""
    from ui.cautions import CAUTION
    from ui.comparable import SIMULATED

    rows = tuple(_rows(comparison))
    names = [group.name for group in comparison.groups]
    first = names[0]
    others = " and ".join(names[1:])
    pairs = _pairs(comparison, matters)
    parts = any(chosen.part for chosen in comparison.chosen)
    parts = parts or any(comparison.noises.values())
    # Beside an answer, what was not compared is a remark.
    not_compared = [f"{w}" for pair in pairs if parts for w in pair.why_not]
    return Page(
        title=f"{first} against {others}" if others else f"{first} against itself",
        simulated=comparison.simulated,
        articles=tuple(
            (chr(ord("A") + place), name) for place, name in enumerate(names)
        ),
        order=comparison.order,
        first=_asked(chosen for chosen in comparison.chosen if chosen.part),
        noises=tuple(compared.noise_words(comparison)),
        overlays=tuple(_overlays(comparison)),
        unseen=compared.unseen_words(comparison),
        alone=len(comparison.groups) == 1,
        pairs=tuple(pair for pair in pairs if pair.told or not parts),
        learned=tuple(compared.learned_words(comparison)),
        asked=_asked(chosen for chosen in comparison.chosen if not chosen.part),
        rows=rows,
        cut=any(row.ended != "completed" for row in rows),
        method=METHOD,
        # The head of the page says that already.
        cautions=(
            *(c for c in comparison.cautions if c != SIMULATED),
            *(words.removesuffix(".") for words in not_compared),
        ),
        caution=CAUTION,
    )


def _asked(several: Iterable[Chosen]) -> tuple[Asked, ...]:
    return tuple(
        Asked(
            compared.chosen_words(chosen),
            tuple(
                (one.article, compared.value_words(chosen, one))
                for one in chosen.candidates
            ),
        )
        for chosen in several
    )


def _overlays(comparison: Comparison) -> list[Drawn]:
    """Fast captures of two articles laid over each other."""
    if len(comparison.groups) != 2:
        return []
    shown = [
        Shown(group.name, [c for r in group.results for c in captures_of(r)])
        for group in comparison.groups
    ]
    return draw_captures(shown, simulated=comparison.simulated)


def _pairs(comparison: Comparison, matters: float) -> list[Pair]:
    first = comparison.groups[0].name
    found = []
    for place, group in enumerate(comparison.groups[1:], 1):
        compared = comparison.compared[group.name]
        told = tuple(
            _told(difference, first, group.name, f"{place}", matters, comparison)
            for difference in compared.differences
        )
        why_not = tuple(
            f"Not compared in {what}: {why}" for what, why in compared.missing.items()
        )
        found.append(Pair(group.name, why_not, told))
    return found


def _told(
    difference: Difference,
    first: str,
    second: str,
    key: str,
    matters: float,
    comparison: Comparison,
) -> Told:
    from daq.analysis.verdicts import rests_on, to_settle, verdict

    simulated, letter = comparison.simulated, chr(ord("A") + int(key))
    return Told(
        sentence=verdict(difference, first, second),
        mark="good" if difference.verdict in ("more", "less") else "neutral",
        rests_on=rests_on(difference),
        to_settle=to_settle(difference, matters),
        charts=(
            _draw_curves(difference, first, second, key, simulated=simulated),
            _draw_difference(difference, letter, key, simulated=simulated),
        ),
    )


def _rows(comparison: Comparison) -> list[Row]:
    from ui.comparable import calibrated_words, scale_of

    return [
        Row(
            chr(ord("A") + place),
            group.name,
            results.run.folder.name,
            moment_words(text_of(results.run.header, "utc")),
            calibrated_words(results),
            scale_of(results),
            str(results.outcome.get("ended")),
        )
        for place, group in enumerate(comparison.groups)
        for results in group.results
    ]


# ------------------------------------------------------------------ drawing


def _draw_curves(
    difference: Difference, first: str, second: str, key: str, *, simulated: bool
) -> Drawn:
    """Both articles' mean curves."""
    look = LOOKS[difference.what]
    title = f"{look.y_words.split(',')[0]} of both"
    x = difference.x * look.x_scale
    lines = (
        (difference.first * look.y_scale, first, svg.INK, "solid"),
        (difference.second * look.y_scale, second, svg.SECOND, (0, (5, 2))),
    )
    name = f"curves-{key}-{difference.what.replace(' ', '-')}"
    with svg.drawing(name):
        figure, axes = one_chart()
        _set_range(axes, x, np.concatenate([line[0] for line in lines]), from_zero=True)
        paper(axes)
        for y, words, color, dash in lines:
            axes.plot(x, y, color=color, linewidth=1.6, linestyle=dash, label=words)
        label(axes, look.y_words, LEFT)
        axes.set_xlabel(look.x_words, labelpad=6)
        if simulated:
            say_simulated(axes, BOTTOM)
        told = (
            f"{first}: {lines[0][0][0]:.3g} to {lines[0][0][-1]:.3g}; "
            f"{second}: {lines[1][0][0]:.3g} to {lines[1][0][-1]:.3g}, from {x[0]:.3g} "
            f"to {x[-1]:.3g}, {look.x_words}."
        )
        drawn = svg.inline(figure, name, title, told)
    note = f"Solid: {first}. Dashed: {second}. Means over the runs of each."
    return Drawn(title, drawn, note)


def _draw_difference(
    difference: Difference, letter: str, key: str, *, simulated: bool
) -> Drawn:
    """The second against the first with its simultaneous band."""
    look = LOOKS[difference.what]
    title = f"{letter} against A, {difference.what}"
    x, y = difference.x * look.x_scale, 100 * difference.ratio
    low, high = 100 * difference.low, 100 * difference.high
    name = f"apart-{key}-{difference.what.replace(' ', '-')}"
    with svg.drawing(name):
        figure, axes = one_chart()
        edges = np.concatenate((y, low, high, [0.0]))
        _set_range(axes, x, edges[np.isfinite(edges)], from_zero=False)
        paper(axes)
        axes.axhline(0.0, color=svg.INK, linewidth=1.2, zorder=2)
        if np.isfinite(low).all():
            axes.fill_between(x, low, high, color=svg.WASH, linewidth=0, zorder=1.5)
        axes.plot(x, y, color=svg.SECOND, linewidth=1.6, zorder=3)
        if difference.where is not None:
            clear = [end * look.x_scale for end in difference.where]
            axes.plot(clear, [0.0, 0.0], color=svg.INK, linewidth=4.5, zorder=4)
        label(axes, "Difference, %", LEFT)
        axes.set_xlabel(look.x_words, labelpad=6)
        if simulated:
            say_simulated(axes, BOTTOM)
        told = f"{y[0]:.2g} % at {x[0]:.3g} to {y[-1]:.2g} % at {x[-1]:.3g}."
        drawn = svg.inline(figure, name, title, told)
    band = "The shaded band holds over the whole range at once, 95 %."
    if difference.where is not None:
        band += " Where it leaves zero out the zero line is thick."
    if not np.isfinite(low).all():
        band = "No band: what mounting again does is not known."
    return Drawn(title, drawn, band)


def _set_range(axes: Axes, x: np.ndarray, y: np.ndarray, *, from_zero: bool) -> None:
    low, high = float(y.min()), float(y.max())
    span(axes, "x", 0.0, float(x.max()))
    span(axes, "y", 0.0 if from_zero else low, high if high > low else low + 1.0)

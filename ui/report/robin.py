"""The page of a round robin: one HTML file that needs nothing but itself.

Takes what was found and lays it out; computes nothing. Every text is escaped, since
names come from strangers, and the page's own policy forbids it to load or run anything.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from daq.errors import WorldFault
from ui.report import svg
from ui.report.charts import BOTTOM, LEFT, Drawn, one_chart
from ui.report.page import filled_in
from ui.report.paper import label, paper, say_simulated, span
from ui.report.words import moment as moment_words
from ui.report.words import text_of

if TYPE_CHECKING:
    from daq.analysis.round_robin import RoundFound
    from ui.club.agreeing import Round

TEMPLATE: Final = "robin.html.j2"
METHOD: Final = (
    "One article went from stand to stand and was mounted again for each run. Of each "
    "run one number is taken: the mean logarithm of a curve over the range that all "
    "runs cover, in one air where every run's was noted. So a difference is a ratio.",
    "Repeatability, spread between stands and reproducibility follow ISO 5725-2, with "
    "Mandel's h and k, Cochran's and Grubbs' tests: 5 % makes a straggler, 1 % an "
    "outlier. Both are told, and nothing is ever left out.",
    "Biases are held against the robust mean of the stands (Algorithm A of ISO 13528). "
    "Each interval holds what mounting leaves of the stand's own mean, and what the "
    "consensus is uncertain by, less what the two share.",
    "E_n is the bias over what the stand's claim and this round are uncertain by, both "
    "at 95 %: beyond 1 the claim does not hold. z is the bias in robust standard "
    "deviations of the stands: beyond 2 a warning, beyond 3 for action.",
)


@dataclass(frozen=True, slots=True)
class Part:
    """One quantity on the page."""

    heading: str
    head: str
    agreement: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    stands: tuple[str, ...]
    doubts: tuple[str, ...]
    critical: str
    chart: Drawn


@dataclass(frozen=True, slots=True)
class Row:
    """One run in the table of runs."""

    stand: str
    run: str
    date: str
    words: str


@dataclass(frozen=True, slots=True)
class Page:
    """Everything that the template shows, in its order."""

    title: str
    article: str
    simulated: bool
    members: tuple[tuple[str, str], ...]
    parts: tuple[Part, ...]
    missing: tuple[str, ...]
    rows: tuple[Row, ...]
    method: tuple[str, ...]
    cautions: tuple[str, ...]
    caution: str


def write_round(held: Round, path: Path) -> None:
    """Write the page.

    Args:
        held: what was found.
        path: where the page goes.

    Raises:
        WorldFault: it cannot be written.
    """
    page = filled_in(TEMPLATE, page_of(held))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(page, encoding="utf-8", newline="\n")
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"The page {path} cannot be written: {why}.") from None


def page_of(held: Round) -> Page:
    """What the page shows."""
    from ui.cautions import CAUTION
    from ui.comparable import SIMULATED

    return Page(
        title=held.name,
        article=held.article,
        simulated=held.simulated,
        members=tuple(
            (member.name, f"{member.words}; runs: {member.runs}")
            for member in held.members
        ),
        parts=tuple(
            _part(held, what, found, place)
            for place, (what, found) in enumerate(held.found.items(), 1)
        ),
        missing=tuple(f"{what}: {why}" for what, why in held.missing.items()),
        rows=tuple(_rows(held)),
        method=METHOD,
        # The head of the page says that already.
        cautions=tuple(caution for caution in held.cautions if caution != SIMULATED),
        caution=CAUTION,
    )


def _part(held: Round, what: str, found: RoundFound, place: int) -> Part:
    from daq.analysis.round_words import agreement, doubts, head, stand_words
    from ui.club.told import rows

    names = held.names
    return Part(
        heading=f"{what[:1].upper()}{what[1:]}",
        head=head(found),
        agreement=tuple(agreement(found)),
        rows=tuple(rows(found, names)),
        stands=tuple(stand_words(one, names[one.scale]) for one in found.stands),
        doubts=tuple(doubts(found, names)),
        critical=_critical(found),
        chart=_draw(found, names, place, simulated=held.simulated),
    )


def _critical(found: RoundFound) -> str:
    h, k = found.critical
    said = [
        f"{name} beyond {value:.2f}"
        for name, value in (("h", h), ("k", k))
        if math.isfinite(value)
    ]
    return f"By chance once in a hundred: {', '.join(said)}." if said else ""


def _rows(held: Round) -> list[Row]:
    from ui.comparable import calibrated_words, scale_of

    return [
        Row(
            held.names[scale_of(one)],
            one.run.folder.name,
            moment_words(text_of(one.run.header, "utc")),
            calibrated_words(one),
        )
        for one in held.results
    ]


# ------------------------------------------------------------------ drawing


def _draw(
    found: RoundFound, names: dict[str, str], place: int, *, simulated: bool
) -> Drawn:
    """Each stand's bias with its interval, and what it claims."""
    from daq.analysis.stand_found import CLAIMED

    title = f"Biases in {found.what}"
    key = f"biases-{place}"
    at = range(1, len(found.stands) + 1)
    bias = [100 * one.ratio[0] for one in found.stands]
    ends = [[100 * end for end in one.ratio[1:]] for one in found.stands]
    claims = [100 * CLAIMED * one.claim_u for one in found.stands]
    edges = [*bias, *claims, *(-claim for claim in claims)]
    edges += [end for pair in ends for end in pair if math.isfinite(end)]
    with svg.drawing(key):
        figure, axes = one_chart()
        span(axes, "x", 0.0, len(found.stands) + 1.0)
        axes.set_xlim(0.4, len(found.stands) + 0.6)
        span(axes, "y", min(edges), max(*edges, min(edges) + 0.1))
        axes.set_xticks(
            list(at), [names[one.scale].removeprefix("Stand ") for one in found.stands]
        )
        paper(axes, fine=False)
        axes.axhline(0.0, color=svg.INK, linewidth=1.2, zorder=2)
        for x, claim, y, (low, high) in zip(at, claims, bias, ends, strict=True):
            axes.fill_between(
                [x - 0.28, x + 0.28], -claim, claim, color=svg.WASH, linewidth=0
            )
            if math.isfinite(low + high):
                axes.plot([x, x], [low, high], color=svg.INK, linewidth=1.6, zorder=3)
            axes.plot([x], [y], "o", color=svg.SECOND, markersize=5.5, zorder=4)
        label(axes, "Reads too much, %", LEFT)
        axes.set_xlabel("Stand", labelpad=6)
        if simulated:
            say_simulated(axes, BOTTOM)
        told = "; ".join(
            f"{names[one.scale]} {value:+.2g} %"
            for one, value in zip(found.stands, bias, strict=True)
        )
        drawn = svg.inline(figure, key, title, f"{told}.")
    note = (
        "Dots: bias against the consensus, with its 95 % interval. Shaded: what each "
        "stand claims that its scales are off by, at most, in 95 of 100."
    )
    return Drawn(title, drawn, note)

"""The table's data: column by column, texts once, numbers to what matters.

In the trade's units, since the table shows nothing else: gram-force, g/W, inch.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final

from daq import units
from ui.club.evidence import THRUST_BY, thrust_by
from ui.club.site import words
from ui.club.site.thinned import thinned
from ui.report.words import sentence
from ui.typeset import firm

if TYPE_CHECKING:
    from ui.club.entry import CurveTold, FullTold, Interval
    from ui.club.site.listing import Listed

GF_PER_N: Final = units.n_to_gf(1.0)
#: What an aircraft is taken to be where no run names one; common practice, no source.
USUAL: Final = (150.0, 4)


class Texts:
    """Texts by number, each kept once."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def number(self, text: str) -> int:
        """The number that stands for a text."""
        return self._numbers.setdefault(text, len(self._numbers))

    def all(self) -> list[str]:
        """The texts in the order of their numbers."""
        return list(self._numbers)


def table_data(rows: Sequence[Listed]) -> dict[str, Any]:
    """Everything that the table shows, for ``as_script``."""
    texts = Texts()
    told = {name: [made(row) for row in rows] for name, made in _TEXTS.items()}
    data: dict[str, Any] = {
        name: [texts.number(firm(text)) for text in column]
        for name, column in told.items()
    }
    data |= {name: [made(row) for row in rows] for name, made in _NUMBERS.items()}
    data |= _full_columns(rows)
    data["id"] = [row.id for row in rows]
    data["curve"] = [_curve(row.shared.entry.curves.specific_thrust) for row in rows]
    data["texts"] = texts.all()
    data["hover"] = usual_hover(rows)
    return data


def usual_hover(rows: Sequence[Listed]) -> tuple[float, int]:
    """All-up weight (g) and motors of most of the club's aircraft, to begin with."""
    found = Counter(
        (row.shared.entry.hover.all_up_g, row.shared.entry.hover.motors)
        for row in rows
        if row.shared.entry.hover is not None
    )
    if not found:
        return USUAL
    return min(found, key=lambda one: (-found[one], one))


_TEXTS: Final[dict[str, Callable[[Listed], str]]] = {
    "article": lambda row: words.named(row.shared.entry.article.name),
    "motor": lambda row: row.shared.entry.article.motor,
    "propeller": lambda row: row.shared.entry.article.propeller,
    "source": lambda row: row.shared.entry.article.source,
    "stand": lambda row: row.shared.entry.evidence.stand or words.NO_STAND,
    "by": lambda row: row.shared.by,
    "signature": lambda row: words.signature(row.shared.signed_by),
    "day": lambda row: words.day(row.shared.entry),
    "rests": lambda row: sentence(words.rests_on(row.shared.entry.evidence)),
    "scale": lambda row: words.scale_words(row.shared.entry.evidence),
    "record": lambda row: words.RECORD[row.shared.entry.evidence.record],
    "ratings": lambda row: words.ratings_of(row.shared.entry.full)[1],
    "kv": lambda row: f"{row.shared.entry.article.kv_rpm_v:.0f} Kv",
}
_NUMBERS: Final[dict[str, Callable[[Listed], float]]] = {
    "nature": lambda row: words.NATURE.index(words.nature(row.shared.entry.evidence)),
    "thrust_by": lambda row: list(THRUST_BY).index(
        thrust_by(row.shared.entry.evidence)
    ),
    "record_rank": lambda row: list(words.RECORD).index(
        row.shared.entry.evidence.record
    ),
    "evidence_rank": lambda row: words.evidence_rank(row.shared.entry.evidence),
    "ratings_rank": lambda row: words.ratings_of(row.shared.entry.full)[0],
    "size_in": lambda row: words.size_class_in(row.shared.entry.article.diameter_mm),
    "diameter_mm": lambda row: short(row.shared.entry.article.diameter_mm, 4),
    "cells": lambda row: row.shared.entry.article.cells or 0,
}


def _full_columns(rows: Sequence[Listed]) -> dict[str, list[float | None]]:
    return {
        "full_gf": [_gf(row.shared.entry.full, "value") for row in rows],
        "full_low_gf": [_gf(row.shared.entry.full, "low") for row in rows],
        "full_high_gf": [_gf(row.shared.entry.full, "high") for row in rows],
        "full_throttle": [
            None if full is None else short(100 * full.throttle_frac, 3)
            for full in (row.shared.entry.full for row in rows)
        ],
    }


def _gf(full: FullTold | None, which: str) -> float | None:
    if full is None:
        return None
    thrust: Interval = full.thrust_n
    return short(GF_PER_N * float(getattr(thrust, which)), 5)


def _curve(curve: CurveTold | None) -> list[list[float]] | None:
    """Thrust (gf), specific thrust (g/W) and half of its interval."""
    if curve is None:
        return None
    x_n, y_n_w, half_n_w = thinned(curve)
    return [
        [short(GF_PER_N * value, digits) for value in values]
        for values, digits in ((x_n, 5), (y_n_w, 5), (half_n_w, 3))
    ]


def short(value: float, digits: int) -> float:
    """A number with so many digits, without a needless ``.0``."""
    cut = float(f"{value:.{digits}g}")
    return int(cut) if cut.is_integer() and abs(cut) < 1e15 else cut

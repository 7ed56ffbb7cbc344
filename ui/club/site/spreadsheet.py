"""The site's table as a file for spreadsheets, numbers in the unit of the heading."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

from ui.club.site import words
from ui.club.site.columns import GF_PER_N, short
from ui.club.tables import Cell, csv_bytes

if TYPE_CHECKING:
    from ui.club.entry import Interval
    from ui.club.site.listing import Listed


def as_csv(rows: Sequence[Listed]) -> bytes:
    """The table, UTF-8, one run a line, with a heading; of no run the heading alone."""
    cells = ({name: made(row) for name, made in _COLUMNS.items()} for row in rows)
    return csv_bytes(cells, list(_COLUMNS))


def _of(told: Interval | None, which: str, scale: float = GF_PER_N) -> float | None:
    if told is None:
        return None
    return short(scale * float(getattr(told, which)), 6)


def _three(
    name: str, unit: str, told: Callable[[Listed], Interval | None], scale: float
) -> dict[str, Callable[[Listed], Cell]]:
    """Three columns: value, low and high end."""
    return {
        f"{name}_{unit}": lambda row: _of(told(row), "value", scale),
        f"{name}_low_{unit}": lambda row: _of(told(row), "low", scale),
        f"{name}_high_{unit}": lambda row: _of(told(row), "high", scale),
    }


def _full(row: Listed, which: str) -> Interval | None:
    full = row.shared.entry.full
    told: Interval | None = None if full is None else getattr(full, which)
    return told


def _own_hover(row: Listed) -> Interval | None:
    hover = row.shared.entry.hover
    return None if hover is None else hover.specific_n_w


def _curve_end(row: Listed, place: int) -> float | None:
    curve = row.shared.entry.curves.specific_thrust
    return None if curve is None else short(GF_PER_N * curve.x[place], 6)


_COLUMNS: Final[dict[str, Callable[[Listed], Cell]]] = {
    "id": lambda row: row.id,
    "nature": lambda row: words.nature(row.shared.entry.evidence),
    "run": lambda row: row.shared.entry.run,
    "date": lambda row: words.day(row.shared.entry),
    "article": lambda row: row.shared.entry.article.name,
    "motor": lambda row: row.shared.entry.article.motor,
    "kv_rpm_v": lambda row: short(row.shared.entry.article.kv_rpm_v, 6),
    "propeller": lambda row: row.shared.entry.article.propeller,
    "diameter_mm": lambda row: short(row.shared.entry.article.diameter_mm, 6),
    "blades": lambda row: row.shared.entry.article.blades,
    "cells": lambda row: row.shared.entry.article.cells,
    "source": lambda row: row.shared.entry.article.source,
    "esc": lambda row: row.shared.entry.article.esc,
    "stand": lambda row: row.shared.entry.evidence.stand,
    "by": lambda row: row.shared.by,
    "signature": lambda row: words.signature(row.shared.signed_by),
    "licence": lambda row: row.shared.licence,
    "full_throttle_percent": lambda row: (
        None
        if row.shared.entry.full is None
        else short(100 * row.shared.entry.full.throttle_frac, 4)
    ),
    **_three("full_thrust", "gf", lambda row: _full(row, "thrust_n"), GF_PER_N),
    **_three("full_current", "a", lambda row: _full(row, "current_a"), 1.0),
    **_three("full_voltage", "v", lambda row: _full(row, "voltage_v"), 1.0),
    **_three("full_power", "w", lambda row: _full(row, "power_w"), 1.0),
    **_three("full_specific", "g_w", lambda row: _full(row, "specific_n_w"), GF_PER_N),
    "ratings": lambda row: words.ratings_of(row.shared.entry.full)[1],
    "own_all_up_g": lambda row: (
        None
        if row.shared.entry.hover is None
        else short(row.shared.entry.hover.all_up_g, 6)
    ),
    "own_motors": lambda row: (
        None if row.shared.entry.hover is None else row.shared.entry.hover.motors
    ),
    **_three("own_hover_specific", "g_w", _own_hover, GF_PER_N),
    "curve_from_gf": lambda row: _curve_end(row, 0),
    "curve_to_gf": lambda row: _curve_end(row, -1),
    "thrust_rests_on": lambda row: words.rests_on(row.shared.entry.evidence),
    "record": lambda row: words.RECORD[row.shared.entry.evidence.record],
    "evidence": lambda row: row.shared.entry.evidence.words,
    "bundle": lambda row: row.shared.bundle,
    "bundle_sha256": lambda row: row.shared.bundle_sha256,
}

"""Small words of the page: what came from a record, made fit to be read.

Records may be damaged and come from strangers: a field that is missing or is
not what it should be becomes a plain word here and never a traceback.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from daq.errors import RecordFault

if TYPE_CHECKING:
    from daq.records.read import Hold, Run

NOT_ON_RECORD = "not on record"


def text_of(table: object, key: str, otherwise: str = "") -> str:
    """A text field of a table, or a word in its place."""
    value = table.get(key) if isinstance(table, Mapping) else None
    return value.strip() or otherwise if isinstance(value, str) else otherwise


def table_of(table: object, key: str) -> Mapping[str, object]:
    """A table within a table; empty where there is none."""
    value = table.get(key) if isinstance(table, Mapping) else None
    return value if isinstance(value, Mapping) else {}


def list_of(table: object, key: str) -> list[object]:
    """A list within a table; empty where there is none."""
    value = table.get(key) if isinstance(table, Mapping) else None
    return value if isinstance(value, list) else []


def moment(utc: str) -> str:
    """An ISO 8601 time as a person reads it, to the minute."""
    try:
        when = datetime.fromisoformat(utc)
    except ValueError:
        return utc or NOT_ON_RECORD
    if when.tzinfo is None:
        return f"{when:%Y-%m-%d %H:%M}"
    try:
        return f"{when.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
    except OverflowError:
        return utc


def has_channel(run: Run, name: str) -> bool:
    """Whether the stand has a channel of that name."""
    return any(page.name == name for s in run.streams for page in s.channels)


def walked(run: Run) -> list[Hold]:
    """The plan as it was walked; empty where it was not, or cannot be read."""
    if not any(run.notes("segment")):
        return []
    try:
        return run.holds()
    except RecordFault:
        return []


def plain(value: float, digits: int = 10) -> str:
    """A number as it was written down, without an exponent: 76.2, 4600."""
    rounded = float(f"{value:.{digits}g}")
    return f"{rounded:.{digits}f}".rstrip("0").rstrip(".") if rounded else "0"


def in_brief(value: float) -> str:
    """Three digits of a number, with a true minus sign."""
    from protocols.limits import brief

    return brief(value).replace("-", "\N{MINUS SIGN}")


def counted(number: int, what: str) -> str:
    """A number of things: 1 caution, 2 cautions."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def sentence(text: str) -> str:
    """The same with a capital at its head, and true minus signs."""
    signed = re.sub(r"(?<![\w-])-(?=\d)", "\N{MINUS SIGN}", text)
    return f"{signed[:1].upper()}{signed[1:]}"


def number_of(table: object, key: str) -> float | None:
    """A finite number of a table; None where it has none."""
    value = table.get(key) if isinstance(table, Mapping) else None
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if math.isfinite(value) else None

"""What it means to tick a run in a table: one room draws it, another packs it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from ui.desktop.model.rows import Row


@dataclass(frozen=True, slots=True)
class Ticking:
    """What a tick means in a table of runs.

    Attributes:
        heading: of its column.
        does: what space does to a run, for whoever hears it.
        tip: the same where the pointer rests.
        on: said of a run that is ticked.
        off: said of one that is not.
        may: whether a run may be ticked.
        figures: whether key figures are of use beside it.
    """

    heading: str
    does: str
    tip: str
    on: str
    off: str
    may: Callable[[Row], bool]
    figures: bool = True


DRAWN: Final = Ticking(
    heading="drawn",
    does="keeps it drawn",
    tip="Keep it in the plot beside others (space).",
    on="kept in the plot",
    off="not kept in the plot",
    may=lambda row: row.readable,
)

"""How curves are told apart: a colour, a dash and a marker each, never colour alone.

Red, yellow and green mean something else in this window, so none of the colours is one.
In each scheme any two stay apart for eyes that lack one kind of cone, and each stands
out from its ground; tests hold both.
"""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from typing import Final

#: For a light ground and for a dark one, the same places in both.
ON_LIGHT: Final = ("#1c4f8f", "#da732f", "#3d3041", "#a97660", "#5f2811", "#8a84a4")
ON_DARK: Final = ("#8fc1ff", "#da962f", "#7d63e3", "#856c47", "#da2f96", "#f0ddd1")
#: Lengths of line and gap in pen widths; none for a line without gaps.
DASHES: Final[tuple[tuple[float, ...], ...]] = (
    (),
    (6.0, 3.0),
    (2.0, 2.5),
    (8.0, 2.5, 2.0, 2.5),
)
#: Names of markers as the plot library has them.
MARKERS: Final = ("o", "s", "t1", "d", "p", "star", "h")


@dataclass(frozen=True, slots=True)
class Style:
    """How one run is drawn.

    Attributes:
        slot: its place in the order.
        on_light: colour on a light ground.
        on_dark: colour on a dark ground.
        dash: lengths of line and gap in pen widths; empty for none.
        marker: name of its marker.
    """

    slot: int
    on_light: str
    on_dark: str
    dash: tuple[float, ...]
    marker: str


def style_of(slot: int) -> Style:
    """The style of a place; neighbours differ in all three, 24 in colour and dash."""
    colour, turn = slot % len(ON_LIGHT), slot // len(ON_LIGHT)
    return Style(
        slot=slot,
        on_light=ON_LIGHT[colour],
        on_dark=ON_DARK[colour],
        dash=DASHES[(slot + turn) % len(DASHES)],
        marker=MARKERS[slot % len(MARKERS)],
    )


class Slots:
    """Gives each thing that is drawn a place, which it keeps while it is drawn."""

    def __init__(self) -> None:
        self._places: dict[Hashable, int] = {}

    def keep(self, drawn: Iterable[Hashable]) -> None:
        """Give these a place each; those that are not drawn any more lose theirs."""
        wanted = list(dict.fromkeys(drawn))
        self._places = {k: self._places[k] for k in wanted if k in self._places}
        taken = set(self._places.values())
        for key in wanted:
            if key not in self._places:
                place = next(n for n in range(len(wanted)) if n not in taken)
                self._places[key] = place
                taken.add(place)

    def style(self, key: Hashable) -> Style | None:
        """The style of a thing; None while it is not drawn."""
        place = self._places.get(key)
        return None if place is None else style_of(place)

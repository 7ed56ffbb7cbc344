"""A curve with its band as a small drawing in the page, by plain geometry.

The drawing takes its colours from the page's style and holds no text of a stranger.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from daq import units
from ui.report.paper import grouped

if TYPE_CHECKING:
    from ui.club.entry import Curves, CurveTold

WIDTH, HEIGHT = 420.0, 250.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 8.0, 12.0, 40.0
STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)
MOST_TICKS: Final = 6
#: A range narrower than this share of its numbers is drawn as if it were wider.
NARROWEST: Final = 1e-6
#: The same for numbers near zero, in the units that are shown.
LEAST: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Look:
    """How a curve is drawn.

    Attributes:
        name: of the curve in an entry.
        title: what is drawn.
        x_words: what is on x, with the unit.
        x_scale: surface unit per SI unit.
        y_words: what is on y, with the unit.
        y_scale: surface unit per SI unit.
    """

    name: str
    title: str
    x_words: str
    x_scale: float
    y_words: str
    y_scale: float


GF: Final = units.n_to_gf(1.0)
LOOKS: Final = (
    Look("specific_thrust", "Specific thrust", "Thrust, gf", GF, "g/W", GF),
    Look("thrust_by_throttle", "Thrust", "Throttle, %", 100.0, "gf", GF),
    Look("current_by_throttle", "Current", "Throttle, %", 100.0, "A", 1.0),
    Look("power_by_throttle", "Electrical power", "Throttle, %", 100.0, "W", 1.0),
)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing with its title, and the same in words."""

    title: str
    svg: Markup
    told: str


def drawings(curves: Curves, nature: str) -> list[Drawn]:
    """What a run has of the curves that are shown; each says if it is not measured."""
    return [
        Drawn(look.title, drawn(curve, look, nature), _told(curve, look))
        for look in LOOKS
        if (curve := getattr(curves, look.name)) is not None
    ]


def _told(curve: CurveTold, look: Look) -> str:
    first, last = (look.x_scale * x for x in (curve.x[0], curve.x[-1]))
    low, high = (look.y_scale * y for y in (min(curve.y), max(curve.y)))
    what, _, unit = look.x_words.partition(", ")
    return (
        f"From {low:.3g} to {high:.3g} {look.y_words} over a {what.lower()} of "
        f"{first:.3g} to {last:.3g} {unit}, with its 95 % band."
    )


def ticks(low: float, high: float) -> list[float]:
    """Round numbers that hold a range between them, however narrow it is."""
    largest = max(abs(low), abs(high))
    if not high - low > max(NARROWEST * largest, LEAST):
        wider = max(largest / 10, LEAST)
        low, high = low - wider, high + wider
    span = high - low
    size = 10.0 ** math.floor(math.log10(span / MOST_TICKS))
    step = next((s * size for s in STEPS if span / (s * size) <= MOST_TICKS), 10 * size)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [step * place for place in range(first, max(last, first + 1) + 1)]


def drawn(curve: CurveTold, look: Look, nature: str) -> Markup:
    """The drawing."""
    x = [look.x_scale * value for value in curve.x]
    y = [look.y_scale * value for value in curve.y]
    half = [look.y_scale * value for value in curve.half]
    low = [max(0.0, a - b) for a, b in zip(y, half, strict=True)]
    high = [a + b for a, b in zip(y, half, strict=True)]
    from_zero = min(low) < 0.5 * max(high)
    x_ticks = ticks(0.0 if 0 <= x[0] < 0.5 * x[-1] else x[0], x[-1])
    y_ticks = ticks(0.0 if from_zero else min(low), max(high))
    across = _Along(x_ticks, LEFT, WIDTH - RIGHT)
    up = _Along(y_ticks, HEIGHT - BOTTOM, TOP)
    there = [f"{across(a):.1f},{up(b):.1f}" for a, b in zip(x, high, strict=True)]
    back = [f"{across(a):.1f},{up(b):.1f}" for a, b in zip(x, low, strict=True)]
    line = [f"{across(a):.1f},{up(b):.1f}" for a, b in zip(x, y, strict=True)]
    parts = [
        *_paper(x_ticks, y_ticks, across, up),
        f'<polygon class="band" points="{" ".join(there + back[::-1])}"/>',
        f'<polyline class="line" points="{" ".join(line)}"/>',
        f'<text x="0" y="9">{look.y_words}</text>',
        f'<text class="end" x="{WIDTH - RIGHT:g}" y="{HEIGHT - 3:g}">'
        f"{look.x_words}</text>",
    ]
    if nature != "measured":
        parts.append(
            f'<text class="end nature" x="{WIDTH - RIGHT:g}" y="9">{nature}</text>'
        )
    # All of it is ours: numbers, and the words above.
    return Markup(  # noqa: S704
        f'<svg class="curve" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" aria-hidden="true">'
        f"{''.join(parts)}</svg>"
    )


class _Along:
    """Where a value lies between the first and the last tick."""

    def __init__(self, at: Sequence[float], begin: float, end: float) -> None:
        self._at, self._begin = at[0], begin
        self._scale = (end - begin) / (at[-1] - at[0])

    def __call__(self, value: float) -> float:
        return self._begin + self._scale * (value - self._at)


def _paper(
    x_ticks: Sequence[float], y_ticks: Sequence[float], across: _Along, up: _Along
) -> list[str]:
    bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    rules = [f"M{across(x):.1f} {TOP:g}V{bottom:g}" for x in x_ticks]
    rules += [f"M{LEFT:g} {up(y):.1f}H{right:g}" for y in y_ticks]
    numbers = [
        f'<text class="middle" x="{across(x):.1f}" y="{bottom + 16:g}">'
        f"{grouped(x)}</text>"
        for x in x_ticks
    ]
    numbers += [
        f'<text class="end" x="{LEFT - 6:g}" y="{up(y) + 4:.1f}">{grouped(y)}</text>'
        for y in y_ticks
    ]
    base = f'<path class="base" d="M{LEFT:g} {bottom:g}H{right:g}"/>'
    return [f'<path class="grid" d="{"".join(rules)}"/>', base, *numbers]

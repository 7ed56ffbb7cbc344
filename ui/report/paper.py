"""What all charts have in common: squared paper, labels and ticks."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import TYPE_CHECKING

from ui.report import svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.transforms import Transform


def label(axes: Axes, words: str, left: float) -> None:
    """What is on y, above the axis, where it can be read upright."""
    axes.text(
        0,
        1,
        words,
        transform=_above(axes, -left, 14),
        color=svg.INK,
        va="baseline",
    )


def span(axes: Axes, which: str, low: float, high: float) -> None:
    """The range of ``x`` or ``y``, from one round tick to another."""
    from matplotlib.ticker import MaxNLocator

    along, set_range = (
        (axes.xaxis, axes.set_xlim) if which == "x" else (axes.yaxis, axes.set_ylim)
    )
    locator = MaxNLocator(nbins=5, steps=[1, 2, 2.5, 5, 10])
    ticks = locator.tick_values(low, high)
    set_range(float(ticks[0]), float(ticks[-1]))
    along.set_major_locator(locator)
    along.set_major_formatter(grouped)


def paper(axes: Axes, *, fine: bool = True) -> None:
    """Squared paper behind the axes, once their range is set."""
    if fine:
        _rule_fine(axes)
    axes.grid(which="major", color=svg.GRID, linewidth=0.8)
    axes.set_axisbelow(True)
    axes.spines["left"].set_visible(False)


def _rule_fine(axes: Axes) -> None:
    """Fine lines as one path: as many ticks would be most of the work."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    corners: list[tuple[float, float]] = []
    for x in _fifths(axes.get_xticks()):
        corners += [(x, bottom), (x, top)]
    for y in _fifths(axes.get_yticks()):
        corners += [(left, y), (right, y)]
    codes = [Path.MOVETO, Path.LINETO] * (len(corners) // 2)
    lines = PathPatch(Path(corners, codes), fill=False, zorder=0.3)
    lines.set(edgecolor=svg.GRID_FINE, linewidth=0.5)
    axes.add_patch(lines)


def _fifths(ticks: Iterable[float]) -> list[float]:
    """Four places between each two ticks."""
    return [
        low + (high - low) * part / 5
        for low, high in pairwise(ticks)
        for part in range(1, 5)
    ]


def say_simulated(axes: Axes, bottom: float) -> None:
    """A chart may be cut out and passed on: it says so itself."""
    axes.text(
        1,
        0,
        "simulated",
        transform=_above(axes, 0, 8 - bottom),
        ha="right",
        va="baseline",
        fontweight="bold",
    )


def grouped(value: float, _place: object = None) -> str:
    """A tick's number: no exponent, thousands set apart, a true minus."""
    text = f"{round(value, 9) + 0.0:,.10g}"
    return text.replace(",", "\N{THIN SPACE}").replace("-", "\N{MINUS SIGN}")


def _above(axes: Axes, right: float, up: float) -> Transform:
    from matplotlib.transforms import ScaledTranslation

    size = svg.POINTS_PER_INCH
    figure = axes.figure
    shift = ScaledTranslation(right / size, up / size, figure.dpi_scale_trans)
    return axes.transAxes + shift

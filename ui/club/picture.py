"""A picture of some runs for a chat: two charts, who they are of, what they rest on.

It is passed on without its page, so it says by itself that runs were simulated, and
what the figures rest on. Draws entries; computes nothing.
"""

from __future__ import annotations

import io
import textwrap
from typing import TYPE_CHECKING, Any, Final

from daq.units import n_to_gf
from ui.typeset import firm

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ui.club.entry import CurveTold, Entry

WIDTH, HEIGHT, DPI = 1200, 675, 100
#: So many runs can be told apart in one chart; of more the first are drawn.
MOST: Final = 6
INK, MUTED, GRID = "#1c2430", "#5a6472", "#dfe4ea"
#: Colours that stay apart in grey and for the colour-blind (Okabe and Ito 2008, from
#: memory), and never alone: each line has a dash of its own.
LINES: Final[tuple[tuple[str, tuple[float, tuple[float, ...]]], ...]] = (
    ("#0072b2", (0, ())),
    ("#d55e00", (0, (6, 2))),
    ("#009e73", (0, (2, 2))),
    ("#cc79a7", (0, (8, 2, 2, 2))),
    ("#8a6d00", (0, (1, 1))),
    ("#444444", (0, (10, 4))),
)
_SETTINGS: Final[Mapping[Any, Any]] = {
    "font.family": "DejaVu Sans",
    "font.size": 12,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "text.color": INK,
    "text.parse_math": False,  # names are a stranger's
}


def picture_of(entries: Sequence[Entry]) -> bytes:
    """A PNG of 1200 by 675; the same bytes for the same entries."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        size = (WIDTH / DPI, HEIGHT / DPI)
        figure = Figure(figsize=size, dpi=DPI, facecolor="white")
        _draw(figure, entries)
        file = io.BytesIO()
        figure.savefig(file, format="png", metadata={"Software": None})
    return file.getvalue()


def _draw(figure: Figure, entries: Sequence[Entry]) -> None:
    shown = entries[:MOST]
    figure.text(0.05, 0.945, _title(entries), fontsize=19, fontweight="bold", va="top")
    figure.text(0.05, 0.875, _subtitle(entries), fontsize=12, color=MUTED, va="top")
    left, right = (figure.add_axes((x, 0.28, 0.39, 0.47)) for x in (0.075, 0.565))
    gf = n_to_gf(1.0)
    _panel(
        left,
        [e.curves.thrust_by_throttle for e in shown],
        ("Throttle, %", 100.0),
        ("Thrust, gf", gf),
    )
    _panel(
        right,
        [e.curves.specific_thrust for e in shown],
        ("Thrust of one motor, gf", gf),
        ("Specific thrust, g/W", gf),
    )
    _legend(figure, shown)
    _foot(figure, entries)


def _title(entries: Sequence[Entry]) -> str:
    names = list(dict.fromkeys(entry.article.name for entry in entries))
    if len(names) == 1:
        return textwrap.shorten(names[0], 64, placeholder=" ...")
    return f"{len(names)} articles, {len(entries)} runs"


def _subtitle(entries: Sequence[Entry]) -> str:
    first = entries[0].article
    days = sorted({entry.utc[:10] for entry in entries})
    when = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
    if len({entry.article.key for entry in entries}) > 1:
        return when
    parts = [first.motor, first.propeller, first.source, when]
    return textwrap.shorten("  |  ".join(parts), 120, placeholder=" ...")


def _panel(
    axes: Axes,
    curves: Sequence[CurveTold | None],
    x_axis: tuple[str, float],
    y_axis: tuple[str, float],
) -> None:
    (x_words, x_scale), (y_words, y_scale) = x_axis, y_axis
    for curve, (colour, dash) in zip(curves, LINES, strict=False):
        if curve is None:
            continue
        x = [x_scale * value for value in curve.x]
        y = [y_scale * value for value in curve.y]
        half = [y_scale * value for value in curve.half]
        low = [a - b for a, b in zip(y, half, strict=True)]
        high = [a + b for a, b in zip(y, half, strict=True)]
        axes.fill_between(x, low, high, color=colour, alpha=0.16, linewidth=0)
        axes.plot(x, y, color=colour, linestyle=dash, linewidth=2.2)
    if any(curves):
        axes.set_xlim(left=0)
        axes.set_ylim(bottom=0)
    else:
        axes.set_xticks([])
        axes.set_yticks([])
        axes.text(0.5, 0.5, "not measured", ha="center", transform=axes.transAxes)
    axes.grid(color=GRID, linewidth=0.8)
    axes.set_axisbelow(True)
    axes.set_xlabel(x_words)
    axes.set_title(y_words, loc="left", fontsize=12, color=INK)


def _legend(figure: Figure, shown: Sequence[Entry]) -> None:
    from matplotlib.lines import Line2D

    if len(shown) < 2:
        return
    handles = [
        Line2D([], [], color=colour, linestyle=dash, linewidth=2.2)
        for _, (colour, dash) in zip(shown, LINES, strict=False)
    ]
    names = [
        textwrap.shorten(f"{e.article.name}, {e.utc[:10]}", 46, placeholder=" ...")
        for e in shown
    ]
    figure.legend(
        handles,
        names,
        loc="lower left",
        bbox_to_anchor=(0.045, 0.79),
        ncols=3,
        frameon=False,
        fontsize=10,
        handlelength=3.2,
    )


def _foot(figure: Figure, entries: Sequence[Entry]) -> None:
    words = "bands: 95 % intervals. " + _rests_on(entries)
    lines = textwrap.wrap(firm(words[:1].upper() + words[1:]), 145)[:3]
    figure.text(0.05, 0.165, "\n".join(lines), fontsize=10, color=MUTED, va="top")
    mark = _unreal(entries)
    if mark:
        figure.text(
            0.05, 0.035, mark, fontsize=13, fontweight="bold", color=INK, va="bottom"
        )
    more = len(entries) - MOST
    tail = f"the first {MOST} of {len(entries)} runs  |  " if more > 0 else ""
    figure.text(0.95, 0.035, f"{tail}gramwatt", fontsize=11, color=MUTED, ha="right")


def _rests_on(entries: Sequence[Entry]) -> str:
    said = list(dict.fromkeys(entry.evidence.words for entry in entries))
    if len(said) == 1:
        return f"Rests on: {said[0]}."
    by = dict.fromkeys(
        scale.words
        for entry in entries
        for scale in entry.evidence.scales
        if scale.channel == "thrust"
    )
    return f"Thrust by {' or '.join(by)}."


def _unreal(entries: Sequence[Entry]) -> str:
    if any(entry.evidence.invented for entry in entries):
        return "INVENTED: nothing was measured"
    if any(entry.evidence.simulated for entry in entries):
        return "SIMULATED: no hardware, no motor, nothing was measured"
    return ""

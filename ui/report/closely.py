"""Charts of fast captures: the supply within milliseconds, one article or several.

What was captured, put on paper: nothing is averaged or filtered. Where there are more
samples than the paper has room for, the band runs from the lowest to the highest of
each moment, so that no spike is lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from daq.units import milli
from protocols.limits import brief
from ui.report import svg
from ui.report.charts import BOTTOM, LEFT, Drawn, one_chart
from ui.report.paper import label, paper, say_simulated, span

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from daq.analysis.captures import Capture
    from daq.analysis.series import Array
    from ui.results import Results

#: Moments that are drawn as bands; a chart is some 300 units wide.
COLUMNS: Final = 150
#: A capture this much longer than its chart's columns is drawn as a band.
SHORT_S: Final = 0.03
#: Of a short one so much is drawn, sample by sample.
SHOWN_S: Final = 0.001
TITLES: Final = {
    "cruise": "at cruise",
    "punch": "around the punch",
    "burst": "in the burst",
    "drop": "around the drop back",
    "chop": "around the chop",
}
WORDS: Final = {"voltage": ("Bus voltage", "V"), "current": ("Current", "A")}
MICRO: Final = 1e6
#: Colour and dash of each article.
LOOKS: Final = ((svg.INK, "solid"), (svg.SECOND, (0, (3, 1.5))))


@dataclass(frozen=True, slots=True)
class Shown:
    """One article's captures.

    Attributes:
        name: of the article; empty where there is only one.
        captures: in their order.
    """

    name: str
    captures: Sequence[Capture]


def captures_of(results: Results) -> list[Capture]:
    """The fast captures of a run, in its order."""
    return list(results.analysis.evidence.captures) if results.analysis else []


def draw_captures(shown: Sequence[Shown], *, simulated: bool) -> list[Drawn]:
    """A chart for each moment that every article has captures of.

    Args:
        shown: one article, or two to lay over each other.
        simulated: whether the charts have to say so.
    """
    first = shown[0].captures
    keys = dict.fromkeys((c.channel, c.label, is_long(c)) for c in first)
    drawn = []
    for channel, moment, long in keys:
        each = [
            [c for c in one.captures if (c.channel, c.label) == (channel, moment)]
            for one in shown
        ]
        of_kind = [_one_rate([c for c in some if is_long(c) is long]) for some in each]
        if all(of_kind):
            drawn.append(_draw(shown, of_kind, simulated=simulated))
    return drawn


def _one_rate(captures: list[Capture]) -> list[Capture]:
    """Those as close together as the closest."""
    closest_s = min((c.period_s for c in captures), default=0.0)
    return [c for c in captures if c.period_s <= closest_s]


def is_long(capture: Capture) -> bool:
    """Whether it shows a whole movement, and not single cycles."""
    return bool(capture.t_s[-1] - capture.t_s[0] > SHORT_S)


def _draw(
    shown: Sequence[Shown], each: list[list[Capture]], *, simulated: bool
) -> Drawn:
    sample = each[0][0]
    words, unit = WORDS[sample.channel]
    title = f"{words} {TITLES.get(sample.label, sample.label)}"
    key = f"captured-{sample.channel}-{sample.label}"
    key += "-long" if is_long(sample) else "-short"
    firsts = [some[0] for some in each]
    lines = [_line(capture) for capture in firsts]
    with svg.drawing(key):
        figure, axes = one_chart()
        low = min(float(np.nanmin(line.low)) for line in lines)
        high = max(float(np.nanmax(line.high)) for line in lines)
        begin = min(float(line.t_ms[0]) for line in lines)
        end = max(float(line.t_ms[-1]) for line in lines)
        span(axes, "x", begin, end)
        span(axes, "y", low, high if high > low else low + 1.0)
        axes.set_xlim(begin, end)
        paper(axes)
        for place, line in reversed(list(enumerate(lines))):
            _put(axes, line, place)
        label(axes, f"{words}, {unit}", LEFT)
        axes.set_xlabel(_x_words(sample), labelpad=6)
        if simulated:
            say_simulated(axes, BOTTOM)
        told = "; ".join(
            f"{one.name or 'it'}: {_range(line, unit)}"
            for one, line in zip(shown, lines, strict=True)
        )
        drawn = svg.inline(figure, key, title, f"{told}.")
    return Drawn(title, drawn, _note(shown, each))


@dataclass(frozen=True, slots=True)
class _Line:
    """A capture as it is drawn.

    Attributes:
        t_ms: from the trigger, shape (n,).
        low: lowest of each moment.
        high: highest; the same where single samples are drawn.
    """

    t_ms: Array
    low: Array
    high: Array


def _line(capture: Capture) -> _Line:
    t_ms, value = milli(1.0) * capture.t_s, capture.value_si
    if not is_long(capture):
        within = capture.t_s - capture.t_s[0] <= SHOWN_S
        return _Line(t_ms[within], value[within], value[within])
    edges = np.linspace(0, value.size, min(COLUMNS, value.size) + 1).astype(int)
    parts = [value[a:b] for a, b in pairwise(edges)]
    there = [part[np.isfinite(part)] for part in parts]
    nothing = np.array([np.nan])
    return _Line(
        np.array([t_ms[(a + b) // 2] for a, b in pairwise(edges)]),
        np.array([(part if part.size else nothing).min() for part in there]),
        np.array([(part if part.size else nothing).max() for part in there]),
    )


def _put(axes: Axes, line: _Line, place: int) -> None:
    color, dash = LOOKS[min(place, len(LOOKS) - 1)]
    if line.low is line.high or np.array_equal(line.low, line.high, equal_nan=True):
        axes.plot(line.t_ms, line.low, color=color, linewidth=1.0, linestyle=dash)
        return
    axes.fill_between(
        line.t_ms, line.low, line.high, color=color, alpha=0.3, linewidth=0
    )
    for edge in (line.low, line.high):
        axes.plot(line.t_ms, edge, color=color, linewidth=0.7)


def _x_words(capture: Capture) -> str:
    since = "the trigger" if capture.t_s[0] < 0 else "its first sample"
    return f"Time from {since}, ms"


def _range(line: _Line, unit: str) -> str:
    low, high = float(np.nanmin(line.low)), float(np.nanmax(line.high))
    return f"{low:.2f} to {high:.2f} {unit}"


def _note(shown: Sequence[Shown], each: list[list[Capture]]) -> str:
    """How it was taken, and which line is whose."""
    sample = each[0][0]
    every = f"one sample every {brief(MICRO * sample.period_s)} \N{MICRO SIGN}s"
    words = f"The first of {len(each[0])} captures, {every}"
    if is_long(sample):
        words += "; the band runs from the lowest to the highest of each moment."
    else:
        span_ms = milli(float(sample.t_s[-1] - sample.t_s[0]))
        words += f"; the first {milli(SHOWN_S):g} of {span_ms:.3g} ms are drawn."
    if len(shown) > 1:
        dark, light = ("Dark", "Light") if is_long(sample) else ("Solid", "Dashed")
        words += f" {dark}: {shown[0].name}. {light}: {shown[1].name}."
    lost = sum(capture.lost for some in each for capture in some)
    if lost:
        words += f" {lost} samples were lost on the line."
    return words

"""The run against time: what was asked, and everything that was read.

A long run has more readings than a page has room, so each short stretch of
time is drawn from its lowest to its highest reading: a spike of one reading is
seen, however long the run. Nothing is left out and nothing is averaged.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from daq import units
from daq.analysis.zeros import ZEROED
from ui.cut import cut_of
from ui.report import svg
from ui.report.charts import Drawn
from ui.report.paper import grouped, label, paper, say_simulated
from ui.report.words import walked

if TYPE_CHECKING:
    from markupsafe import Markup
    from matplotlib.axes import Axes

    from daq.analysis.plateaus import Plateaus
    from daq.analysis.run import Analysis
    from daq.analysis.series import Array, Series
    from daq.records.read import Run
    from ui.stretches import Stretch

TITLE: Final = "The run against time"
LEFT, RIGHT, TOP, BOTTOM = 46.0, 16.0, 32.0, 44.0
PANEL, BETWEEN = 84.0, 40.0
MINUTES_FROM_S: Final = 600.0
# Shown of what was read before the plan began.
BEFORE_S: Final = 2.0
# Numbers of plateaus are written where there is room for them.
NUMBER_ROOM: Final = 13.0
ENDINGS: Final = ("tripped", "stopped", "failed")


@dataclass(frozen=True, slots=True)
class Width:
    """One of the widths that the chart is drawn in.

    Attributes:
        key: names it on the page.
        units: width in SVG units, about pixels.
        columns: stretches of time it has room for.
    """

    key: str
    units: float
    columns: int

    @property
    def inner(self) -> float:
        """Width of the panels."""
        return self.units - LEFT - RIGHT


WIDE: Final = Width("time-wide", 744.0, 500)
NARROW: Final = Width("time-narrow", 360.0, 240)


@dataclass(frozen=True, slots=True)
class Trace:
    """One panel's readings in the unit at the surface.

    Attributes:
        label: quantity and unit.
        t_s: device time, shape (n,).
        value: readings, shape (n,); NaN where there was none.
        from_zero: whether zero must be seen.
        as_read: whether it needs a zero and has none.
    """

    label: str
    t_s: Array
    value: Array
    from_zero: bool
    as_read: bool

    def since(self, start_s: float) -> Trace:
        """The same from a moment on; whole where nothing was read after it."""
        first = int(np.searchsorted(self.t_s, start_s))
        if first == self.t_s.size:
            return self
        return replace(self, t_s=self.t_s[first:], value=self.value[first:])


@dataclass(frozen=True, slots=True)
class Timeline:
    """Everything on the chart, in device time.

    Attributes:
        throttle: throttle in percent at the corners of its line, shape (m, 2).
        traces: the panels below it.
        windows: start and end of each plateau.
        begin_s: what counts as zero: the start of the plan.
        span_s: first and last moment.
        cut: when and how the run was cut short; None when it was not.
        simulated: whether the chart has to say so.
    """

    throttle: Array
    traces: tuple[Trace, ...]
    windows: tuple[tuple[float, float], ...]
    begin_s: float
    span_s: tuple[float, float]
    cut: tuple[float, str] | None
    simulated: bool


def read_timeline(
    run: Run, series: Mapping[str, Series], analysis: Analysis | None
) -> Timeline | None:
    """What there is to draw; None where nothing was sampled."""
    walk = walked_stretches(run)
    plateaus = analysis.plateaus if analysis else None
    traces = tuple(_traces(series, plateaus))
    if not traces:
        return None
    first_s = min(float(trace.t_s[0]) for trace in traces)
    last_s = max(float(trace.t_s[-1]) for trace in traces)
    begin_s = walk[0].hold.start_s if walk else first_s
    # What came before (waiting, a proof) is in the record and not on this chart.
    shown_s = max(first_s, begin_s - BEFORE_S) if walk else first_s
    return Timeline(
        throttle=_throttle(walk),
        traces=tuple(trace.since(shown_s) for trace in traces),
        windows=_windows(plateaus),
        begin_s=begin_s,
        span_s=(shown_s, max(last_s, shown_s + 1e-3)),
        cut=_cut(run),
        simulated=run.simulated,
    )


def _traces(series: Mapping[str, Series], plateaus: Plateaus | None) -> Sequence[Trace]:
    rows = (
        ("thrust", "Thrust, gf", units.n_to_gf(1.0), True),
        ("current", "Current, A", 1.0, True),
        ("voltage", "Voltage, V", 1.0, False),
    )
    found = []
    for name, words, scale, from_zero in rows:
        channel = series.get(name)
        if channel is None or not np.isfinite(channel.value_si).any():
            continue
        zero = _zero(channel, plateaus)
        value = (channel.value_si - (0.0 if zero is None else zero)) * scale
        as_read = zero is None and name in ZEROED
        found.append(Trace(words, channel.t_s, value, from_zero, as_read))
    return found


def _zero(channel: Series, plateaus: Plateaus | None) -> Array | None:
    """The zero at each reading, straight between the rests; None without one."""
    # A run without a plateau may still have rests.
    means = None if plateaus is None else plateaus.channels.get(channel.name)
    if channel.name not in ZEROED or means is None or not means.rests.value.size:
        return None
    return np.interp(channel.t_s, means.rests.time_s, means.rests.value)


def walked_stretches(run: Run) -> Sequence[Stretch]:
    """The plan as it was walked; empty where it was not, or cannot be read."""
    from ui.stretches import stretches_of

    return stretches_of(run) if walked(run) else ()


def _throttle(walk: Sequence[Stretch]) -> Array:
    corners = [corner for stretch in walk for corner in _corners(stretch)]
    return np.array(corners, dtype=np.float64).reshape(-1, 2)


def _corners(stretch: Stretch) -> list[tuple[float, float]]:
    """Start and end of a stretch, and of a hold all that is known between."""
    return [
        (stretch.hold.start_s, 100 * stretch.from_frac),
        *((t_s, 100 * frac) for t_s, frac in stretch.walk),
        (stretch.hold.end_s, 100 * stretch.to_frac),
    ]


def _windows(plateaus: Plateaus | None) -> tuple[tuple[float, float], ...]:
    if plateaus is None:
        return ()
    spans = zip(plateaus.start_s, plateaus.end_s, strict=True)
    return tuple((float(start), float(end)) for start, end in spans)


def _cut(run: Run) -> tuple[float, str] | None:
    cut = cut_of(run)
    if cut is None or cut.ended not in ENDINGS:
        return None
    return cut.at_s, cut.ended


def envelope(
    t_s: Array, value: Array, span_s: tuple[float, float], columns: int
) -> tuple[Array, Array, Array]:
    """Lowest and highest reading of each stretch of time.

    Args:
        t_s: Times, shape (n,).
        value: Readings, shape (n,); NaN is no reading.
        span_s: What the columns share evenly.
        columns: At most so many; fewer where readings are sparse, so that an
            empty column means that readings are missing.

    Returns:
        Middles, lows and highs, shapes (m,); NaN where a column is empty.
    """
    good = np.isfinite(value)
    t_s, value = t_s[good], value[good]
    count = max(1, min(columns, value.size // 2))
    edges = np.linspace(*span_s, count + 1)
    place = np.clip(np.searchsorted(edges, t_s, side="right") - 1, 0, count - 1)
    low, high = np.full(count, np.nan), np.full(count, np.nan)
    np.fmin.at(low, place, value)
    np.fmax.at(high, place, value)
    return (edges[:-1] + edges[1:]) / 2, low, high


# ------------------------------------------------------------------ drawing


def draw_timeline(timeline: Timeline) -> list[tuple[str, Drawn]]:
    """The chart in each width, with the name of the width."""
    note = _note(timeline)
    return [
        (width.key, Drawn(TITLE, _draw(timeline, width), note))
        for width in (WIDE, NARROW)
    ]


def _draw(timeline: Timeline, width: Width) -> Markup:
    walked_at_all = int(timeline.throttle.size > 0)
    panels = walked_at_all + len(timeline.traces)
    height = TOP + panels * PANEL + (panels - 1) * BETWEEN + BOTTOM
    with svg.drawing(width.key):
        figure = svg.new_figure(width.units, height)
        every: list[Axes] = []
        for number in range(panels):
            bottom = height - TOP - PANEL - number * (PANEL + BETWEEN)
            place = (
                LEFT / width.units,
                bottom / height,
                width.inner / width.units,
                PANEL / height,
            )
            every.append(figure.add_axes(place))
        if walked_at_all:
            _draw_plan(every[0], timeline)
        traced = every[walked_at_all:]
        for axes, trace in zip(traced, timeline.traces, strict=True):
            _draw_trace(axes, trace, timeline, width)
        for axes in every:
            _finish(axes, timeline, last=axes is every[-1])
        _number_windows(every[0], timeline, width)
        _mark_cut(every, timeline)
        return svg.inline(figure, width.key, TITLE, _in_words(timeline))


def _minutes(timeline: Timeline) -> bool:
    return timeline.span_s[1] - timeline.begin_s > MINUTES_FROM_S


def _shown(timeline: Timeline, t_s: Array | float) -> Array:
    per_unit_s = 60.0 if _minutes(timeline) else 1.0
    return np.asarray((t_s - timeline.begin_s) / per_unit_s, dtype=np.float64)


def _draw_plan(axes: Axes, timeline: Timeline) -> None:
    axes.set_ylim(0, 100)
    axes.set_yticks([0, 50, 100])
    label(axes, "Throttle, %", LEFT)
    corners = timeline.throttle
    axes.plot(
        _shown(timeline, corners[:, 0]), corners[:, 1], color=svg.INK, linewidth=1.2
    )


def _draw_trace(axes: Axes, trace: Trace, timeline: Timeline, width: Width) -> None:
    from matplotlib.ticker import MaxNLocator

    middle_s, low, high = envelope(
        trace.t_s, trace.value, timeline.span_s, width.columns
    )
    axes.fill_between(
        _shown(timeline, middle_s),
        low,
        high,
        where=np.isfinite(low).tolist(),
        facecolor=svg.INK,
        edgecolor=svg.INK,
        linewidth=0.8,
    )
    locator = MaxNLocator(nbins=3, steps=[1, 2, 2.5, 5, 10])
    bottom, top = float(np.nanmin(low)), float(np.nanmax(high))
    axes.set_ylim(*room(bottom, top, from_zero=trace.from_zero))
    axes.yaxis.set_major_locator(locator)
    axes.yaxis.set_major_formatter(grouped)
    label(axes, trace.label, LEFT)


def room(bottom: float, top: float, *, from_zero: bool) -> tuple[float, float]:
    """The range of an axis: what was read, zero where it must be seen, and a little."""
    if from_zero:
        bottom, top = min(0.0, bottom), max(0.0, top)
    pad = 0.05 * (top - bottom) or 0.05 * abs(top) or 1.0
    return bottom - pad, top + pad


def _finish(axes: Axes, timeline: Timeline, *, last: bool) -> None:
    paper(axes, fine=False)
    first, end = (float(_shown(timeline, t_s)) for t_s in timeline.span_s)
    axes.set_xlim(first, end)
    for start_s, end_s in timeline.windows:
        left, right = (float(_shown(timeline, t_s)) for t_s in (start_s, end_s))
        axes.axvspan(left, right, facecolor=svg.WASH, edgecolor="none", zorder=0.4)
    if last:
        unit = "min" if _minutes(timeline) else "s"
        since = "the plan began" if timeline.throttle.size else "the first reading"
        axes.set_xlabel(f"Time since {since}, {unit}", labelpad=6)
        if timeline.simulated:
            say_simulated(axes, BOTTOM)
    else:
        axes.tick_params(axis="x", length=0, labelbottom=False)


def _number_windows(axes: Axes, timeline: Timeline, width: Width) -> None:
    """The plateaus' numbers, as in the table, every so many where they crowd."""
    per_s = width.inner / (timeline.span_s[1] - timeline.span_s[0])
    middles_s = [(start_s + end_s) / 2 for start_s, end_s in timeline.windows]
    written_s = -math.inf
    for number, middle_s in enumerate(middles_s, start=1):
        if (middle_s - written_s) * per_s < NUMBER_ROOM:
            continue
        written_s = middle_s
        axes.annotate(
            str(number),
            (float(_shown(timeline, middle_s)), 1),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            va="baseline",
            fontsize=9,
            color=svg.MUTED,
            annotation_clip=False,
        )


def _mark_cut(every: Sequence[Axes], timeline: Timeline) -> None:
    if timeline.cut is None:
        return
    at_s, word = timeline.cut
    at = float(_shown(timeline, at_s))
    color = svg.DANGER if word == "tripped" else svg.INK
    for axes in every:
        axes.axvline(at, color=color, linewidth=1, linestyle=(0, (4, 2)), zorder=5)
    first, end = every[0].get_xlim()
    late = (at - first) > 0.7 * (end - first)
    every[0].annotate(
        word,
        (at, 1),
        xycoords=("data", "axes fraction"),
        xytext=(-4 if late else 4, -11),
        textcoords="offset points",
        ha="right" if late else "left",
        color=color,
        fontweight="bold",
    )


# ------------------------------------------------------------------ in words


def _in_words(timeline: Timeline) -> str:
    first_s, last_s = timeline.span_s
    names = [t.label.partition(",")[0].lower() for t in timeline.traces]
    if timeline.throttle.size:
        names.insert(0, "throttle")
    words = f"{last_s - first_s:.1f} s of {', '.join(names)}, one panel each"
    if timeline.windows:
        words += f"; plateaus shaded, {len(timeline.windows)} in all"
    if timeline.cut:
        words += f"; {timeline.cut[1]} at {timeline.cut[0] - timeline.begin_s:.1f} s"
    simulated = " Simulated." if timeline.simulated else ""
    return f"{words}.{simulated}"


def _note(timeline: Timeline) -> str:
    words = "Nothing is averaged: the line runs from the lowest to the highest reading."
    if timeline.windows:
        words += " Shaded: the plateaus, numbered as in the table."
    if any(trace.as_read for trace in timeline.traces):
        words += " No rest gave a zero, so thrust and current are shown as read."
    return words

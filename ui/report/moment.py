"""The seconds around a trip: throttle, pulse and what the guard read, drawn.

Readings are shown as the guard saw them, less the zero taken before arming. Nothing
is averaged: the line runs from the lowest to the highest reading of each moment.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from daq import units
from protocols.retreat import Retreat
from ui.cut import Cut, cut_of
from ui.report import svg
from ui.report.charts import Drawn
from ui.report.guards import limits_of, read_while_armed
from ui.report.paper import grouped, label, paper, say_simulated
from ui.report.timeline import NARROW, WIDE, Width, envelope, room
from ui.report.trip import Pulse, pulse_of, ramps_down, stop_s, zero_words

if TYPE_CHECKING:
    from markupsafe import Markup
    from matplotlib.axes import Axes

    from daq.analysis.series import Array, Series
    from daq.records.read import Run
    from ui.stretches import Stretch

TITLE: Final = "The seconds around it"
BEFORE_S: Final = 2.0
AFTER_S: Final = 0.8
# So much of an empty stretch is shown where nothing was heard any more.
SILENCE_S: Final = 0.4
LEFT, TOP, BOTTOM = 46.0, 44.0, 44.0
PANEL, BETWEEN = 62.0, 34.0
# About the width of a bold letter, and the height of a row of them.
CHARACTER, ROW = 6.6, 14.0
# A limit is drawn where readings came this near to it.
NEAR_SHARE: Final = 0.6
US_PER_S: Final = 1e6
# Times in seconds with two digits are read off this chart.
TICKS: Final = 6


@dataclass(frozen=True, slots=True)
class Panel:
    """One panel.

    Attributes:
        label: quantity and unit.
        t_s: device times, shape (n,).
        value: readings in that unit, shape (n,).
        from_zero: whether zero must be seen.
        limit: a bound of it in that unit, worth drawing; None without one.
    """

    label: str
    t_s: Array
    value: Array
    from_zero: bool
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class Moment:
    """Everything on the chart, in device time.

    Attributes:
        cut: where the walk was cut.
        zero_s: when the pulse was read at zero after it; None where it was not.
        throttle: throttle in percent at the corners of its line, shape (m, 2).
        panels: what was read.
        span_s: first and last moment.
        simulated: whether the chart has to say so.
    """

    cut: Cut
    zero_s: float | None
    throttle: Array
    panels: tuple[Panel, ...]
    span_s: tuple[float, float]
    simulated: bool


def read_moment(
    run: Run, series: Mapping[str, Series], walk: Sequence[Stretch]
) -> Moment | None:
    """What there is to draw; None where the walk was not cut, or nothing was read."""
    cut = cut_of(run)
    if cut is None or not walk:
        return None
    begin_s = max(cut.at_s - BEFORE_S, walk[0].hold.start_s)
    pulse = pulse_of(run)
    panels = [p for p in _panels(run, series, pulse, begin_s, cut.at_s + AFTER_S) if p]
    if not panels:
        return None
    heard_s = max(float(panel.t_s[-1]) for panel in panels)
    end_s = max(min(heard_s, cut.at_s + AFTER_S), cut.at_s + SILENCE_S)
    return Moment(
        cut=cut,
        zero_s=None if pulse is None else pulse.zero_after(cut.at_s),
        throttle=_throttle(run, walk, cut, end_s),
        panels=tuple(panels),
        span_s=(begin_s, end_s),
        simulated=run.simulated,
    )


def _panels(
    run: Run,
    series: Mapping[str, Series],
    pulse: Pulse | None,
    begin_s: float,
    end_s: float,
) -> Sequence[Panel | None]:
    """Pulse, current, and speed or else thrust."""
    found = []
    if pulse is not None:
        width_us = US_PER_S * pulse.width_s
        name = "Pulse read back, \N{MICRO SIGN}s"
        found.append(_panel(name, pulse.t_s, width_us, begin_s, end_s))
    second = "speed" if "speed" in series else "thrust"
    for channel, name, scale in (
        ("current", "Current, A", 1.0),
        (second, *SECOND[second]),
    ):
        t_s, value = read_while_armed(run, series.get(channel))
        limit = _limit_near(run, channel, value)
        found.append(
            _panel(
                name,
                t_s,
                value * scale,
                begin_s,
                end_s,
                from_zero=True,
                limit=None if limit is None else limit * scale,
            )
        )
    return found


SECOND: Final = {
    "speed": ("Speed, rpm", units.rad_s_to_rpm(1.0)),
    "thrust": ("Thrust, gf", units.n_to_gf(1.0)),
}


def _panel(
    name: str,
    t_s: Array,
    value: Array,
    begin_s: float,
    end_s: float,
    *,
    from_zero: bool = False,
    limit: float | None = None,
) -> Panel | None:
    first, last = np.searchsorted(t_s, (begin_s, end_s))
    if last - first < 2:
        return None
    return Panel(name, t_s[first:last], value[first:last], from_zero, limit)


def _limit_near(run: Run, channel: str, value: Array) -> float | None:
    """The upper bound of a channel that readings came near to, SI."""
    high = next((x.high for x in limits_of(run) if x.channel == channel), math.inf)
    came = float(value.max()) if value.size else 0.0
    return high if math.isfinite(high) and came >= NEAR_SHARE * high else None


def _throttle(run: Run, walk: Sequence[Stretch], cut: Cut, end_s: float) -> Array:
    """The throttle's line: as it was walked, then to zero as it was cut."""
    corners = [
        corner
        for stretch in walk
        for corner in (
            (stretch.hold.start_s, 100 * stretch.from_frac),
            (stretch.hold.end_s, 100 * stretch.to_frac),
        )
    ]
    stopped_s = cut.at_s
    if ramps_down(run):
        stopped_s = max([cut.at_s, *stop_s(run)])
        retreat = Retreat(walk[-1].to_frac, cut.at_s)
        corners.append((stopped_s, 100 * retreat.setpoint(stopped_s)))
    corners += [(stopped_s, 0.0), (max(end_s, stopped_s), 0.0)]
    return np.array(corners, dtype=np.float64)


# ------------------------------------------------------------------ drawing


def draw_moment(moment: Moment, caption: str = TITLE) -> list[tuple[str, Drawn]]:
    """The chart in each width, with the name of the width."""
    note = _note(moment)
    return [
        (width.key, Drawn(caption, _draw(moment, width), note))
        for width in (WIDE, NARROW)
    ]


def _draw(moment: Moment, width: Width) -> Markup:
    panels = 1 + len(moment.panels)
    height = TOP + panels * PANEL + (panels - 1) * BETWEEN + BOTTOM
    key = f"moment-{width.key}"
    with svg.drawing(key):
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
        _draw_throttle(every[0], moment)
        for axes, panel in zip(every[1:], moment.panels, strict=True):
            _draw_panel(axes, panel, moment, width)
        for axes in every:
            _finish(axes, moment, last=axes is every[-1])
        _mark(every, moment, width)
        return svg.inline(figure, key, TITLE, _in_words(moment))


def _since(moment: Moment, t_s: Array) -> Array:
    return np.asarray(t_s - moment.cut.at_s, dtype=np.float64)


def _draw_throttle(axes: Axes, moment: Moment) -> None:
    axes.set_ylim(0, 100)
    axes.set_yticks([0, 50, 100])
    label(axes, "Throttle asked for, %", LEFT)
    corners = moment.throttle
    axes.plot(
        _since(moment, corners[:, 0]), corners[:, 1], color=svg.INK, linewidth=1.4
    )


def _draw_panel(axes: Axes, panel: Panel, moment: Moment, width: Width) -> None:
    from matplotlib.ticker import MaxNLocator

    middle_s, low, high = envelope(panel.t_s, panel.value, moment.span_s, width.columns)
    axes.fill_between(
        _since(moment, middle_s),
        low,
        high,
        where=np.isfinite(low).tolist(),
        facecolor=svg.INK,
        edgecolor=svg.INK,
        linewidth=1.0,
    )
    bottom, top = float(np.nanmin(low)), float(np.nanmax(high))
    if panel.limit is not None:
        top = max(top, panel.limit)
    axes.set_ylim(*room(bottom, top, from_zero=panel.from_zero))
    axes.yaxis.set_major_locator(MaxNLocator(nbins=3, steps=[1, 2, 2.5, 5, 10]))
    axes.yaxis.set_major_formatter(grouped)
    label(axes, panel.label, LEFT)
    if panel.limit is not None:
        _draw_limit(axes, panel.limit)


def _draw_limit(axes: Axes, limit: float) -> None:
    axes.axhline(limit, color=svg.DANGER, linewidth=0.9, zorder=3)
    axes.annotate(
        f"limit {grouped(limit)}",
        (0, limit),
        xycoords=("axes fraction", "data"),
        xytext=(4, -10),
        textcoords="offset points",
        color=svg.DANGER,
        fontsize=9,
    )


def _finish(axes: Axes, moment: Moment, *, last: bool) -> None:
    from matplotlib.ticker import MaxNLocator

    paper(axes, fine=False)
    axes.set_xlim(*(float(s - moment.cut.at_s) for s in moment.span_s))
    axes.xaxis.set_major_locator(MaxNLocator(nbins=TICKS, steps=[1, 2, 2.5, 5, 10]))
    axes.xaxis.set_major_formatter(grouped)
    if last:
        axes.set_xlabel(f"Time since it {_word(moment)}, s", labelpad=6)
        if moment.simulated:
            say_simulated(axes, BOTTOM)
    else:
        axes.tick_params(axis="x", length=0, labelbottom=False)


def _word(moment: Moment) -> str:
    return moment.cut.ended if moment.cut.ended in WORDS else "ended"


WORDS: Final = ("tripped", "stopped")


def _mark(every: Sequence[Axes], moment: Moment, width: Width) -> None:
    """The moment itself, and the pulse at zero after it."""
    color = svg.DANGER if moment.cut.ended == "tripped" else svg.INK
    for axes in every:
        axes.axvline(0.0, color=color, linewidth=1.2, zorder=5)
    _say(every[0], (0.0, 1), _word(moment), color, ha="right")
    if moment.zero_s is None:
        return
    zero = moment.zero_s - moment.cut.at_s
    for axes in every:
        axes.axvline(
            zero, color=svg.INK, linewidth=0.8, linestyle=(0, (2, 2)), zorder=4
        )
    _say_zero(every[0], zero, zero_words(moment.cut, moment.zero_s), moment, width)


def _say_zero(
    axes: Axes, zero: float, words: str, moment: Moment, width: Width
) -> None:
    """Beside its line where there is room, else a row higher, to the right edge."""
    first_s, last_s = moment.span_s
    end = last_s - moment.cut.at_s
    room = (end - zero) / (last_s - first_s) * width.inner
    if room >= CHARACTER * len(words):
        _say(axes, (zero, 1), words, svg.INK, ha="left")
    else:
        _say(axes, (end, 1), words, svg.INK, ha="right", up=ROW)


def _say(
    axes: Axes,
    at: tuple[float, float],
    words: str,
    color: str,
    *,
    ha: Literal["left", "right"],
    up: float = 0.0,
) -> None:
    aside = {"left": 4.0, "right": -4.0 if not up else 0.0}[ha]
    axes.annotate(
        words,
        at,
        xycoords=("data", "axes fraction"),
        xytext=(aside, 5 + up),
        textcoords="offset points",
        ha=ha,
        va="baseline",
        color=color,
        fontweight="bold",
        annotation_clip=False,
    )


# ------------------------------------------------------------------ in words


def _in_words(moment: Moment) -> str:
    first_s, last_s = moment.span_s
    names = ["throttle", *(p.label.partition(",")[0].lower() for p in moment.panels)]
    words = f"{last_s - first_s:.1f} s of {', '.join(names)}, one panel each"
    words += f"; {_word(moment)} at 0 s"
    if moment.zero_s is not None:
        words += f"; {zero_words(moment.cut, moment.zero_s)}"
    simulated = " Simulated." if moment.simulated else ""
    return f"{words}.{simulated}"


def _note(moment: Moment) -> str:
    words = "Readings as the guard saw them."
    if moment.zero_s is None:
        words += " When the pulse came to zero was not read back."
    heard_s = max(float(panel.t_s[-1]) for panel in moment.panels)
    if heard_s < moment.span_s[1] - SILENCE_S / 2:
        words += " Where the lines end the stand was not heard any more."
    return words

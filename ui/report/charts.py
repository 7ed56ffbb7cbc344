"""The charts of a run: points with their intervals, curves with their bands.

Everything drawn was computed elsewhere; here it is only put on paper. Points
of one leg and of the next differ in shape as well as in colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from markupsafe import Markup

from daq import units
from daq.analysis.plateaus import PASSES
from daq.analysis.rounding import figure as rounded
from ui.report import svg
from ui.report.method import misfit_words
from ui.report.paper import label, paper, say_simulated, span
from ui.report.words import counted

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.collections import LineCollection
    from matplotlib.figure import Figure

    from daq.analysis.curves import Curve
    from daq.analysis.measured import Measured
    from daq.analysis.run import Analysis
    from daq.analysis.series import Array

WIDTH: Final = 360.0
HEIGHT: Final = 268.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 16.0, 38.0, 44.0
CURVE_POINTS: Final = 61
# An interval may be far wider than what is measured, which must stay readable.
TALLEST: Final = 1.5
# From this share of the highest value on, a curve's misfit is said below its chart.
MISFIT_TOLD: Final = 0.01
LEGS: Final = (
    ("up", "^", svg.INK),
    ("down", "v", svg.SECOND),
    ("first", "o", svg.INK),
    ("second", "s", svg.SECOND),
)


@dataclass(frozen=True, slots=True)
class Axis:
    """What an axis shows.

    Attributes:
        words: the quantity.
        unit: at the surface; empty for a plain number.
        scale: surface unit per SI unit.
        from_zero: whether the axis starts at zero.
    """

    words: str
    unit: str
    scale: float
    from_zero: bool = True

    @property
    def label(self) -> str:
        """Quantity and unit."""
        return f"{self.words}, {self.unit}" if self.unit else self.words

    def text(self, value: float, half: float | None = None) -> str:
        """A value of it in words; one without an interval as it was set."""
        if not half:
            return f"{value:.6g} {self.unit}".strip()
        return f"{rounded(value, half)} {self.unit}".strip()


THROTTLE: Final = Axis("Throttle", "%", 100.0)
THRUST: Final = Axis("Thrust", "gf", units.n_to_gf(1.0))
CURRENT: Final = Axis("Current", "A", 1.0)
VOLTAGE: Final = Axis("Bus voltage", "V", 1.0, from_zero=False)
POWER: Final = Axis("Electrical power", "W", 1.0)
SPECIFIC: Final = Axis("Specific thrust", "g/W", units.n_to_gf(1.0))
SPEED: Final = Axis("Speed", "rpm", units.rad_s_to_rpm(1.0))
RESISTANCE: Final = Axis(
    "Resistance of the plug", "milliohm", units.milli(1.0), from_zero=False
)
COEFFICIENT: Final = Axis("Thrust coefficient C_T", "", 1.0, from_zero=False)


@dataclass(frozen=True, slots=True)
class Points:
    """One quantity of all plateaus in its axis' unit.

    Attributes:
        value: shape (n,); NaN where there is none.
        low: low limit of the 95 % interval, shape (n,).
        high: high limit, shape (n,).
    """

    value: Array
    low: Array
    high: Array


@dataclass(frozen=True, slots=True)
class Chart:
    """One chart to draw.

    Attributes:
        key: names it on the page.
        x_axis: what x is.
        y_axis: what y is.
        x: the points' x.
        y: the points' y.
        legs: the leg of each point.
        curve: what was fitted; None where nothing was.
        is_fitted: whether a curve is fitted to this where it can be.
        simulated: whether the chart has to say so.
        point: what one point is.
        manner: how it was read, after the title; empty for plateaus.
        remark: what else must be known to read it.
    """

    key: str
    x_axis: Axis
    y_axis: Axis
    x: Points
    y: Points
    legs: tuple[str, ...]
    curve: Curve | None
    is_fitted: bool
    simulated: bool
    point: str = "plateau"
    manner: str = ""
    remark: str = ""

    @property
    def title(self) -> str:
        """What against what."""
        title = f"{self.y_axis.words} against {self.x_axis.words.lower()}"
        return f"{title}, {self.manner}" if self.manner else title


@dataclass(frozen=True, slots=True)
class Drawn:
    """A chart on the page.

    Attributes:
        title: what against what.
        svg: the chart.
        note: what must be known to read it, or empty.
    """

    title: str
    svg: Markup
    note: str


@dataclass(frozen=True, slots=True)
class _Wish:
    key: str
    x_axis: Axis
    y_axis: Axis
    x: Measured | Array | None
    y: Measured | None
    curve: str
    needs: str


def draw_all(analysis: Analysis, *, simulated: bool) -> tuple[list[Drawn], list[str]]:
    """Every chart that the run can give.

    Returns:
        Charts in the order of the page, and a sentence for each that is missing.
    """
    drawn: list[Drawn] = []
    missing: list[str] = []
    for wish in _wishes(analysis):
        chart = _granted(wish, analysis, simulated=simulated)
        if chart is None:
            what = f"{wish.y_axis.words} against {wish.x_axis.words.lower()}"
            missing.append(f"{what}: needs {wish.needs}.")
        else:
            drawn.append(draw(chart))
    return drawn, missing


def _wishes(analysis: Analysis) -> Sequence[_Wish]:
    plateaus, evidence = analysis.plateaus, analysis.evidence
    throttle = plateaus.throttle_frac
    thrust, current = plateaus.measured("thrust"), plateaus.measured("current")
    power = evidence.power.measured if evidence.power else None
    propeller = evidence.propeller
    coefficient = propeller.thrust_coefficient if propeller else None
    both = "a current and a voltage channel"
    electrical = (
        _Wish(
            "current",
            THROTTLE,
            CURRENT,
            throttle,
            current,
            "current against throttle",
            "a current channel",
        ),
        _Wish(
            "power",
            THROTTLE,
            POWER,
            throttle,
            power,
            "power against throttle",
            both,
        ),
    )
    if evidence.propeller_off:
        return (*electrical, _current_by_speed(analysis))
    if evidence.by_hand:
        return (_voltage_by_current(analysis), *_plug(analysis))
    wishes = (
        _Wish(
            "thrust",
            THROTTLE,
            THRUST,
            throttle,
            thrust,
            "thrust against throttle",
            "a thrust channel",
        ),
        *electrical,
        _Wish(
            "thrust-power",
            POWER,
            THRUST,
            power,
            thrust,
            "thrust against power",
            f"a thrust, {both}",
        ),
        _Wish(
            "specific",
            THRUST,
            SPECIFIC,
            thrust,
            evidence.specific,
            "specific thrust against thrust",
            f"a thrust, {both}",
        ),
        _Wish(
            "coefficient",
            SPEED,
            COEFFICIENT,
            plateaus.measured("speed"),
            coefficient,
            "",
            "a thrust and a speed channel and the propeller's measured diameter",
        ),
    )
    return (*wishes, *_plug(analysis))


def _plug(analysis: Analysis) -> Sequence[_Wish]:
    """What the plug has at each current, where it is measured."""
    plug, current = analysis.evidence.plug, analysis.plateaus.measured("current")
    if plug is None or plug.each_ohm is None:
        return ()
    needs = "a current and a voltage channel"
    return (_Wish("plug", CURRENT, RESISTANCE, current, plug.each_ohm, "", needs),)


def _voltage_by_current(analysis: Analysis) -> _Wish:
    """What the bus has under each load."""
    plateaus = analysis.plateaus
    return _Wish(
        "voltage-current",
        CURRENT,
        VOLTAGE,
        plateaus.measured("current"),
        plateaus.measured("voltage"),
        "",
        "a current and a voltage channel",
    )


def _current_by_speed(analysis: Analysis) -> _Wish:
    """What a bare motor takes at each speed."""
    plateaus = analysis.plateaus
    return _Wish(
        "current-speed",
        SPEED,
        CURRENT,
        plateaus.measured("speed"),
        plateaus.measured("current"),
        "current against speed",
        "a current and a speed channel",
    )


def _granted(wish: _Wish, analysis: Analysis, *, simulated: bool) -> Chart | None:
    if wish.x is None or wish.y is None:
        return None
    x, y = points_of(wish.x, wish.x_axis), points_of(wish.y, wish.y_axis)
    if not np.any(np.isfinite(x.value) & np.isfinite(y.value)):
        return None
    return Chart(
        key=wish.key,
        x_axis=wish.x_axis,
        y_axis=wish.y_axis,
        x=x,
        y=y,
        legs=analysis.plateaus.leg,
        curve=analysis.evidence.curve(wish.curve),
        is_fitted=bool(wish.curve),
        simulated=simulated,
    )


def points_of(quantity: Measured | Array, axis: Axis) -> Points:
    """A quantity with its 95 % intervals in an axis' unit."""
    if isinstance(quantity, np.ndarray):
        value = quantity * axis.scale
        return Points(value, value, value)
    low, high = quantity.interval()
    return Points(quantity.value * axis.scale, low * axis.scale, high * axis.scale)


# ------------------------------------------------------------------ drawing


def draw(chart: Chart) -> Drawn:
    """One chart as SVG."""
    with svg.drawing(chart.key):
        figure, axes = one_chart()
        _set_range(axes, chart)
        paper(axes)
        _draw_curve(axes, chart)
        _draw_points(axes, chart)
        label(axes, chart.y_axis.label, LEFT)
        axes.set_xlabel(chart.x_axis.label, labelpad=6)
        _tell_legs(axes)
        if chart.simulated:
            say_simulated(axes, BOTTOM)
        drawn = svg.inline(figure, chart.key, chart.title, _in_words(chart))
    return Drawn(chart.title, drawn, _note(chart))


def one_chart() -> tuple[Figure, Axes]:
    """An empty chart of the page's usual size."""
    figure = svg.new_figure(WIDTH, HEIGHT)
    axes = figure.add_axes(
        (
            LEFT / WIDTH,
            BOTTOM / HEIGHT,
            (WIDTH - LEFT - RIGHT) / WIDTH,
            (HEIGHT - TOP - BOTTOM) / HEIGHT,
        )
    )
    return figure, axes


def _set_range(axes: Axes, chart: Chart) -> None:
    band = np.concatenate(_curve(chart)[2:])
    for which, axis, points, edge in (
        ("x", chart.x_axis, chart.x, band[:0]),
        ("y", chart.y_axis, chart.y, band),
    ):
        low, high = (0.0, 100.0) if axis is THROTTLE else _span(points, axis, edge)
        span(axes, which, low, high)


def _span(points: Points, axis: Axis, band: Array) -> tuple[float, float]:
    """What the axis has to show: all points, and as much interval as fits."""
    seen = points.value[np.isfinite(points.value)]
    low, high = float(seen.min()), float(seen.max())
    size = max(abs(low), abs(high)) or 1.0
    tops, bottoms = (
        edge[np.isfinite(edge)]
        for edge in (np.append(points.high, band), np.append(points.low, band))
    )
    top = min(float(tops.max(initial=high)), high + (TALLEST - 1) * size)
    bottom = max(float(bottoms.min(initial=low)), low - (TALLEST - 1) * size)
    if axis.from_zero:
        return min(0.0, low), max(top, 0.0) or 1.0
    pad = 0.05 * (top - bottom) or 0.1 * size
    return bottom - pad, top + pad


def _curve(chart: Chart) -> tuple[Array, Array, Array, Array]:
    """The curve and its band at some x in the axes' units; empty without one."""
    if chart.curve is None:
        nothing = np.zeros(0)
        return nothing, nothing, nothing, nothing
    known = chart.curve.x
    x = np.linspace(float(known.min()), float(known.max()), CURVE_POINTS)
    y, low, high = (line * chart.y_axis.scale for line in chart.curve.band(x))
    return x * chart.x_axis.scale, y, low, high


def _draw_curve(axes: Axes, chart: Chart) -> None:
    at, y, low, high = _curve(chart)
    if not at.size:
        return
    axes.fill_between(at, low, high, color=svg.WASH, linewidth=0, zorder=1.5)
    axes.plot(at, y, color=svg.MUTED, linewidth=1.2, zorder=2)


def _draw_points(axes: Axes, chart: Chart) -> None:
    x, y = chart.x, chart.y
    for leg, marker, color in LEGS:
        on_leg = np.array([name == leg for name in chart.legs], dtype=np.bool_)
        here = on_leg & np.isfinite(x.value) & np.isfinite(y.value)
        if not here.any():
            continue
        bars: list[LineCollection] = [
            axes.vlines(x.value[here], y.low[here], y.high[here])
        ]
        if chart.x_axis is not THROTTLE:
            bars.append(axes.hlines(y.value[here], x.low[here], x.high[here]))
        for bar in bars:
            bar.set(color=color, linewidth=1.0, zorder=3)
        axes.plot(
            x.value[here],
            y.value[here],
            linestyle="none",
            marker=marker,
            markersize=6.5,
            markerfacecolor=color if leg in ("up", "first") else "none",
            markeredgecolor=color,
            markeredgewidth=1.2,
            label=PASSES.get(leg, leg),
            zorder=4,
        )


def _tell_legs(axes: Axes) -> None:
    axes.legend(
        loc="lower right",
        bbox_to_anchor=(1.0, 1.015),
        ncols=2,
        borderaxespad=0,
        borderpad=0.35,
        handletextpad=0,
        columnspacing=0.6,
        labelcolor=svg.MUTED,
    )


# ------------------------------------------------------------------ in words


def _in_words(chart: Chart) -> str:
    both = np.flatnonzero(np.isfinite(chart.x.value) & np.isfinite(chart.y.value))
    order = both[np.argsort(chart.x.value[both], kind="stable")]
    words = f"{counted(order.size, chart.point)}: {_point(chart, order[0])}"
    if order.size > 1:
        words += f", to {_point(chart, order[-1])}"
    curve = "; with a fitted curve and its 95 % band" if chart.curve else ""
    simulated = " Simulated." if chart.simulated else ""
    return f"{words}{curve}.{simulated}"


def _point(chart: Chart, index: int) -> str:
    x, y = float(chart.x.value[index]), float(chart.y.value[index])
    x_half = float(chart.x.high[index] - chart.x.low[index]) / 2
    y_half = float(chart.y.high[index] - chart.y.low[index]) / 2
    return f"{chart.y_axis.text(y, y_half)} at {chart.x_axis.text(x, x_half)}"


def _note(chart: Chart) -> str:
    notes = []
    if chart.curve is None and chart.is_fitted:
        notes.append("No curve: too few levels, or no model is near the points.")
    if chart.curve is not None and chart.curve.misfit_share >= MISFIT_TOLD:
        off = misfit_words(chart.curve)
        notes.append(f"{off[:1].upper()}{off[1:]}; the band allows for that.")
    if not chart.y_axis.from_zero:
        notes.append("The upright axis does not start at zero.")
    if chart.remark:
        notes.append(chart.remark)
    return " ".join(notes)

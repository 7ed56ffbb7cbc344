"""The plan drawn ahead of what is measured: throttle above, thrust and current below.

Before a spin it is the preview; while it goes the measured lines grow into it, and each
plateau is shaded when it has been walked to its end.
"""

import math

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QVBoxLayout, QWidget

from protocols.limits import Limit, brief, to_trade
from protocols.plan import Plan
from protocols.preview import Preview
from ui.desktop import theme
from ui.desktop.curves_plot import Elided
from ui.desktop.model.setup import dwells, outline
from ui.desktop.model.spinning import Spinning
from ui.desktop.plots import (
    PADDING,
    SecondsAxis,
    dress_plot,
    nice_range,
    share_seconds,
    to_trade_array,
    zigzag,
)

MEASURED = ("thrust", "current")
COLUMNS = 700


class _Pane(QWidget):
    """One plot over the plan's time."""

    def __init__(self, words: str) -> None:
        super().__init__()
        self.words = words
        self.head = Elided(words, "small")
        self.plot = pg.PlotWidget(axisItems={"bottom": SecondsAxis("bottom")})
        self.plot.setMenuEnabled(False)
        self.plot.setMouseEnabled(x=False, y=False)
        self.plot.hideButtons()
        self.plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.planned = pg.PlotCurveItem(connect="finite")
        self.measured = pg.PlotCurveItem(connect="finite")
        self.now = pg.InfiniteLine(angle=90, movable=False)
        self.limit = pg.InfiniteLine(angle=0, movable=False)
        self.limit.setVisible(False)
        self.bands: list[pg.LinearRegionItem] = []
        for item in (self.planned, self.measured, self.now, self.limit):
            self.plot.addItem(item)
        inside = QVBoxLayout(self)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(theme.UNIT // 2)
        inside.addWidget(self.head)
        inside.addWidget(self.plot, 1)
        self.dress()

    def dress(self) -> None:
        """Colours of the scheme."""
        dress_plot(self.plot)
        p = theme.palette()
        self.planned.setPen(pg.mkPen(p.plan, width=2, style=Qt.PenStyle.DashLine))
        self.measured.setPen(pg.mkPen(p.trace, width=1))
        self.now.setPen(pg.mkPen(p.ink, width=1))
        self.limit.setPen(pg.mkPen(p.danger, width=2, style=Qt.PenStyle.DotLine))
        for band in self.bands:
            band.setBrush(pg.mkBrush(theme.color(p.grid)))


class Walk(QWidget):
    """Throttle, thrust and current over the plan's time."""

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName("The plan over time, and what is measured")
        self._plan: Plan | None = None
        self._shaded = -1
        self.throttle = _Pane("throttle, %; dashed as planned")
        self.panes = {
            "thrust": _Pane("thrust, gf; dashed as estimated"),
            "current": _Pane("current, A; dashed as estimated"),
        }
        inside = QVBoxLayout(self)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(theme.UNIT)
        inside.addWidget(self.throttle, 2)
        for pane in self.panes.values():
            inside.addWidget(pane, 3)
        self.throttle.plot.setYRange(0, 100, padding=PADDING)
        self.setMinimumWidth(theme.scaled(180))
        self.dress()

    def dress(self) -> None:
        """Colours of the scheme."""
        panes = (self.throttle, *self.panes.values())
        for pane in panes:
            pane.dress()
        share_seconds([pane.plot for pane in panes])

    # ------------------------------------------------------------------ the plan

    def show_plan(self, plan: Plan | None, seen: Preview | None) -> None:
        """Draw a plan, and what is expected of it."""
        if plan is self._plan:
            return
        self._plan = plan
        self._shade(0)
        self._shaded = -1
        for pane in (self.throttle, *self.panes.values()):
            pane.measured.setData([], [])
            pane.planned.setData([], [])
            pane.now.setVisible(False)
            pane.limit.setVisible(False)
            pane.head.tell(pane.words)
        if plan is None:
            return
        times_s, percents = outline(plan, seen.rows if seen is not None else ())
        self.throttle.planned.setData(times_s, percents)
        for pane in (self.throttle, *self.panes.values()):
            pane.plot.setXRange(0, plan.duration_s, padding=0.01)
        self._estimate(seen)
        self._shade(0)

    def _estimate(self, seen: Preview | None) -> None:
        """What the plan is expected to give, level by level."""
        tops = {"thrust": 100.0, "current": 1.0}
        if seen is not None:
            drawn = {
                "thrust": _steps(seen, "thrust"),
                "current": _steps(seen, "current"),
            }
            for name, (x, y) in drawn.items():
                self.panes[name].planned.setData(x, y)
                if np.isfinite(y).any():
                    tops[name] = float(np.nanmax(y))
        ends = {name: nice_range(0, 1.1 * top, top) for name, top in tops.items()}
        for name, (low, high) in ends.items():
            self.panes[name].plot.setYRange(low, high, padding=PADDING)
        for limit in seen.limits if seen is not None else ():
            if limit.channel in self.panes and math.isfinite(limit.high):
                self._limit(limit, ends[limit.channel][1])

    def _limit(self, limit: Limit, top: float) -> None:
        """A limit as a line, or only in words where the axis ends below it."""
        high, unit = to_trade(limit.channel, limit.high)
        pane = self.panes[limit.channel]
        where = "dotted" if high <= top else "above all this"
        pane.head.tell(f"{limit.channel}, {unit}; limit {brief(high)} {unit}, {where}")
        pane.limit.setValue(high)
        pane.limit.setVisible(True)

    # ------------------------------------------------------------------ the walk

    def draw(self, spinning: Spinning) -> None:
        """Draw what was measured so far."""
        live, plan = spinning.live, spinning.order.plan
        if math.isnan(live.began_s):
            return
        now_s = live.now_s
        into_s = min(now_s - live.began_s, plan.duration_s + 5.0)
        if plan.goals:
            x, y = np.array(live.walk).reshape(-1, 2).T
            self.throttle.measured.setData(
                np.append(x, live.walked_s), 100 * np.append(y, live.throttle_frac)
            )
        else:
            self._throttle(plan, live.elapsed_s)
        for name, pane in self.panes.items():
            tape = spinning.heard.tapes.get(name)
            if tape is None:
                continue
            ago_s, low, high = tape.columns(now_s, max(into_s, 1.0), COLUMNS)
            low_t, _ = to_trade_array(name, low)
            high_t, _ = to_trade_array(name, high)
            x, y = zigzag(ago_s + into_s, low_t, high_t)
            inside = x >= 0
            pane.measured.setData(x[inside], y[inside])
            self._fit(pane, y[inside])
        for pane in (self.throttle, *self.panes.values()):
            pane.now.setVisible(True)
            pane.now.setValue(min(live.walked_s, plan.duration_s))
        self._shade(sum(end <= live.elapsed_s for _, end in dwells(plan)))

    def _throttle(self, plan: Plan, elapsed_s: float) -> None:
        times_s, percents = outline(plan)
        walked = times_s <= elapsed_s
        x = np.append(times_s[walked], elapsed_s)
        y = np.append(percents[walked], 100 * plan.setpoint_at(elapsed_s))
        self.throttle.measured.setData(x, y)

    def _fit(self, pane: _Pane, y: NDArray[np.float64]) -> None:
        if not np.isfinite(y).any():
            return
        begin, end = pane.plot.viewRange()[1]
        lowest, highest = float(np.nanmin(y)), float(np.nanmax(y))
        if lowest < begin - 0.02 * (end - begin) or highest > end:
            low, high = min(lowest, begin, 0.0), max(highest, end)
            pane.plot.setYRange(*nice_range(low, high, end - begin), padding=PADDING)

    def _shade(self, walked: int) -> None:
        """Shade the plateaus that were walked to their end."""
        if walked == self._shaded:
            return
        self._shaded = walked
        parts = dwells(self._plan)[:walked] if self._plan else []
        p = theme.palette()
        for pane in self.panes.values():
            while len(pane.bands) > len(parts):
                pane.plot.removeItem(pane.bands.pop())
            for start_s, end_s in parts[len(pane.bands) :]:
                band = pg.LinearRegionItem(
                    (start_s, end_s), movable=False, brush=pg.mkBrush(p.grid)
                )
                for line in band.lines:
                    line.setPen(pg.mkPen(None))
                band.setZValue(-10)
                pane.plot.addItem(band)
                pane.bands.append(band)


def _steps(seen: Preview, what: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What is expected of each part of the plan, as a line."""
    x: list[float] = []
    y: list[float] = []
    for row in seen.rows:
        end_s = row.start_s + row.segment.duration_s
        if what == "current":
            value = row.end.current_a
        else:
            thrust_n = row.peak_thrust_n
            value = math.nan if thrust_n is None else to_trade("thrust", thrust_n)[0]
            if row.segment.goal is not None:
                value, _ = to_trade("thrust", row.segment.goal.thrust_n)
            if row.segment.end_frac == 0:
                value = 0.0
        x += [row.start_s, end_s]
        y += [value, value]
    return np.array(x), np.array(y)

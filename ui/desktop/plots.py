"""Live plots: the last while of a channel, as the lowest and highest of each column.

The time axis is "seconds ago" and never moves; the value axis changes in steps, so that
an eye can rest on it. No peak is thinned away. Drawn from arrays that the model holds.
"""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QSizePolicy, QVBoxLayout, QWidget
from typing_extensions import override

from protocols.limits import to_trade
from ui.desktop import theme
from ui.desktop.model.tape import Tape
from ui.desktop.parts import label

COLUMNS: Final = 600
NICE: Final = (1.0, 2.0, 5.0)
PADDING: Final = 0.06  # so that the outermost figures of an axis are whole
ROOM: Final = 0.08  # above and below what is shown, as a share of it


def nice_range(low: float, high: float, least: float) -> tuple[float, float]:
    """An axis that holds both, in steps of 1, 2 or 5, at least so wide.

    Args:
        low: lowest value to be seen.
        high: highest value to be seen.
        least: width of the axis at least.
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        return 0.0, least
    if high - low < least:
        middle = 0.5 * (low + high)
        low, high = middle - 0.5 * least, middle + 0.5 * least
    room = ROOM * (high - low)
    step = _nice_step((high - low) / 4)
    begin = math.floor((low - room) / step) * step
    end = math.ceil((high + room) / step) * step
    if begin < 0 <= low:
        begin = 0.0 if low >= 0 and low < least else begin
    return begin, end


def _nice_step(rough: float) -> float:
    power = 10.0 ** math.floor(math.log10(rough))
    return next((n * power for n in NICE if n * power >= rough), 10 * power)


def zigzag(
    x: NDArray[np.float64], low: NDArray[np.float64], high: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Columns as one line that goes down and up in each, shape (2n,) each."""
    both = np.empty(2 * x.size)
    both[0::2], both[1::2] = low, high
    return np.repeat(x, 2), both


class SecondsAxis(pg.AxisItem):  # type: ignore[misc]
    """Seconds, with their unit at the last of its figures."""

    words = "s"
    _widest = math.nan

    @override
    def tickStrings(
        self, values: list[float], scale: float, spacing: float
    ) -> list[str]:
        told = [f"{abs(value * scale):g}" for value in values]
        low, high = self.range
        inside = [n for n, value in enumerate(values) if low < value < high]
        if inside and spacing == self._widest:
            told[inside[-1]] += f" {self.words}"
        return told

    @override
    def tickValues(
        self, minVal: float, maxVal: float, size: float
    ) -> list[tuple[float, list[float]]]:
        levels: list[tuple[float, list[float]]]
        levels = super().tickValues(minVal, maxVal, size)
        self._widest = max((spacing for spacing, _ in levels), default=math.nan)
        return levels


class AgoAxis(SecondsAxis):
    """Seconds ago: as positive figures, newest on the right."""

    words = "s ago"


class LivePlot(QWidget):
    """One channel over the last while."""

    def __init__(self, channel: str, least: float) -> None:
        """Begin.

        Args:
            channel: its name.
            least: width of the value axis at least, in the trade's unit.
        """
        super().__init__()
        self._channel = channel
        self._least = least
        self._window_s = 30.0
        self._range = (0.0, least)
        _, unit = to_trade(channel, 0.0)
        self._head = label(f"{channel}, {unit}" if unit else channel, "small")
        self._plot = pg.PlotWidget(axisItems={"bottom": AgoAxis("bottom")})
        self._plot.setMenuEnabled(False)
        self._plot.setMouseEnabled(x=False, y=False)
        self._plot.hideButtons()
        self._plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._curve = pg.PlotCurveItem(connect="finite", antialias=False)
        self._plot.addItem(self._curve)
        self._plot.setXRange(-self._window_s, 0, padding=0)
        self._plot.setYRange(*self._range, padding=PADDING)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        inside = QVBoxLayout(self)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(theme.UNIT // 2)
        inside.addWidget(self._head)
        inside.addWidget(self._plot, 1)
        self.setMinimumHeight(theme.scaled(44))
        self.setAccessibleName(f"{channel} over the last {self._window_s:.0f} seconds")
        self.dress()

    def dress(self) -> None:
        """Colours of the scheme."""
        dress_plot(self._plot)
        p = theme.palette()
        self._curve.setPen(pg.mkPen(p.trace, width=1))

    @property
    def plot(self) -> pg.PlotWidget:
        """What it is drawn in."""
        return self._plot

    def look_back(self, window_s: float) -> None:
        """Show so many seconds."""
        self._window_s = window_s
        self._plot.setXRange(-window_s, 0, padding=0)

    def draw(self, tape: Tape | None, now_s: float) -> None:
        """Draw what a tape holds; nothing where there is none."""
        if tape is None:
            self._curve.setData([], [])
            return
        ago_s, low, high = tape.columns(now_s, self._window_s, COLUMNS)
        low_t, _ = to_trade_array(self._channel, low)
        high_t, _ = to_trade_array(self._channel, high)
        x, y = zigzag(ago_s, low_t, high_t)
        self._curve.setData(x, y)
        self._fit(low_t, high_t)

    def _fit(self, low: NDArray[np.float64], high: NDArray[np.float64]) -> None:
        if not np.isfinite(low).any():
            return
        lowest, highest = float(np.nanmin(low)), float(np.nanmax(high))
        begin, end = self._range
        fits = begin <= lowest and highest <= end
        wasteful = highest - lowest < 0.2 * (end - begin) and end - begin > 2.5 * (
            self._least
        )
        if fits and not wasteful:
            return
        self._range = nice_range(lowest, highest, self._least)
        self._plot.setYRange(*self._range, padding=PADDING)


def to_trade_array(
    channel: str, values: NDArray[np.float32] | NDArray[np.float64]
) -> tuple[NDArray[np.float64], str]:
    """Values in the unit that a person reads; the conversions are straight lines."""
    zero, unit = to_trade(channel, 0.0)
    one, _ = to_trade(channel, 1.0)
    return values.astype(np.float64) * (one - zero) + zero, unit


def dress_plot(plot: pg.PlotWidget) -> None:
    """Ground, axes and letters of the scheme."""
    p = theme.palette()
    plot.setBackground(p.sheet)
    for name in ("left", "bottom"):
        axis = plot.getAxis(name)
        axis.setPen(pg.mkPen(p.rule, width=1))
        axis.setTextPen(pg.mkPen(p.muted))
        axis.setStyle(tickFont=theme.font(11), tickLength=-4)
        axis.setTickDensity(11 / theme.scaled(11))  # larger figures, fewer of them
    plot.getAxis("left").setWidth(theme.scaled(52))
    plot.getAxis("bottom").setHeight(theme.scaled(22))


def share_seconds(plots: Sequence[pg.PlotWidget]) -> None:
    """Of plots below each other over the same seconds only the last tells them."""
    for plot in plots:
        axis = plot.getAxis("bottom")
        is_last = plot is plots[-1]
        axis.setStyle(showValues=is_last)
        axis.setHeight(theme.scaled(22 if is_last else 6))

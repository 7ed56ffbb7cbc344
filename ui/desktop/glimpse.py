"""The newest fast capture of a spin, drawn as it comes: every sample, none thinned."""

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QVBoxLayout, QWidget
from typing_extensions import override

from daq.units import milli
from protocols.limits import brief, to_trade
from ui.desktop import theme
from ui.desktop.curves_plot import Elided
from ui.desktop.model.glimpses import Glimpse
from ui.desktop.plots import (
    PADDING,
    SecondsAxis,
    dress_plot,
    nice_range,
    to_trade_array,
)

MICRO = 1e6
EMPTY = "captures come as the plan asks for them"
# Axes no narrower than this, in the trade's unit: steps of the converter are no noise.
LEAST = 0.2


class _Milliseconds(SecondsAxis):
    """Milliseconds from the trigger, with a minus before it."""

    words = "ms"

    @override
    def tickStrings(
        self, values: list[float], scale: float, spacing: float
    ) -> list[str]:
        told: list[str] = super().tickStrings(values, scale, spacing)
        return [
            f"\N{MINUS SIGN}{text}" if value < 0 else text
            for value, text in zip(values, told, strict=True)
        ]


class GlimpsePane(QWidget):
    """One capture over milliseconds."""

    def __init__(self) -> None:
        super().__init__()
        self.head = Elided(EMPTY, "small")
        self.plot = pg.PlotWidget(axisItems={"bottom": _Milliseconds("bottom")})
        self.plot.setMenuEnabled(False)
        self.plot.setMouseEnabled(x=False, y=False)
        self.plot.hideButtons()
        self.plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.line = pg.PlotCurveItem(connect="finite", antialias=False)
        self.plot.addItem(self.line)
        self._shown: tuple[int, int] | None = None
        inside = QVBoxLayout(self)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(theme.UNIT // 2)
        inside.addWidget(self.head)
        inside.addWidget(self.plot, 1)
        self.setMinimumHeight(theme.scaled(60))
        self.setAccessibleName("The newest fast capture")
        self.dress()

    def dress(self) -> None:
        """Colours of the scheme."""
        dress_plot(self.plot)
        self.line.setPen(pg.mkPen(theme.palette().trace, width=1))

    def forget(self) -> None:
        """Nothing was captured yet."""
        self._shown = None
        self.line.setData([], [])
        self.head.tell(EMPTY)

    def draw(self, glimpse: Glimpse | None, label: str) -> None:
        """Draw a capture, if it is another or more of it has come.

        Args:
            glimpse: the newest; None before any.
            label: what of the plan it is of.
        """
        if glimpse is None or self._shown == (glimpse.number, glimpse.came):
            return
        self._shown = glimpse.number, glimpse.came
        value, unit = to_trade_array(glimpse.channel, glimpse.value_si)
        self.line.setData(milli(1.0) * glimpse.t_s, value)
        begin, end = milli(float(glimpse.t_s[0])), milli(float(glimpse.t_s[-1]))
        self.plot.setXRange(begin, end, padding=0)
        if np.isfinite(value).any():
            low, high = float(np.nanmin(value)), float(np.nanmax(value))
            self.plot.setYRange(*nice_range(low, high, LEAST), padding=PADDING)
        self.head.tell(_words(glimpse, label, unit))


def _words(glimpse: Glimpse, label: str, unit: str) -> str:
    of = f"captured at the {label}: " if label else "captured: "
    every = f"one sample every {brief(MICRO * glimpse.period_s)} \N{MICRO SIGN}s"
    lost = "" if glimpse.whole else f"; {glimpse.came} of {glimpse.t_s.size} came"
    unit = unit or to_trade(glimpse.channel, 0.0)[1]
    return f"{of}{glimpse.channel}, {unit}, {every}{lost}"

"""Several runs in one plot, with a legend in words.

Draws what the model of overlays holds and reads nothing back off it.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import (
    QPointF,
    QSize,
    Qt,
)
from PySide6.QtGui import (
    QFontMetrics,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QResizeEvent,
)
from PySide6.QtWidgets import (
    QGraphicsPolygonItem,
    QHBoxLayout,
    QLabel,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)
from typing_extensions import override

from ui.desktop import theme
from ui.desktop.model.overlay import Line, Overlay
from ui.desktop.model.styles import Style
from ui.desktop.parts import label, plain_tip
from ui.desktop.plots import dress_plot

PEN: Final = 2  # width of a curve
MARKER: Final = 9
ROOMY: Final = 600  # from this width on the legend has two columns
ROOM: Final = 0.05  # beyond what has to be seen, as a share of it
HANGS: Final = 5  # px that an axis' label stands out below it
HOVER: Final = "hover"
FEW: Final = 4  # with more runs their bands are paler


def color_of(style: Style) -> str:
    """A style's colour in the scheme of now."""
    return style.on_dark if theme.palette() is theme.DARK else style.on_light


def pen_of(style: Style, width: float = PEN) -> QPen:
    """A style's pen."""
    pen: QPen = pg.mkPen(color_of(style), width=width)
    if style.dash:
        pen.setDashPattern(list(style.dash))
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
    return pen


def draw_sample(painter: QPainter, size: QSize, style: Style) -> None:
    """A piece of a run's line with its marker."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(pen_of(style))
    middle = size.height() / 2
    painter.drawLine(QPointF(0, middle), QPointF(size.width(), middle))
    painter.save()
    painter.translate(size.width() / 2, middle)
    pen, brush = pg.mkPen(color_of(style), width=1), pg.mkBrush(color_of(style))
    pg.graphicsItems.ScatterPlotItem.drawSymbol(
        painter, style.marker, min(MARKER, size.height() - 2), pen, brush
    )
    painter.restore()


class Elided(QLabel):
    """One line of text that is cut where it does not fit, whole in its tooltip."""

    def __init__(self, text: str = "", role: str = "", *, middle: bool = False) -> None:
        super().__init__()
        self._whole = ""
        modes = Qt.TextElideMode
        self._mode = modes.ElideMiddle if middle else modes.ElideRight
        self.setTextFormat(Qt.TextFormat.PlainText)
        if role:
            self.setProperty("role", role)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.tell(text)

    def tell(self, text: str) -> None:
        """Show another text."""
        self._whole = text
        self.setAccessibleName(text)
        self._cut()

    @override
    def minimumSizeHint(self) -> QSize:
        return QSize(theme.scaled(40), super().minimumSizeHint().height())

    @override
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._cut()

    def _cut(self) -> None:
        letters, room = QFontMetrics(self.font()), self.width()
        shown = letters.elidedText(self._whole, self._mode, room)
        if shown != self.text():
            self.setText(shown)
        self.setToolTip(plain_tip(self._whole) if shown != self._whole else "")


class Sample(QWidget):
    """A piece of a run's line."""

    def __init__(self, style: Style) -> None:
        super().__init__()
        self._style = style
        self.setFixedSize(theme.scaled(44), theme.scaled(16))

    @override
    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        draw_sample(painter, self.size(), self._style)
        painter.end()


class Legend(QWidget):
    """A row for each run that is drawn: its line, its label, what it is."""

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName("Legend of the plot")
        self._rows: list[QWidget] = []
        self._inside = QVBoxLayout(self)
        self._inside.setContentsMargins(0, 0, 0, 0)
        self._inside.setSpacing(theme.UNIT // 2)

    def show_lines(self, lines: tuple[Line, ...]) -> None:
        """Tell these."""
        for row in self._rows:
            self._inside.removeWidget(row)
            row.hide()  # what is to be deleted is seen until it is
            row.deleteLater()
        self._rows = [_LegendRow(line) for line in lines]
        for row in self._rows:
            self._inside.addWidget(row)


class _LegendRow(QWidget):
    """One run of the legend; where there is no room its label is all."""

    def __init__(self, line: Line) -> None:
        super().__init__()
        self._words = Elided(line.words, "small")
        inside = QHBoxLayout(self)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(theme.UNIT)
        inside.addWidget(Sample(line.style))
        inside.addWidget(Elided(line.label, middle=True), 3)
        inside.addWidget(self._words, 2)
        self.setToolTip(plain_tip(f"{line.label}\n{line.words}"))

    @override
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._words.setVisible(self.width() >= theme.scaled(ROOMY))


class OverlayPlot(QWidget):
    """The plot with its heading."""

    def __init__(self) -> None:
        super().__init__()
        self._overlay: Overlay | None = None
        self._items: list[object] = []
        self._marks: list[object] = []
        self._head = label("", "small", wraps=False)
        self._simulated = label("simulated", "small", wraps=False)
        self.plot = pg.PlotWidget()
        self.plot.setMenuEnabled(False)
        self.plot.setMouseEnabled(x=False, y=False)
        self.plot.hideButtons()
        self.plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.plot.setMinimumHeight(theme.scaled(100))
        self.plot.getPlotItem().layout.setContentsMargins(
            0, theme.UNIT, theme.UNIT, HANGS
        )
        head = QHBoxLayout()
        head.addWidget(self._head, 1)
        head.addWidget(self._simulated)
        inside = QVBoxLayout(self)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(theme.UNIT // 2)
        inside.addLayout(head)
        inside.addWidget(self.plot, 1)
        self.dress()

    @property
    def shown(self) -> Overlay | None:
        """What is drawn."""
        return self._overlay

    def dress(self) -> None:
        """Colours of the scheme."""
        dress_plot(self.plot)
        p = theme.palette()
        bottom = self.plot.getAxis("bottom")
        bottom.setHeight(theme.scaled(38))
        bottom.enableAutoSIPrefix(enable=False)
        self.plot.getAxis("left").enableAutoSIPrefix(enable=False)
        bottom.label.setFont(theme.font(12))
        bottom.labelStyle = {"color": p.muted}
        if self._overlay is not None:
            self.draw(self._overlay)

    def draw(self, overlay: Overlay) -> None:
        """Draw this instead of what was drawn."""
        self._overlay = overlay
        for item in self._items:
            self.plot.removeItem(item)
        self._items = []
        family = overlay.family
        self._head.setText(f"{family.y_axis.words.lower()}, {family.y_axis.unit}")
        self._simulated.setVisible(overlay.simulated)
        words = f"{family.x_axis.words.lower()}, {family.x_axis.unit}"
        self.plot.setLabel("bottom", words, color=theme.palette().muted)
        for line in overlay.lines:
            self._draw_band(line, len(overlay.lines))
        for line in overlay.lines:
            self._draw_line(line)
        for low, high, set_range in (
            (*overlay.x_range, self.plot.setXRange),
            (*overlay.y_range, self.plot.setYRange),
        ):
            # Room at both ends, so that no tick loses its label.
            span = high - low
            set_range(low - ROOM / 5 * span, high + ROOM * span, padding=0)
        told = "; ".join(line.label for line in overlay.lines) or "nothing"
        self.setAccessibleName(f"Plot of {family.title.lower()}: {told}")

    def mark(self, places: Sequence[tuple[float, Style]]) -> None:
        """A dashed upright line at each of these, in a run's colour, and no others.

        The first of them says what it is: they stand close together.
        """
        for item in self._marks:
            self.plot.removeItem(item)
        self._marks = []
        for x, style in places:
            pen = pg.mkPen(color_of(style), width=1.2, style=Qt.PenStyle.DashLine)
            words = "" if self._marks else HOVER
            muted = {"color": theme.palette().muted, "position": 0.94}
            line = pg.InfiniteLine(
                pos=x, angle=90, pen=pen, label=words or None, labelOpts=muted
            )
            self.plot.addItem(line, ignoreBounds=True)
            self._marks.append(line)

    def _draw_band(self, line: Line, many: int) -> None:
        if not line.x.size:
            return
        there = [QPointF(x, y) for x, y in zip(line.x, line.high, strict=True)]
        back = [QPointF(x, y) for x, y in zip(line.x, line.low, strict=True)]
        band = QGraphicsPolygonItem(QPolygonF([*there, *reversed(back)]))
        ground = theme.color(color_of(line.style))
        ground.setAlpha(48 if many <= FEW else 22)
        band.setBrush(ground)
        band.setPen(QPen(Qt.PenStyle.NoPen))
        band.setZValue(-10)
        self._add(band)

    def _draw_line(self, line: Line) -> None:
        if line.x.size:
            curve = pg.PlotCurveItem(line.x, line.y, antialias=True)
            curve.setPen(pen_of(line.style))
            self._add(curve)
        if not line.points_x.size:
            return
        color = color_of(line.style)
        self._add(
            pg.ErrorBarItem(
                x=line.points_x,
                y=line.points_y,
                width=2 * np.nan_to_num(line.points_x_u),
                height=2 * np.nan_to_num(line.points_y_u),
                pen=pg.mkPen(color, width=1),
            )
        )
        filled, hollow = pg.mkBrush(color), pg.mkBrush(theme.palette().sheet)
        self._add(
            pg.ScatterPlotItem(
                x=line.points_x,
                y=line.points_y,
                symbol=line.style.marker,
                size=MARKER,
                pen=pg.mkPen(color, width=1.2),
                brush=[filled if rises else hollow for rises in line.rising],
                antialias=True,
            )
        )

    def _add(self, item: object) -> None:
        self.plot.addItem(item, ignoreBounds=True)
        self._items.append(item)

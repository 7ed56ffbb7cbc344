"""Small parts that every room is made of: labels, rules, marks, fields."""

from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import (
    QFrame,
    QLabel,
    QLayout,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)
from typing_extensions import override

from ui.desktop import theme

GOOD: Final = "good"
ABNORMAL: Final = "abnormal"
DANGER: Final = "danger"
ACTION: Final = "action"
NEUTRAL: Final = "neutral"


def label(text: str = "", role: str = "", *, wraps: bool = True) -> QLabel:
    """Text in one of the design's roles: head, title, muted, small, wanted, danger."""
    made = QLabel(text)
    made.setTextFormat(Qt.TextFormat.PlainText)  # names come from strangers
    made.setWordWrap(wraps)
    if role:
        made.setProperty("role", role)
    if wraps:
        made.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        made.setMinimumWidth(theme.scaled(80))
    return made


def button(text: str, role: str = "", *, name: str = "") -> QPushButton:
    """A button; ``act`` for what is wanted next, ``plain`` without a frame."""
    made = QPushButton(text)
    if role:
        made.setProperty("role", role)
    made.setAccessibleName(name or text)
    made.setAutoDefault(False)
    return made


def rule(*, upright: bool = False) -> QFrame:
    """A line that divides."""
    made = QFrame()
    made.setProperty("role", "post" if upright else "rule")
    if upright:
        made.setFixedWidth(1)
    else:
        made.setFixedHeight(1)
    return made


def column(*parts: QWidget | QLayout | int, margin: int = 0) -> QVBoxLayout:
    """Parts below each other; a number is a space in units of the design."""
    made = QVBoxLayout()
    made.setContentsMargins(margin, margin, margin, margin)
    made.setSpacing(theme.UNIT)
    for part in parts:
        if isinstance(part, int):
            made.addSpacing(part * theme.UNIT)
        elif isinstance(part, QWidget):
            made.addWidget(part)
        else:
            made.addLayout(part)
    return made


def empty(layout: QLayout) -> None:
    """Take everything out of a layout, and out of those in it."""
    while (item := layout.takeAt(0)) is not None:
        widget, inner = item.widget(), item.layout()
        if widget is not None:
            widget.deleteLater()
        elif inner is not None:
            empty(inner)


class Mark(QWidget):
    """A shape that says the same as its colour.

    Attributes:
        meaning: good (circle), abnormal (triangle), danger (octagon), action
            (square), neutral (ring).
    """

    def __init__(self, meaning: str = NEUTRAL, size: int = 14) -> None:
        super().__init__()
        self.meaning = meaning
        self._size = size
        side = theme.scaled(size)
        self.setFixedSize(QSize(side, side))

    def mean(self, meaning: str) -> None:
        """Show another meaning."""
        if meaning != self.meaning:
            self.meaning = meaning
            self.update()

    @override
    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        p = theme.palette()
        filled = getattr(p, self.meaning, None)
        pen = QPen(theme.color(p.ink), 1)
        painter.setPen(pen)
        painter.setBrush(theme.color(filled) if filled else Qt.BrushStyle.NoBrush)
        side = self.width() - 2.0
        box = QRectF(1, 1, side, side)
        if self.meaning == ABNORMAL:
            self._polygon(painter, ((0.5, 0.04), (1, 0.96), (0, 0.96)), side)
        elif self.meaning == DANGER:
            cut = 0.29
            corners = (
                (cut, 0), (1 - cut, 0), (1, cut), (1, 1 - cut),
                (1 - cut, 1), (cut, 1), (0, 1 - cut), (0, cut),
            )  # fmt: skip
            self._polygon(painter, corners, side)
        elif self.meaning == ACTION:
            painter.drawRect(box)
        else:
            painter.drawEllipse(box)
        painter.end()

    @staticmethod
    def _polygon(
        painter: QPainter, corners: tuple[tuple[float, float], ...], side: float
    ) -> None:
        points = [QPointF(1 + x * side, 1 + y * side) for x, y in corners]
        painter.drawPolygon(QPolygonF(points))


def restyle(widget: QWidget, role: str) -> None:
    """Give a widget another role of the style sheet."""
    if widget.property("role") != role:
        widget.setProperty("role", role)
        widget.style().unpolish(widget)
        widget.style().polish(widget)

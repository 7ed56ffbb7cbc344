"""Small parts that every room is made of: labels, rules, marks, fields."""

from html import escape
from typing import Final

from PySide6.QtCore import QEvent, QObject, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF, QResizeEvent
from PySide6.QtWidgets import (
    QComboBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLayout,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QStyle,
    QStyleOptionComboBox,
    QStylePainter,
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
    made.setAutoDefault(True)  # enter presses it, as space does
    return made


def plain_tip(text: str) -> str:
    """A tooltip that is taken for text, whatever a stranger wrote."""
    return f"<p style='white-space:pre-wrap'>{escape(text)}</p>"


class Choice(QComboBox):
    """A list to choose from: its text is cut with an ellipsis, and it has an arrow."""

    def __init__(self, name: str, least: int = 8) -> None:
        """Begin empty.

        Args:
            name: what is chosen, for whoever cannot see where it stands.
            least: characters that fit at least.
        """
        super().__init__()
        self.setAccessibleName(name)
        self.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.setMinimumContentsLength(least)
        self.currentTextChanged.connect(lambda text: self.setToolTip(plain_tip(text)))

    @override
    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QStylePainter(self)
        option = QStyleOptionComboBox()
        self.initStyleOption(option)
        kind = QStyle.ComplexControl.CC_ComboBox
        part = QStyle.SubControl.SC_ComboBoxEditField
        room = self.style().subControlRect(kind, option, part, self)
        option.currentText = self.fontMetrics().elidedText(
            self.currentText(), Qt.TextElideMode.ElideRight, room.width() - theme.UNIT
        )
        painter.drawComplexControl(kind, option)
        if not self.isEditable():
            painter.drawControl(QStyle.ControlElement.CE_ComboBoxLabel, option)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        p, half = theme.palette(), theme.scaled(4)
        painter.setPen(QPen(theme.color(p.ink if self.isEnabled() else p.muted), 1.5))
        x, y = self.width() - theme.scaled(14), self.height() / 2
        tips = ((-half, -half / 2), (0, half / 2), (half, -half / 2))
        painter.drawPolyline([QPointF(x + dx, y + dy) for dx, dy in tips])
        painter.end()


class Upright(QScrollArea):
    """A part that scrolls up and down where it has to, and is never cut at a side."""

    def __init__(self, part: QWidget, name: str) -> None:
        """Hold a part.

        Args:
            part: what scrolls.
            name: what it is, for whoever comes by with the keyboard.
        """
        super().__init__()
        self.setWidgetResizable(True)
        self.setWidget(part)
        self.setAccessibleName(name)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)

    @override
    def minimumSizeHint(self) -> QSize:
        least = super().minimumSizeHint()
        part = self.widget()
        bar = self.verticalScrollBar().sizeHint().width() + 2 * self.frameWidth()
        wide = part.minimumSizeHint().width() + bar if part is not None else 0
        return QSize(max(least.width(), wide), least.height())

    @override
    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.LayoutRequest and watched is self.widget():
            self.updateGeometry()
        return super().eventFilter(watched, event)


class Fitted(Upright):
    """The same, as high as what it holds, or less where others need the room."""

    @override
    def sizeHint(self) -> QSize:
        hint, part = super().sizeHint(), self.widget()
        if part is None:
            return hint
        wide = self.viewport().width()
        high = part.heightForWidth(wide) if part.hasHeightForWidth() else hint.height()
        return QSize(hint.width(), high + 2 * self.frameWidth())

    @override
    def minimumSizeHint(self) -> QSize:
        least = super().minimumSizeHint()
        return QSize(least.width(), min(self.sizeHint().height(), theme.scaled(110)))

    @override
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.updateGeometry()


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


class Fault(QWidget):
    """What is not as it should be, in a sentence; nothing where all is well.

    Abnormal and no danger: red is kept for what can hurt somebody.
    """

    def __init__(self, words: str = "") -> None:
        super().__init__()
        self._words = label(words, "fault")
        inside = QHBoxLayout(self)
        inside.setContentsMargins(0, theme.UNIT // 2, 0, theme.UNIT // 2)
        inside.setSpacing(theme.UNIT)
        inside.addWidget(Mark(ABNORMAL, 18), 0, Qt.AlignmentFlag.AlignTop)
        inside.addWidget(self._words, 1)
        if not words:  # never shown before it is anywhere: it would be a window
            self.setVisible(False)

    def tell(self, words: str) -> None:
        """Say this; "" takes it away."""
        if words != self._words.text():
            self._words.setText(words)
        self.setVisible(bool(words))


def restyle(widget: QWidget, role: str) -> None:
    """Give a widget another role of the style sheet."""
    if widget.property("role") != role:
        widget.setProperty("role", role)
        widget.style().unpolish(widget)
        widget.style().polish(widget)

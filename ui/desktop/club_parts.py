"""Parts that only the Club room has: its pages' names, rungs, a key that is kept."""

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import (
    QButtonGroup,
    QCheckBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLayout,
    QLineEdit,
    QProgressBar,
    QPushButton,
    QSizePolicy,
    QWidget,
)
from typing_extensions import override

from daq.errors import GramwattError
from ui.club.signing import MOST_NAME, keep_signer
from ui.desktop import theme
from ui.desktop.flow import Flow
from ui.desktop.model.errands import WAITS
from ui.desktop.model.standing import MOST
from ui.desktop.parts import Fault, button, column, label

COMPARED = "I compared the sixteen digits with its owner, in person."


class Pages(QWidget):
    """The names of the pages of a room, in a row.

    Attributes:
        chosen: tells the page that a person wants.
    """

    chosen = Signal(int)

    def __init__(self, names: Sequence[str]) -> None:
        super().__init__()
        self.setAccessibleName("Parts of this room")
        self._group = QButtonGroup(self)
        self.buttons: list[QPushButton] = []
        for number, name in enumerate(names):
            made = QPushButton(name)
            made.setCheckable(True)
            made.setAutoDefault(True)
            made.setProperty("role", "plain")
            made.setAccessibleName(f"{name}, part {number + 1} of {len(names)}")
            self._group.addButton(made, number)
            self.buttons.append(made)
        self.setLayout(Flow(*self.buttons))
        policy = self.sizePolicy()
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self._group.idClicked.connect(self.chosen)
        self.dress()

    def dress(self) -> None:
        """Colours of the scheme."""
        p, half = theme.palette(), theme.UNIT // 2
        theme.wear(
            self,
            f"QPushButton {{ border: 2px solid transparent; background: transparent;"
            f" color: {p.muted}; font-size: {theme.scaled(16)}px;"
            f" text-decoration: none; text-align: center;"
            f" padding: {half}px {theme.UNIT + half}px; }}"
            f"QPushButton:checked {{ color: {p.ink}; border-bottom-color: {p.ink};"
            " font-weight: 600; }"
            f"QPushButton:focus {{ border: 2px solid {p.action}; }}",
        )
        bold = QFontMetrics(theme.font(16, bold=True))
        for made in self.buttons:  # as wide as when it is chosen
            wide = bold.horizontalAdvance(made.text()) + 2 * (theme.UNIT + half + 4)
            made.setMinimumWidth(wide)

    def show_page(self, number: int) -> None:
        """Mark the page that is shown."""
        self.buttons[number].setChecked(True)


class Rungs(QWidget):
    """So many of so many: what a figure rests on, by a count and not by a colour."""

    def __init__(self, filled: int, spoken: str) -> None:
        super().__init__()
        self._filled = filled
        self.setAccessibleName(spoken)
        self.setToolTip(spoken)
        self.setFixedSize(QSize(theme.scaled(36), theme.scaled(20)))

    @override
    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        p = theme.palette()
        wide, high = self.width() / MOST, float(self.height())
        for number in range(MOST):
            tall = high * (number + 1.5) / (MOST + 0.5) - 1
            box = QRectF(number * wide + 1, high - tall, wide - 4, tall - 1)
            painter.setPen(QPen(theme.color(p.ink), 1))
            filled = number < self._filled
            painter.setBrush(theme.color(p.ink) if filled else Qt.BrushStyle.NoBrush)
            painter.drawRect(box)
        painter.end()


class _Words(QLabel):
    """A sentence that is pressed as what it stands beside.

    Attributes:
        pressed: tells that it was.
    """

    pressed = Signal()

    @override
    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        self.pressed.emit()
        event.accept()


class Tick(QWidget):
    """A box to tick beside a sentence that goes on in the next line."""

    def __init__(self, words: str, *, on: bool = False) -> None:
        super().__init__()
        self.box = QCheckBox()
        self.box.setAccessibleName(words)
        self.box.setChecked(on)
        told = _Words(words)
        told.setTextFormat(Qt.TextFormat.PlainText)
        told.setWordWrap(True)
        told.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        told.pressed.connect(self._press)
        inside = QHBoxLayout(self)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(theme.UNIT)
        inside.addWidget(self.box, 0, Qt.AlignmentFlag.AlignTop)
        inside.addWidget(told, 1)

    def _press(self) -> None:
        if self.box.isEnabled():
            self.box.toggle()

    @property
    def on(self) -> bool:
        """Whether it is ticked."""
        return self.box.isChecked()


class Progress(QWidget):
    """How far something is: a bar, words, and a way to give it up.

    Attributes:
        given_up: tells that a person does not want it any more.
    """

    given_up = Signal()

    def __init__(self, what: str) -> None:
        """Hide until there is something to tell.

        Args:
            what: is given up, for whoever cannot see the bar.
        """
        super().__init__()
        self._bar = QProgressBar()
        self._bar.setTextVisible(False)
        self._bar.setAccessibleName(f"How far {what} is")
        self._words = label("", "small")
        self.cancel = button("Give it up", name=f"Give up {what}")
        self.cancel.clicked.connect(self.given_up)
        row = QHBoxLayout()
        row.setSpacing(theme.UNIT)
        row.addWidget(self._words, 1)
        row.addWidget(self.cancel)
        self.setLayout(column(self._bar, row))
        self.setVisible(False)

    def wait(self) -> None:
        """Say that it is not going on now; nothing moves then."""
        self.tell(WAITS, (0, 1))

    def tell(self, words: str, progress: tuple[int, int] | None = None) -> None:
        """Show this; "" takes it away.

        Args:
            words: what is going on.
            progress: parts that are done, and all; None lets the bar only move.
        """
        self.setVisible(bool(words))
        if not words:
            return
        if words != self._words.text():
            self._words.setText(words)
        done, of = progress if progress is not None else (0, 0)
        if self._bar.maximum() != of or self._bar.minimum() != 0:
            self._bar.setRange(0, of)
        self._bar.setValue(done)


class Form(QGridLayout):
    """Fields below each other, what each is for at its left."""

    def __init__(self, *rows: tuple[str, QWidget | QLayout]) -> None:
        super().__init__()
        self.setContentsMargins(0, 0, 0, 0)
        self.setHorizontalSpacing(2 * theme.UNIT)
        self.setVerticalSpacing(theme.UNIT)
        self.setColumnStretch(1, 1)
        for row, (words, field) in enumerate(rows):
            self.addWidget(label(words, "muted", wraps=False), row, 0)
            if isinstance(field, QWidget):
                self.addWidget(field, row, 1)
            else:
                self.addLayout(field, row, 1)


class KeepKey(QWidget):
    """Somebody's key, to be kept under their name once it was compared in person.

    Attributes:
        kept: tells that it was.
    """

    kept = Signal()

    def __init__(self, key: str = "") -> None:
        """Ask for the name.

        Args:
            key: whose it is; "" asks for the key too.
        """
        super().__init__()
        self._key = key
        self.name = QLineEdit()
        self.name.setAccessibleName("Name of the key's owner")
        self.name.setPlaceholderText("whose key it is")
        self.name.setMaxLength(MOST_NAME)
        self.typed = QLineEdit(key)
        self.typed.setAccessibleName("Their public key")
        self.typed.setPlaceholderText("their key: ed25519:…")
        if key:
            self.typed.hide()
        for wide in (self.name, self.typed):
            wide.setMinimumWidth(theme.scaled(150))
            wide.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._tick = Tick(COMPARED)
        self.compared = self._tick.box
        self.keep = button("Keep this key", name="Keep this key under that name")
        self._fault = Fault()
        inside = column(
            Flow(self.name, self.typed), self._tick, Flow(self.keep), self._fault
        )
        self.setLayout(inside)
        self.keep.clicked.connect(self._keep)
        self.compared.toggled.connect(self._show_state)
        self.name.textChanged.connect(self._show_state)
        self.typed.textChanged.connect(self._show_state)
        self._show_state()

    def _show_state(self) -> None:
        typed = bool(self.name.text().strip() and self.typed.text().strip())
        self.keep.setEnabled(typed and self.compared.isChecked())
        self._fault.tell("")

    def _keep(self) -> None:
        try:
            keep_signer(self.typed.text().strip(), self.name.text().strip())
        except GramwattError as fault:
            self._fault.tell(str(fault))
            return
        self.name.clear()
        self.compared.setChecked(False)
        if not self._key:
            self.typed.clear()
        self.kept.emit()

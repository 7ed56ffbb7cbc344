"""STOP, across the full width, always there; and the keys that mean it.

It is a stop function of a program and not dressed as an emergency stop device: a plug
to pull is. What became of it is told beside it: confirmed by the stand and how soon, or
not, and then what to do.
"""

import math

from PySide6.QtCore import QCoreApplication, QEvent, QObject, Qt, QTimer
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)
from shiboken6 import isValid
from typing_extensions import override

from ui.desktop import theme
from ui.desktop.model.desk import Desk
from ui.desktop.parts import ABNORMAL, DANGER, GOOD, NEUTRAL, Mark, label

STOP_KEYS = (Qt.Key.Key_Space, Qt.Key.Key_Escape)
REPEAT_MS = 30  # so long it takes at most until a repeat shows that it is one
SAME_MS = 5  # a repeated key is let go and pressed at one moment
HAMMERED_S = 1.0  # so long after a stop its keys still press nothing else


class StopBar(QWidget):
    """The bar."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self.button = QPushButton("STOP")
        self.button.setAccessibleName("Stop the motor")
        self.button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.button.setAutoDefault(True)  # enter presses it too
        self.button.setSizePolicy(
            QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding
        )
        # On the way down already: nobody waits for a finger to leave the button.
        self.button.pressed.connect(desk.stop)
        self._mark = Mark(NEUTRAL, 14)
        self._answer = label("", wraps=False)
        told = QHBoxLayout()
        told.setContentsMargins(2 * theme.UNIT, theme.UNIT // 2, 2 * theme.UNIT, 0)
        told.setSpacing(theme.UNIT)
        told.addWidget(self._mark)
        told.addWidget(self._answer, 1)
        inside = QVBoxLayout(self)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(theme.UNIT // 2)
        inside.addLayout(told)
        inside.addWidget(self.button, 1)
        self.setFixedHeight(max(92, theme.scaled(72)))
        self._dressed = ""
        self.dress()

    def dress(self) -> None:
        """Colours of the scheme: red where there is something to stop."""
        p, live = theme.palette(), self._desk.keys_stop
        ground, ink = (p.danger, p.on_danger) if live else (p.sheet, p.ink)
        sheet = (
            f"QPushButton {{ background: {ground}; color: {ink};"
            f" border: 2px solid {p.danger}; font-size: {theme.scaled(30)}px;"
            " font-weight: 700; letter-spacing: 4px; }"
            f"QPushButton:focus {{ border: 4px solid {p.ink}; }}"
        )
        if sheet != self._dressed:
            self._dressed = sheet
            self.button.setStyleSheet(sheet)

    def show_desk(self) -> None:
        """Show whether keys mean it, and what became of the last one."""
        self.dress()
        keys = "STOP   space or escape" if self._desk.keys_stop else "STOP"
        if self.button.text() != keys:
            self.button.setText(keys)
        meaning, words = self._words()
        self._mark.mean(meaning)
        self._mark.setVisible(meaning != NEUTRAL)
        self._answer.setText(words)

    def _words(self) -> tuple[str, str]:
        spinning = self._desk.spinning
        if spinning is None or spinning.stop_answer is None:
            return NEUTRAL, (
                "Stops by program. Keep a plug to pull or a hard-wired stop within "
                "reach."
            )
        answer = spinning.stop_answer
        if not math.isnan(answer.took_s):
            who = "Seen at rest" if spinning.unprotected else "Confirmed by the stand"
            return GOOD, f"{who} {answer.took_s * 1e3:.0f} ms after you asked."
        if answer.failed:
            return DANGER, "NOT CONFIRMED: cut the power before you go near."
        return ABNORMAL, "Asked to stop; waiting for the stand's word."


class StopKeys(QObject):
    """Space and escape mean STOP while the motor may turn, wherever the focus is.

    An event filter of the whole application: a shortcut does not fire inside a text
    field or a dialog, which is where somebody's hands may be. Who hammers the key goes
    on a moment after the motor stopped: that presses nothing else either.
    """

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._down: set[int] = set()
        self._stopped_s = -math.inf
        self._let: tuple[QObject, QKeyEvent] | None = None
        self._passing = False
        self._wait = QTimer(self)
        self._wait.setSingleShot(True)
        self._wait.setInterval(REPEAT_MS)
        self._wait.timeout.connect(self._pass_on)

    @override
    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        kinds = (
            QEvent.Type.KeyPress,
            QEvent.Type.ShortcutOverride,
            QEvent.Type.KeyRelease,
        )
        if event.type() not in kinds or not isinstance(event, QKeyEvent):
            return False
        if event.key() not in STOP_KEYS:
            return False
        if event.type() == QEvent.Type.KeyRelease and not event.isAutoRepeat():
            return self._let_go(watched, event)
        now_s = self._desk.now_s
        if not self._desk.keys_stop and now_s - self._stopped_s > HAMMERED_S:
            return False
        if event.type() == QEvent.Type.KeyPress and not self._repeats(event):
            self._down.add(event.key())
            self._stopped_s = now_s
            if self._desk.keys_stop:
                self._desk.stop()
        event.accept()
        return True

    def _let_go(self, watched: QObject, event: QKeyEvent) -> bool:
        """A key that went down before it meant STOP may hold a button: that ends.

        A held key that repeats may be told as let go and pressed again at the same
        moment: which of the two it is, is known a moment later.
        """
        if self._passing:
            return False
        if event.key() in self._down:
            self._down.discard(event.key())
        elif self._desk.keys_stop:
            self._let = (watched, QKeyEvent(event))
            self._wait.start()
        else:
            return False
        event.accept()
        return True

    def _repeats(self, event: QKeyEvent) -> bool:
        """Whether a press is a held key's, by its mark or by its moment."""
        if event.isAutoRepeat():
            return True
        if self._let is None or self._let[1].key() != event.key():
            return False
        at_once = event.timestamp() - self._let[1].timestamp() < SAME_MS
        if at_once:
            self._let = None
            self._wait.stop()
        return at_once

    def _pass_on(self) -> None:
        """It was let go indeed: whoever had it is told."""
        let, self._let = self._let, None
        if let is None or not isValid(let[0]):
            return
        self._passing = True
        try:
            QCoreApplication.sendEvent(*let)
        finally:
            self._passing = False

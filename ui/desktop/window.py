"""The window: rooms on a rail, the strip above, STOP below, one timer for all of it.

Beats come from this timer: a window that hangs falls silent, and the motor stops.
Nothing here is modal while something may turn.
"""

from typing import Final

from PySide6.QtCore import QEvent, QTimer, Signal
from PySide6.QtGui import (
    QCloseEvent,
    QGuiApplication,
    QKeySequence,
    QResizeEvent,
    QShortcut,
)
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QHBoxLayout,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)
from typing_extensions import override

from ui.desktop import theme
from ui.desktop.bench import BenchRoom
from ui.desktop.club import ClubRoom
from ui.desktop.curves import CurvesRoom
from ui.desktop.model.desk import Desk
from ui.desktop.model.memory import Memory
from ui.desktop.scale import ScaleRoom
from ui.desktop.spin import SpinRoom
from ui.desktop.stopbar import StopBar, StopKeys
from ui.desktop.strip import Strip

STEP_MS: Final = 20
SHOW_EVERY: Final = 5  # steps: ten times a second
DRAW_EVERY: Final = 2  # steps: twenty-five redraws a second
ROOMS: Final = ("Bench", "Scale", "Spin", "Curves", "Club")
SMALLEST: Final = (1024, 700)


class Rail(QWidget):
    """The names of the rooms.

    Attributes:
        chosen: tells the room that a person wants.
    """

    chosen = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName("Rooms")
        self._group = QButtonGroup(self)
        inside = QVBoxLayout(self)
        inside.setContentsMargins(0, 2 * theme.UNIT, 0, 2 * theme.UNIT)
        inside.setSpacing(theme.UNIT // 2)
        for number, name in enumerate(ROOMS):
            made = QPushButton(name)
            made.setCheckable(True)
            made.setAutoDefault(True)
            made.setProperty("role", "plain")
            made.setAccessibleName(f"{name}, room {number + 1} of {len(ROOMS)}")
            made.setToolTip(f"Alt+{number + 1}")
            self._group.addButton(made, number)
            inside.addWidget(made)
        inside.addStretch(1)
        self._group.idClicked.connect(self.chosen)
        self.setFixedWidth(theme.scaled(112))
        self.dress()

    def dress(self) -> None:
        """Colours of the scheme."""
        p = theme.palette()
        self.setStyleSheet(
            f"QPushButton {{ border: 0; border-left: 4px solid transparent;"
            f" background: transparent; text-align: left; color: {p.muted};"
            f" font-size: {theme.scaled(17)}px; text-decoration: none;"
            f" padding: {theme.UNIT + 2}px"
            f" {2 * theme.UNIT}px; }}"
            f"QPushButton:checked {{ color: {p.ink}; border-left-color: {p.ink};"
            " font-weight: 600; }"
            f"QPushButton:focus {{ border: 2px solid {p.action};"
            f" border-left: 4px solid {p.action}; }}"
        )

    def show_room(self, number: int) -> None:
        """Mark the room that is shown."""
        found = self._group.button(number)
        if found is not None:
            found.setChecked(True)


class Window(QWidget):
    """The whole of it.

    Attributes:
        desk: what it is about.
        bench: the Bench.
        scale: where channels are calibrated.
        spin: where a spin is prepared and followed.
        curves: the library of runs.
        club: runs shared with others.
        bar: STOP.
    """

    def __init__(self, desk: Desk, memory: Memory) -> None:
        super().__init__()
        self.desk = desk
        self._memory = memory
        self._count = 0
        self._led = False
        self._stage: tuple[object, object] = (None, None)
        self.setWindowTitle("gramwatt")
        self.strip = Strip()
        self.bar = StopBar(desk)
        self.rail = Rail()
        self.bench = BenchRoom(desk, memory)
        self.scale = ScaleRoom(desk, memory)
        self.spin = SpinRoom(desk, memory)
        self.curves = CurvesRoom(memory)
        self.club = ClubRoom(desk, memory)
        self.stack = QStackedWidget()
        for room in (self.bench, self.scale, self.spin, self.curves, self.club):
            self.stack.addWidget(room)
        middle = QHBoxLayout()
        middle.setContentsMargins(0, 0, 0, 0)
        middle.setSpacing(0)
        middle.addWidget(self.rail)
        middle.addWidget(self.stack, 1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(0)
        whole.addWidget(self.strip)
        from ui.desktop.parts import rule

        whole.addWidget(rule())
        whole.addLayout(middle, 1)
        whole.addWidget(self.bar)
        self.rail.chosen.connect(self.go_to)
        self.spin.wants_bench.connect(lambda: self.go_to(0))
        self.spin.wants_curves.connect(self._to_curves)
        for number in range(len(ROOMS)):
            keys = QShortcut(QKeySequence(f"Alt+{number + 1}"), self)
            keys.activated.connect(lambda n=number: self.go_to(n))
        self.setMinimumSize(*SMALLEST)
        self._keys = StopKeys(desk)
        app = QApplication.instance()
        if app is not None:
            app.installEventFilter(self._keys)
        self._restore()
        hints = QGuiApplication.styleHints()
        hints.colorSchemeChanged.connect(self.dress)
        self._timer = QTimer(self)
        self._timer.timeout.connect(self._step)
        self._timer.start(STEP_MS)

    # ------------------------------------------------------------------ rooms

    def go_to(self, number: int) -> None:
        """Show a room."""
        self.stack.setCurrentIndex(number)
        self.rail.show_room(number)
        self._memory.set("room", number)
        self.stack.setFocus()
        if number == ROOMS.index("Curves"):
            self.curves.refresh()
        elif number == ROOMS.index("Club"):
            self.club.refresh()

    def _to_curves(self, folder: str) -> None:
        self.go_to(ROOMS.index("Curves"))
        self.curves.choose(folder)

    # ------------------------------------------------------------------ time

    def _step(self) -> None:
        self.desk.step()
        self.scale.step()
        self._count += 1
        self._follow_simulation()
        spinning = self.desk.spinning
        stage = (spinning, spinning.stage if spinning else None)
        if stage != self._stage or self._count % SHOW_EVERY == 0:
            self._stage = stage  # what changes what a person may do is shown at once
            self.show_desk()
        if self._count % DRAW_EVERY == 0:
            self._draw()

    def _follow_simulation(self) -> None:
        """A simulation that has just been started is there to be spun."""
        chosen = self.desk.chosen
        own = chosen is not None and chosen.own and self.desk.heard.stand is not None
        if own and not self._led:
            self.go_to(ROOMS.index("Spin"))
            self.spin.panel.leads = True
        self._led = own or (self._led and chosen is not None)

    def show_desk(self) -> None:
        """Show what is known now, everywhere that can be seen."""
        self.strip.show_desk(self.desk)
        self.bar.show_desk()
        shown = self.stack.currentWidget()
        if shown is self.bench:
            self.bench.show_desk()
        elif shown is self.scale:
            self.scale.show_desk()
        elif shown is self.club:
            self.club.show_desk()
        self.spin.show_desk()

    def _draw(self) -> None:
        shown = self.stack.currentWidget()
        if shown is self.bench:
            self.bench.draw()
        elif shown is self.spin:
            self.spin.draw()

    # ------------------------------------------------------------------ the window

    def _restore(self) -> None:
        width = self._memory.whole("width", 1280)
        height = self._memory.whole("height", 800)
        self.resize(max(width, SMALLEST[0]), max(height, SMALLEST[1]))
        room = self._memory.whole("room", 0)
        self.go_to(room if 0 <= room < len(ROOMS) else 0)
        if self.stack.currentWidget() is self.bench:
            self.bench.begin()

    def dress(self) -> None:
        """Colours of the scheme that the system has now."""
        p = theme.palette()
        app = QApplication.instance()
        if isinstance(app, QApplication):
            app.setPalette(theme.qt_palette(p))
            theme.wear(app, theme.style(p))
        self.rail.dress()
        self.bar.dress()
        self.bench.dress()
        self.spin.dress()
        self.curves.dress()
        self.club.dress()

    @override
    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() == QEvent.Type.ThemeChange:
            self.dress()

    @override
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.strip.grow(self.width(), self.height())
        if not (self.isMaximized() or self.isFullScreen()):
            self._memory.set("width", self.width())
            self._memory.set("height", self.height())

    @override
    def closeEvent(self, event: QCloseEvent) -> None:
        self._timer.stop()
        app = QApplication.instance()
        if app is not None:
            app.removeEventFilter(self._keys)
        self.curves.close_jobs()
        self.club.close_jobs()
        self.spin.close_jobs()
        self.scale.leave()
        self.desk.close()
        self._memory.save()
        event.accept()

"""The window without a stand: rooms, keys, empty states, names, sizes."""

import sys
import threading
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QDialog,
    QLabel,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)
from pytestqt.qtbot import QtBot
from typing_extensions import override

from daq.machine_clock import MachineClock
from ui.desktop import theme
from ui.desktop.app import made_application, open_window
from ui.desktop.model.desk import Desk
from ui.desktop.model.memory import Memory
from ui.desktop.model.spinning import StopAnswer
from ui.desktop.stopbar import StopBar, StopKeys
from ui.desktop.window import ROOMS, SMALLEST, Window


@pytest.fixture
def window(qtbot: QtBot) -> Iterator[Window]:
    made_application()
    made = open_window()
    qtbot.addWidget(made)
    made.show()
    yield made
    made.close()
    theme.use()


class Stoppable(Desk):
    """A desk at which something may turn, and that counts its stops."""

    def __init__(self, *, live: bool) -> None:
        super().__init__(MachineClock())
        self.live = live
        self.stops = 0

    @property
    @override
    def keys_stop(self) -> bool:
        return self.live

    @override
    def stop(self) -> None:
        self.stops += 1


def test_a_void_call_gives_none_back(qtbot: QtBot) -> None:
    """Some releases of Qt's binding lose a reference to None with every void call."""
    if sys.version_info >= (3, 12):
        pytest.skip("None is immortal here")
    widget = QWidget()
    qtbot.addWidget(widget)
    before = sys.getrefcount(None)
    for _ in range(400):
        widget.update()
    assert sys.getrefcount(None) > before - 100


def test_every_room_is_reached_by_keyboard(window: Window, qtbot: QtBot) -> None:
    for number in range(len(ROOMS)):
        key = Qt.Key(Qt.Key.Key_1 + number)
        QTest.keyClick(window, key, Qt.KeyboardModifier.AltModifier)
        qtbot.waitUntil(partial(is_shown, window, number))


def is_shown(window: Window, number: int) -> bool:
    return window.stack.currentIndex() == number


def test_the_empty_states_say_what_to_do_next(window: Window) -> None:
    window.go_to(0)
    window.show_desk()
    assert window.bench.simulate.isVisible()
    assert "No hardware is needed" in texts(window.bench)
    window.go_to(2)
    window.show_desk()
    assert "There is no stand yet" in texts(window.spin)
    assert window.spin.panel.go.text() == "Choose a stand"
    window.spin.panel.go.click()
    assert window.stack.currentIndex() == 0
    window.go_to(1)
    assert "not calibrated" in texts(window)
    window.go_to(4)
    assert "gramwatt report" in texts(window)


def texts(part: QWidget) -> str:
    shown = [x.text() for x in part.findChildren(QLabel) if x.isVisible()]
    return " ".join(shown)


def test_everything_that_takes_the_focus_has_a_name(window: Window) -> None:
    for number in range(len(ROOMS)):
        window.go_to(number)
        for part in window.findChildren(QWidget):
            if not part.isVisible() or part.focusPolicy() == Qt.FocusPolicy.NoFocus:
                continue
            if isinstance(part, QAbstractButton):
                assert part.accessibleName() or part.text(), part
            elif isinstance(part, QComboBox | QLineEdit):
                inside = part.parent()
                named = part.accessibleName() or (
                    isinstance(inside, QComboBox) and inside.accessibleName()
                )
                assert named, part


@pytest.mark.parametrize("size", [SMALLEST, (1280, 800), (2560, 1440), (3840, 2160)])
def test_nothing_is_wider_than_the_window(
    window: Window, size: tuple[int, int], qtbot: QtBot
) -> None:
    window.resize(*size)
    for number in range(len(ROOMS)):
        window.go_to(number)
        window.show_desk()
        QApplication.processEvents()
        assert window.width() == size[0]
        assert window.bar.button.width() == size[0]
        room = window.stack.currentWidget()
        assert room is not None
        assert room.width() <= size[0]


def test_a_larger_window_has_larger_figures(window: Window) -> None:
    window.resize(*SMALLEST)
    QApplication.processEvents()
    small = window.strip._gauges["thrust"]._figure.styleSheet()
    window.resize(2560, 1440)
    QApplication.processEvents()
    assert window.strip._gauges["thrust"]._figure.styleSheet() != small


def test_light_and_dark_dress_everything(window: Window) -> None:
    for scheme, ground in (("dark", theme.DARK.paper), ("light", theme.LIGHT.paper)):
        theme.use(scheme)
        window.dress()
        QApplication.processEvents()
        grab = window.grab().toImage()
        assert grab.pixelColor(300, window.height() // 2).name() == ground


def test_its_size_and_room_are_remembered(qtbot: QtBot, tmp_path: Path) -> None:
    made_application()
    first = open_window(Memory(tmp_path))
    qtbot.addWidget(first)
    first.show()
    first.resize(1400, 900)
    first.go_to(3)
    QApplication.processEvents()
    first.close()
    second = open_window(Memory(tmp_path))
    qtbot.addWidget(second)
    assert (second.width(), second.height()) == (1400, 900)
    assert second.stack.currentIndex() == 3
    second.close()


def test_a_closed_window_leaves_no_thread_and_no_timer(
    qtbot: QtBot, tmp_path: Path
) -> None:
    made_application()
    before = set(threading.enumerate())
    made = open_window(Memory(tmp_path))
    qtbot.addWidget(made)
    made.show()
    made.go_to(3)
    qtbot.wait(300)
    made.close()
    qtbot.waitUntil(lambda: set(threading.enumerate()) <= before, timeout=5000)
    assert not made._timer.isActive()


# --------------------------------------------------------------- stop


@pytest.fixture
def app() -> QApplication:
    return made_application()


def pressed(desk: Stoppable, app: QApplication, part: QWidget, key: Qt.Key) -> None:
    keys = StopKeys(desk)
    app.installEventFilter(keys)
    try:
        QTest.keyClick(part, key)
    finally:
        app.removeEventFilter(keys)


@pytest.mark.parametrize("key", [Qt.Key.Key_Space, Qt.Key.Key_Escape])
def test_in_a_text_field_the_keys_stop_and_type_nothing(
    qtbot: QtBot, app: QApplication, key: Qt.Key
) -> None:
    desk, line = Stoppable(live=True), QLineEdit("abc")
    qtbot.addWidget(line)
    line.show()
    pressed(desk, app, line, key)
    assert desk.stops == 1
    assert line.text() == "abc"


@pytest.mark.parametrize("key", [Qt.Key.Key_Space, Qt.Key.Key_Escape])
def test_inside_a_dialog_the_keys_stop_and_close_nothing(
    qtbot: QtBot, app: QApplication, key: Qt.Key
) -> None:
    desk, dialog = Stoppable(live=True), QDialog()
    line = QLineEdit()
    QVBoxLayout(dialog).addWidget(line)
    qtbot.addWidget(dialog)
    dialog.show()
    pressed(desk, app, line, key)
    assert desk.stops == 1
    assert dialog.isVisible()


def test_while_nothing_may_turn_the_keys_mean_what_they_usually_do(
    qtbot: QtBot, app: QApplication
) -> None:
    desk, line = Stoppable(live=False), QLineEdit("abc")
    qtbot.addWidget(line)
    line.show()
    pressed(desk, app, line, Qt.Key.Key_Space)
    assert desk.stops == 0
    assert line.text() == "abc "


def test_other_keys_are_never_taken(qtbot: QtBot, app: QApplication) -> None:
    desk, line = Stoppable(live=True), QLineEdit()
    qtbot.addWidget(line)
    line.show()
    pressed(desk, app, line, Qt.Key.Key_A)
    assert desk.stops == 0
    assert line.text() == "a"


def test_the_bar_stops_when_it_is_pressed_not_when_it_is_let_go(qtbot: QtBot) -> None:
    desk = Stoppable(live=False)
    bar = StopBar(desk)
    qtbot.addWidget(bar)
    bar.show()
    QTest.mousePress(bar.button, Qt.MouseButton.LeftButton)
    assert desk.stops == 1


@pytest.mark.parametrize(
    ("answer", "wanted"),
    [
        (StopAnswer(10.0), "waiting for the stand's word"),
        (StopAnswer(10.0, took_s=0.0071), "Confirmed by the stand 7 ms after"),
        (StopAnswer(10.0, failed=True), "NOT CONFIRMED: cut the power"),
    ],
)
def test_what_became_of_a_stop_is_told(
    qtbot: QtBot, answer: StopAnswer, wanted: str
) -> None:
    class Spun:
        stop_answer = answer
        unprotected = False
        over = True

    desk = Stoppable(live=False)
    desk.spinning = Spun()  # type: ignore[assignment]
    bar = StopBar(desk)
    qtbot.addWidget(bar)
    bar.show_desk()
    assert wanted in bar._answer.text()

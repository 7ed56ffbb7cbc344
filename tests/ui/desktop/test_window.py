"""The window without a stand: rooms, keys, empty states, names, sizes."""

import sys
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest
from PySide6.QtCore import QEvent, QPoint, Qt
from PySide6.QtGui import QFont
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractScrollArea,
    QApplication,
    QComboBox,
    QDialog,
    QGraphicsView,
    QLabel,
    QLineEdit,
    QMenu,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)
from pytestqt.qtbot import QtBot
from typing_extensions import override

from daq.machine_clock import MachineClock
from ui.desktop import theme
from ui.desktop.app import made_application, open_window
from ui.desktop.model.desk import STATES, WATCHED_LINES, Desk
from ui.desktop.model.memory import Memory
from ui.desktop.model.spinning import StopAnswer
from ui.desktop.stopbar import HAMMERED_S, StopBar, StopKeys
from ui.desktop.window import ROOMS, SMALLEST, Window


@pytest.fixture
def window(qapp: QApplication) -> Iterator[Window]:
    made_application()
    made = open_window()
    made.show()
    yield made
    gone(made)
    theme.use()


def gone(made: Window) -> None:
    """Close a window, and have nothing of it be dressed again with the next one."""
    made.close()
    made.deleteLater()
    QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


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
    window.show_desk()
    assert "Connect one on the Bench" in texts(window.scale)
    assert not window.scale.start.isEnabled()
    assert "Masses go up and down" in texts(window.scale)
    window.scale.scaling.fault = "of thrust"
    window.scale.channel.setCurrentText("voltage")
    window.show_desk()
    assert "type what the meter reads" in texts(window.scale)
    assert "of thrust" not in texts(window.scale)
    window.go_to(4)
    assert "Tick the runs that are to be packed" in texts(window.club)


def texts(part: QWidget) -> str:
    shown = [x.text() for x in part.findChildren(QLabel) if x.isVisible()]
    return " ".join(shown)


def test_everything_that_takes_the_focus_has_a_name(window: Window) -> None:
    """Shown or not: a control that appears later has its name already."""
    kinds = (QAbstractButton, QAbstractScrollArea, QComboBox, QLineEdit)
    for part in window.findChildren(QWidget):
        if part.focusPolicy() == Qt.FocusPolicy.NoFocus or not isinstance(part, kinds):
            continue
        if of_qts_own(part):
            continue
        inside = part.parent()
        of_a_list = isinstance(inside, QComboBox) and inside.accessibleName()
        text = part.text() if isinstance(part, QAbstractButton) else ""
        assert part.accessibleName() or text or of_a_list, part


def of_qts_own(part: QWidget) -> bool:
    """Whether it is inside a list that drops down, or a menu that never opens."""
    around = part.parentWidget()
    while around is not None:
        if isinstance(around, QMenu | QAbstractItemView | QGraphicsView):
            return True
        if around.metaObject().className() == "QComboBoxPrivateContainer":
            return True
        around = around.parentWidget()
    return False


def test_the_first_start_begins_at_a_simulated_stand(
    window: Window, qtbot: QtBot
) -> None:
    window.activateWindow()
    qtbot.waitUntil(window.bench.simulate.hasFocus)


def test_the_last_port_is_offered_again(qtbot: QtBot, tmp_path: Path) -> None:
    made_application()
    first = open_window(Memory(tmp_path))
    qtbot.addWidget(first)
    first.bench.port.setEditText("/dev/not-there")
    first.bench.baud.setText("250000")
    first.bench.open.click()
    first.close()
    second = open_window(Memory(tmp_path))
    qtbot.addWidget(second)
    second.show()
    assert second.bench.port.currentText() == "/dev/not-there"
    assert second.bench.baud.text() == "250000"
    second.activateWindow()
    qtbot.waitUntil(second.bench.open.hasFocus)
    second.close()


def test_enter_presses_a_button_as_space_does(window: Window) -> None:
    window.go_to(2)
    window.show_desk()
    QTest.keyClick(window.spin.panel.go, Qt.Key.Key_Return)
    assert window.stack.currentIndex() == 0  # there is no stand to prove yet


@pytest.fixture
def letters() -> Iterator[Callable[[float], None]]:
    """Sets the system's letters to a share of what is usual."""
    app = made_application()
    usual = app.font()

    def enlarge(share: float) -> None:
        font = QFont(usual)
        font.setPixelSize(round(12 * share))
        app.setFont(font)
        made_application()

    yield enlarge
    app.setFont(usual)
    made_application()


@pytest.mark.parametrize("share", [1.0, pytest.param(1.5, marks=pytest.mark.slow)])
def test_larger_letters_stay_inside_the_smallest_window(
    letters: Callable[[float], None], share: float, qtbot: QtBot
) -> None:
    letters(share)
    made = open_window()
    qtbot.addWidget(made)
    made.show()
    made.resize(*SMALLEST)
    try:
        for number in range(len(ROOMS)):
            made.go_to(number)
            made.show_desk()
            QApplication.processEvents()
            assert (made.width(), made.height()) == SMALLEST
            stick_out = [part for part in shown_in(made) if sticks_out(made, part)]
            assert stick_out == []
    finally:
        made.close()


def shown_in(made: Window) -> list[QWidget]:
    """What a person reads or presses, that does not scroll."""
    kinds = (QAbstractButton, QLabel, QLineEdit, QComboBox)
    found = [x for x in made.findChildren(QWidget) if isinstance(x, kinds)]
    return [x for x in found if x.isVisible()]


def sticks_out(made: Window, part: QWidget) -> bool:
    """Whether it is cut at a side: by the window, or by what it scrolls in."""
    left = part.mapTo(made, QPoint(0, 0)).x()
    around = part.parentWidget()
    while around is not None and not isinstance(around, QScrollArea):
        around = around.parentWidget()
    frame = around if around is not None else made
    begin = frame.mapTo(made, QPoint(0, 0)).x() if frame is not made else 0
    return left < begin or left + part.width() > begin + frame.width()


def test_the_strip_keeps_its_height_whatever_it_says(window: Window) -> None:
    window.resize(*SMALLEST)
    QApplication.processEvents()
    strip, heights = window.strip, set()
    for told in (*STATES.values(), WATCHED_LINES):
        strip._word.setText(told.word)
        strip._sentence.setText(told.sentence)
        strip._simulated.setVisible(True)
        strip._clock.setText("59 min 59 s")
        strip._of.setText("of 59 min 59 s, over")
        QApplication.processEvents()
        heights.add(strip.height())
        for part in (strip._word, strip._clock, strip._of, strip._simulated):
            assert part.width() >= part.sizeHint().width(), part.text()
        wanted = strip._sentence.heightForWidth(strip._sentence.width())
        assert strip._sentence.height() >= wanted, told.sentence
    assert len(heights) == 1


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


def test_a_hammered_key_presses_nothing_when_all_is_over(
    qtbot: QtBot, app: QApplication
) -> None:
    desk, line = Stoppable(live=True), QLineEdit("abc")
    qtbot.addWidget(line)
    line.show()
    keys = StopKeys(desk)
    app.installEventFilter(keys)
    try:
        QTest.keyClick(line, Qt.Key.Key_Space)
        desk.live = False  # it stopped, and the hand goes on
        QTest.keyClick(line, Qt.Key.Key_Space)
        assert (desk.stops, line.text()) == (1, "abc")
        qtbot.wait(round(1e3 * HAMMERED_S) + 50)
        QTest.keyClick(line, Qt.Key.Key_Space)
    finally:
        app.removeEventFilter(keys)
    assert (desk.stops, line.text()) == (1, "abc ")


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

"""The Spin room's panels over a spin in virtual time: steps, arming, hold, end."""

import pytest
from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QCheckBox, QLabel, QWidget
from pytestqt.qtbot import QtBot

from daq.machine_clock import MachineClock
from tests.lined import DESCRIPTION, spin_on_lines
from tests.ui.desktop.model.test_spinning import Bench, faulty
from ui.desktop.app import made_application
from ui.desktop.model.desk import Desk
from ui.desktop.model.spinning import Stage
from ui.desktop.parts import column
from ui.desktop.spin_end import EndPanel
from ui.desktop.spin_steps import StepsPanel
from ui.desktop.stopbar import REPEAT_MS, StopKeys
from ui.desktop.walk import Walk


def said(part: QWidget) -> str:
    shown = [x.text() for x in part.findChildren(QLabel) if x.isVisibleTo(part)]
    return " ".join(shown)


class Room:
    """A panel over a bench, shown as often as the bench lives."""

    def __init__(self, qtbot: QtBot, bench: Bench) -> None:
        made_application()
        self.bench = bench
        self.desk = Desk(MachineClock())
        self.desk.spinning = bench.model
        self.panel = StepsPanel(self.desk)
        self.holder = QWidget()
        self.holder.setLayout(column(self.panel, self.panel.foot))
        qtbot.addWidget(self.holder)
        self.panel.begin(bench.model)
        self.holder.show()
        self.panel.show_spin(bench.model)

    def until(self, stage: Stage) -> None:
        self.bench.until(stage)
        self.panel.show_spin(self.bench.model)
        QApplication.processEvents()  # what is laid out is shown

    def live(self, seconds: float) -> None:
        self.bench.live(seconds)
        self.panel.show_spin(self.bench.model)


@pytest.fixture
def lines(qtbot: QtBot) -> Room:
    return Room(qtbot, Bench(spin_on_lines(DESCRIPTION), own=False))


def answered(room: Room) -> None:
    for box in room.panel._check_box.findChildren(QCheckBox):
        box.setChecked(True)
    room.panel._words.setText("my hand is on the plug")
    room.panel.show_spin(room.bench.model)


def test_nothing_can_be_armed_before_the_checklist_is_answered(lines: Room) -> None:
    lines.until(Stage.READY)
    assert "Ready. The checklist is left." in said(lines.panel)
    assert not lines.panel.unlock.isEnabled()
    assert not lines.panel.go.isEnabled()
    answered(lines)
    assert lines.panel.unlock.isEnabled()
    assert not lines.panel.go.isEnabled()


def test_the_second_step_is_there_after_the_first_and_goes_again(lines: Room) -> None:
    lines.until(Stage.READY)
    answered(lines)
    lines.panel.unlock.click()
    assert lines.panel.go.isEnabled()
    lines.panel._lock_again()  # nobody took it
    lines.panel.show_spin(lines.bench.model)
    assert not lines.panel.go.isEnabled()
    lines.panel.unlock.click()
    lines.panel.go.click()
    lines.until(Stage.RUNNING)
    lines.live(3.0)
    assert "left" in said(lines.panel)


def test_held_to_spin_letting_go_stops(lines: Room) -> None:
    lines.until(Stage.READY)
    answered(lines)
    lines.panel.hold.setChecked(True)
    lines.panel.unlock.click()
    QTest.mousePress(lines.panel.go, Qt.MouseButton.LeftButton)
    lines.until(Stage.RUNNING)
    lines.live(2.0)
    assert lines.bench.model.stop_answer is None
    QTest.mouseRelease(lines.panel.go, Qt.MouseButton.LeftButton)
    lines.live(6.0)
    outcome = lines.bench.model.outcome
    assert outcome is not None
    assert outcome["ended"] == "stopped"
    assert "let go" in str(outcome["cause"])


def test_held_by_the_space_bar_letting_go_stops(lines: Room, qtbot: QtBot) -> None:
    """By then the space bar means STOP: that must not swallow its being let go."""
    lines.until(Stage.READY)
    answered(lines)
    lines.panel.hold.setChecked(True)
    lines.panel.unlock.click()
    app, keys = made_application(), StopKeys(lines.desk)
    app.installEventFilter(keys)
    try:
        QTest.keyPress(lines.panel.go, Qt.Key.Key_Space)
        lines.until(Stage.RUNNING)
        lines.live(2.0)
        assert lines.desk.keys_stop
        assert lines.bench.model.stop_answer is None
        repeated(lines.panel.go, 1000)
        qtbot.wait(2 * REPEAT_MS)
        lines.live(1.0)
        assert lines.bench.model.stop_answer is None  # it is held still
        QTest.keyRelease(lines.panel.go, Qt.Key.Key_Space)
        qtbot.wait(2 * REPEAT_MS)
        lines.live(6.0)
    finally:
        app.removeEventFilter(keys)
    outcome = lines.bench.model.outcome
    assert outcome is not None
    assert "let go" in str(outcome["cause"])


def repeated(part: QWidget, at_ms: int) -> None:
    """A held key as some systems tell it: let go and pressed at one moment."""
    for kind in (QEvent.Type.KeyRelease, QEvent.Type.KeyPress):
        key, none = Qt.Key.Key_Space, Qt.KeyboardModifier.NoModifier
        event = QKeyEvent(kind, key, none, " ")
        event.setTimestamp(at_ms)
        QApplication.sendEvent(part, event)


def test_the_focus_goes_to_what_is_next_but_not_to_what_turns_a_motor(
    lines: Room, qtbot: QtBot
) -> None:
    lines.holder.activateWindow()
    lines.until(Stage.READY)
    first = lines.panel._check_box.findChildren(QCheckBox)[0]
    qtbot.waitUntil(first.hasFocus)
    answered(lines)
    assert not lines.panel.unlock.hasFocus()
    assert not lines.panel.go.hasFocus()


def test_in_our_own_simulation_the_next_step_has_the_focus(qtbot: QtBot) -> None:
    room = Room(qtbot, Bench(faulty(), own=True))
    room.holder.activateWindow()
    room.until(Stage.READY)
    qtbot.waitUntil(room.panel.go.hasFocus)


def test_guards_appear_as_they_are_seen_to_act(qtbot: QtBot) -> None:
    room = Room(qtbot, Bench(faulty(), own=True))
    room.holder.resize(600, 700)
    room.until(Stage.READY)
    room.panel.go.click()
    room.until(Stage.RUNNING)
    words = said(room.panel)
    assert "damaged frames" in words
    assert "pulse seen gone" in words
    assert "lease, motor running" in words


def test_the_end_says_what_acted_and_what_clears_it(qtbot: QtBot) -> None:
    room = Room(qtbot, Bench(faulty(), own=True))
    room.until(Stage.READY)
    room.panel.go.click()
    room.until(Stage.RUNNING)
    room.bench.spin.cable = False
    room.live(6.0)
    end = EndPanel()
    qtbot.addWidget(end)
    end.show_end(room.bench.model, None, expected=True)
    words = said(end)
    assert "Tripped" in words
    assert "CUT THE POWER" in words
    assert "Clears when" in words
    assert "Working the findings out" in words
    end.show_end(room.bench.model, ["Thrust was 3 gf."], expected=True)
    assert "Thrust was 3 gf." in said(end)
    assert end.page.isEnabled()


def test_the_walk_shades_plateaus_as_they_are_walked(qtbot: QtBot) -> None:
    room = Room(qtbot, Bench(faulty(), own=True))
    walk = Walk()
    qtbot.addWidget(walk)
    model = room.bench.model
    walk.show_plan(model.order.plan, None)
    room.until(Stage.READY)
    room.panel.go.click()
    room.until(Stage.RUNNING)
    walk.draw(model)
    assert walk.panes["thrust"].bands == []
    room.live(5.0)
    walk.draw(model)
    assert len(walk.panes["thrust"].bands) == 1
    x, y = walk.panes["current"].measured.getData()
    assert x.max() == pytest.approx(5.0, abs=0.3)
    assert y.max() > 0.3

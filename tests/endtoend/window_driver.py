"""Runs the real window and does to it what it is told, line by line.

Only what a hand would do with a mouse is done from inside; keys come from the X server.
Each line on standard input is a JSON list, a name and its arguments; each gets one line
of JSON back.
"""

import json
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from queue import Empty, SimpleQueue

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import (
    QApplication,
    QDialog,
    QFileDialog,
    QLabel,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from ui.desktop.app import made_application, open_window
from ui.desktop.window import Window


class Driver:
    """What can be done."""

    def __init__(self, window: Window) -> None:
        self.window = window
        self.dialog: QDialog | None = None
        self.line: QLineEdit | None = None
        self.orders: SimpleQueue[list[object]] = SimpleQueue()

    def listen(self) -> None:
        for line in sys.stdin:
            self.orders.put(json.loads(line))
        self.orders.put(["close"])

    def step(self) -> None:
        try:
            name, *arguments = self.orders.get_nowait()
        except Empty:
            return
        act: Callable[..., object] = getattr(self, str(name))
        answer = act(*arguments)
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()

    # ----------------------------------------------------------- hands

    def connect(self, port: str, baud: int) -> None:
        bench = self.window.bench
        bench.port.setEditText(port)
        bench.baud.setText(str(baud))
        bench.open.click()

    def simulate(self) -> None:
        self.window.bench.simulate.click()

    def room(self, number: int) -> None:
        self.window.go_to(number)

    def runs(self, folder: str) -> None:
        self.window.spin._memory.set("runs", folder)

    def protocol(self, path: str) -> None:
        setup = self.window.spin.setup
        setup.protocol = path
        setup.work_out()
        self.window.spin.panel.renew()
        self.window.spin._plan_changed()

    def begin(self) -> bool:
        return clicked(self.window.spin.panel.go)

    def check(self) -> None:
        from PySide6.QtWidgets import QCheckBox

        for box in self.window.spin.steps._check_box.findChildren(QCheckBox):
            box.setChecked(True)

    def unlock(self) -> bool:
        return clicked(self.window.spin.steps.unlock)

    def go(self) -> bool:
        return clicked(self.window.spin.steps.go)

    def hold_to_spin(self) -> None:
        self.window.spin.steps.hold.setChecked(True)

    def press_stop(self) -> None:
        self.window.bar.button.pressed.emit()

    def focus(self, name: str) -> bool:
        """Go to a control by its name, as tabulating there would; whether it is so."""
        found = [
            part
            for part in self.window.findChildren(QWidget)
            if part.accessibleName() == name and part.isVisible() and part.isEnabled()
        ]
        if len(found) == 1:
            found[0].setFocus()
        return len(found) == 1 and found[0].hasFocus()

    def open_dialog(self) -> None:
        self.dialog = QDialog(self.window)
        self.line = QLineEdit("a note")
        QVBoxLayout(self.dialog).addWidget(self.line)
        self.dialog.show()
        self.dialog.activateWindow()
        self.line.setFocus()

    def focus_field(self) -> None:
        self.window.go_to(2)
        self.line = QLineEdit("typing", self.window)
        self.line.move(200, 300)
        self.line.show()
        self.line.setFocus()

    def hang(self, seconds: float) -> None:
        QTimer.singleShot(0, lambda: time.sleep(seconds))

    def saturate(self) -> None:
        """Redraw without a pause from now on."""
        timer = QTimer(self.window)
        timer.timeout.connect(self.window.grab)
        timer.start(0)

    def block(self, seconds: float, every_s: float) -> None:
        """Hold the window's loop for a while, again and again."""
        timer = QTimer(self.window)
        timer.timeout.connect(lambda: time.sleep(seconds))
        timer.start(round(1e3 * every_s))

    def close(self) -> None:
        self.window.close()

    # ----------------------------------------------------------- eyes

    def see(self) -> dict[str, object]:
        desk, spinning = self.window.desk, self.window.desk.spinning
        shown = self.window.findChildren(QLabel)
        drawn = self.window.curves.shown.plot.shown
        focused = QApplication.focusWidget()
        return {
            "stage": spinning.stage.name if spinning else "",
            "over": bool(spinning and spinning.over),
            "keys_stop": desk.keys_stop,
            "stand": desk.heard.stand is not None,
            "state": desk.state_words().word,
            "took_s": spinning.stop_answer.took_s
            if spinning and spinning.stop_answer
            else None,
            "danger": spinning.danger if spinning else "",
            "folder": str(spinning.folder) if spinning else "",
            "line": self.line.text() if self.line else "",
            "dialog": bool(self.dialog and self.dialog.isVisible()),
            "busy": desk.busy,
            "drawn": len(drawn.lines) if drawn is not None else 0,
            "ticked": len(self.window.curves._ticks),
            "curves_busy": self.window.curves.busy,
            "asks": any(x.isVisible() for x in self.window.findChildren(QFileDialog)),
            "has_focus": focused.accessibleName() if focused is not None else "",
            "trouble": desk.trouble.sentence if desk.trouble else "",
            "texts": [x.text() for x in shown if x.isVisible()],
        }

    def window_id(self) -> int:
        asked = [x for x in self.window.findChildren(QFileDialog) if x.isVisible()]
        target: QWidget = asked[0] if asked else self.window
        if self.dialog is not None and self.dialog.isVisible():
            target = self.dialog
        return int(target.winId())

    def picture(self, path: str) -> None:
        self.window.grab().save(str(Path(path)))


def clicked(button: QPushButton) -> bool:
    """Click what can be clicked; whether it could."""
    can = button.isEnabled() and button.isVisible()
    if can:
        button.click()
    return can


def main() -> int:
    app = made_application()
    window = open_window()
    window.show()
    driver = Driver(window)
    threading.Thread(target=driver.listen, daemon=True).start()
    timer = QTimer()
    timer.timeout.connect(driver.step)
    timer.start(10)
    return app.exec()


if __name__ == "__main__":
    sys.exit(main())

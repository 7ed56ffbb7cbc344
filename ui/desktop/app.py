"""Start the window: application, colours, memory, desk; and end all of it in order."""

import signal
import sys

import pyqtgraph as pg
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication

from daq.machine_clock import MachineClock
from ui.desktop import theme
from ui.desktop.model.desk import Desk
from ui.desktop.model.memory import Memory
from ui.desktop.window import Window


def made_application() -> QApplication:
    """The application, made once, dressed in the system's scheme."""
    existing = QApplication.instance()
    app = existing if isinstance(existing, QApplication) else QApplication(sys.argv[:1])
    app.setApplicationName("gramwatt")
    if app.style().objectName() != "fusion":
        app.setStyle("Fusion")
    pg.setConfigOptions(antialias=False, useOpenGL=False)
    p = theme.palette()
    app.setPalette(theme.qt_palette(p))
    theme.wear(app, theme.style(p))
    return app


def open_window(memory: Memory | None = None) -> Window:
    """The window over a desk of its own, not shown yet."""
    return Window(Desk(MachineClock()), memory or Memory())


def run() -> int:
    """Show the window until it is closed; the exit status."""
    app = made_application()
    window = open_window()
    window.show()
    # Ctrl-C in the terminal it was started from closes it, in order.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: QTimer.singleShot(0, window.close))
    awake = QTimer()
    awake.timeout.connect(lambda: None)  # lets Python see the signal
    awake.start(200)
    return app.exec()

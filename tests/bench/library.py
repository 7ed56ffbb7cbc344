"""The library of runs: 1,000 of them listed, 20 drawn, and the window meanwhile.

The runs are the sample run's descriptor and findings, copied; the disk is warm. What
matters beside speed is the beat of the window: how late its timer was while folders
were read beside it.
"""

import json
import os
import shutil
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from tests.ui.desktop.run_folders import sampled
from ui.desktop.model.library import Library, filtered, ordered
from ui.desktop.model.overlay import overlay
from ui.desktop.model.styles import Slots
from ui.desktop.model.traces import FAMILIES, Traces

if TYPE_CHECKING:
    from PySide6.QtWidgets import QApplication

    from ui.desktop.curves import CurvesRoom

RUNS = 1000
DRAWN = 20
BEAT_S = 0.02


class Beat:
    """How late a timer was at the worst."""

    def __init__(self) -> None:
        self.begin()

    def begin(self) -> None:
        """Forget what was."""
        self._late_s, self._last_s = 0.0, time.perf_counter()

    def take(self) -> None:
        """The timer fired."""
        now_s = time.perf_counter()
        self._late_s = max(self._late_s, now_s - self._last_s - BEAT_S)
        self._last_s = now_s

    def words(self) -> str:
        """The worst of it."""
        return f"{self._late_s * 1e3:7.1f} ms"


def measure(quick: bool) -> Iterable[tuple[str, str]]:
    """Figures, each with what it is."""
    runs = 100 if quick else RUNS
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _fill(folder, runs)
        yield from _models(folder, runs)
        yield from _window(folder, runs)


def _fill(folder: Path, runs: int) -> None:
    first = sampled(folder, "run-0000")
    for parquet in (first / "derived" / "nominal").glob("*.parquet"):
        parquet.unlink()
    log = (first / "wire.log").read_bytes()[:20_000]  # never read but for its head
    (first / "wire.log").write_bytes(log)
    content = json.loads((first / "datapackage.json").read_text(encoding="utf-8"))
    for number in range(1, runs):
        run = folder / f"run-{number:04d}"
        shutil.copytree(first, run)
        utc = f"2026-05-{1 + number % 28:02d}T{number % 24:02d}:00:00+00:00"
        content["gramwatt"]["header"]["utc"] = utc
        (run / "datapackage.json").write_text(json.dumps(content), encoding="utf-8")


def _models(folder: Path, runs: int) -> Iterable[tuple[str, str]]:
    library = Library((folder,))
    begin = time.perf_counter()
    library = library.looked_again()
    yield f"library of {runs} runs, first look", _ms(begin)
    begin = time.perf_counter()
    library = library.looked_again()
    yield f"library of {runs} runs, looked at again", _ms(begin)
    begin = time.perf_counter()
    found = ordered(filtered(library.rows, "motor short completed"), "thrust")
    yield f"filter by three words and sort {len(found)} runs", _ms(begin)
    traces, slots = Traces(), Slots()
    begin = time.perf_counter()
    drawn = [traces.get(row) for row in library.rows[:DRAWN]]
    overlay(drawn, FAMILIES[0], slots)
    yield f"overlay of {DRAWN} runs, read and laid out", _ms(begin)
    begin = time.perf_counter()
    overlay(drawn, FAMILIES[1], slots)
    yield f"overlay of {DRAWN} runs, another family", _ms(begin)


def _window(folder: Path, runs: int) -> Iterable[tuple[str, str]]:
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from PySide6.QtCore import QTimer

    from ui.desktop.app import made_application
    from ui.desktop.curves import CurvesRoom
    from ui.desktop.model.memory import Memory

    app = made_application()
    memory = Memory(folder / "memory")
    memory.set("runs", str(folder))
    room = CurvesRoom(memory)
    room.resize(1280, 720)
    beat = Beat()
    timer = QTimer()
    timer.timeout.connect(beat.take)
    timer.start(round(BEAT_S * 1000))
    begin = time.perf_counter()
    room.show()
    _settle(app, room)
    yield f"room with {runs} runs, opened and drawn", _ms(begin)
    yield (
        "longest that the window's beat waited meanwhile",
        beat.words(),
    )
    for row in room.library.rows[:DRAWN]:
        room.tick(row.folder)
    beat.begin()
    begin = time.perf_counter()
    _settle(app, room)
    room.grab()
    yield f"{DRAWN} runs ticked, fetched and painted", _ms(begin)
    yield (
        "longest that the window's beat waited meanwhile",
        beat.words(),
    )
    begin = time.perf_counter()
    room.shown.family.setCurrentIndex(4)
    room.grab()
    yield f"another family of {DRAWN} runs, painted", _ms(begin)
    timer.stop()
    room.close_jobs()
    room.close()


def _settle(app: "QApplication", room: "CurvesRoom") -> None:
    """Let the window live until nothing goes on in the background."""
    while room.busy:
        app.processEvents()
        time.sleep(0.001)


def _ms(begin: float) -> str:
    return f"{(time.perf_counter() - begin) * 1e3:7.1f} ms"

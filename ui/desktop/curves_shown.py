"""The right of the Curves room: the plot, its legend, what the chosen run says.

Says what has to be done where there is nothing to see yet. What leaves the room, a
picture, a table, a page in the browser, leaves from here.
"""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import Qt, QTimer, QUrl, Signal
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import (
    QFileDialog,
    QHBoxLayout,
    QProgressBar,
    QScrollArea,
    QWidget,
)

from daq.errors import GramwattError, InputFault
from daq.fresh_file import write_fresh
from ui.desktop import theme
from ui.desktop.asking import asking, asking_name
from ui.desktop.curves_compare import ComparePanel
from ui.desktop.curves_detail import Sentences, said_of
from ui.desktop.curves_picture import save_picture
from ui.desktop.curves_plot import Legend, OverlayPlot
from ui.desktop.flow import Flow
from ui.desktop.model.held import Held, Mark, Told
from ui.desktop.model.making import Making
from ui.desktop.model.overlay import overlay, short_labels, table
from ui.desktop.model.rows import GONE, Row
from ui.desktop.model.styles import Slots, Style
from ui.desktop.model.traces import FAMILIES, Trace
from ui.desktop.parts import Choice, button, column, label
from ui.report.charts import THROTTLE, THRUST

NO_CURVES: Final = "Curves of your runs appear here."
NOT_CHOSEN: Final = (
    "Choose a run on the left. Space keeps it in the plot beside others."
)
NOT_MADE: Final = "Nothing is worked out from this run yet."
STALE: Final = "What is here was worked out from another record: do it again."


def open_outside(path: Path) -> bool:
    """Show a file or folder with what the system has for it; whether it has any."""
    return QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))


class ShownSide(QWidget):
    """The plot and what goes with it.

    Attributes:
        redrawn: tells that the plot changed, and with it the styles of runs.
        styles: how the runs that are drawn are drawn.
    """

    redrawn = Signal()

    def __init__(self) -> None:
        super().__init__()
        self._slots = Slots()
        self._drawn: Sequence[Trace] = ()
        self._marks: Sequence[Mark] = ()
        self._row: Row | None = None
        self._is_empty, self._looked = True, False
        self.styles: Mapping[Path, Style] = {}
        self._build()
        self.family.currentIndexChanged.connect(lambda _: self._draw())
        self.picture.clicked.connect(self._ask_picture)
        self.table.clicked.connect(self._ask_table)
        self.show_folder.clicked.connect(self._open_folder)
        self.tell("")

    def _build(self) -> None:
        self.family = Choice("What is drawn against what", 24)
        self.family.addItems([family.title for family in FAMILIES])
        self.untick = button("Untick all", name="Keep only the chosen run in the plot")
        self.plot, self.legend = OverlayPlot(), Legend()
        self._remarks, self._said = Sentences(), Sentences()
        self.held = ComparePanel()
        words = QWidget()
        inside = column(self.legend, self.held, self._remarks, self._said)
        inside.setContentsMargins(0, 0, theme.UNIT, 0)
        inside.addStretch(1)
        words.setLayout(inside)
        self._scroll = QScrollArea()
        self._scroll.setWidget(words)
        self._scroll.setWidgetResizable(True)
        self._scroll.setAccessibleName("Legend, and what the run says")
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._filler = QWidget()
        self._empty = label("", "head")
        self._why = label("", "muted")
        self.make = button("Work it out", "act")
        self._progress = QProgressBar()
        self._progress.setTextVisible(False)
        self._progress.setAccessibleName("How many runs are worked out")
        self.cancel = button("Give it up", name="Give up working out")
        self._busy = label("", "small")
        self._told = label("", "muted")
        self.page = button("Report", name="Report of this run in the browser")
        self.picture = button("Picture …", name="Save the plot as a picture")
        self.table = button("Table …", name="Save what is drawn as a table")
        self.show_folder = button("Folder", name="Show this run's folder")
        head, busy = Flow(self.family, self.untick), QHBoxLayout()
        foot = Flow(self.page, self.picture, self.table, self.show_folder)
        busy.addWidget(self._busy, 2)
        busy.addWidget(self._progress, 1)
        busy.addWidget(self.cancel)
        parts = column(head, self._empty, self._why)
        parts.setContentsMargins(2 * theme.UNIT, theme.UNIT, 2 * theme.UNIT, theme.UNIT)
        parts.addWidget(self.make, 0, Qt.AlignmentFlag.AlignLeft)
        parts.addWidget(self.plot, 5)
        parts.addWidget(self._scroll, 4)
        parts.addWidget(self._filler, 1)
        parts.addLayout(busy)
        parts.addWidget(self._told)
        parts.addLayout(foot)
        self.setLayout(parts)

    def dress(self) -> None:
        """Colours of the scheme."""
        self.plot.dress()
        self.legend.update()

    # ------------------------------------------------------------------ what is shown

    def show_traces(self, drawn: Sequence[Trace]) -> None:
        """Draw these."""
        self._drawn = drawn
        self._draw()

    def show_held(self, held: Held, folders: Sequence[Path]) -> None:
        """Tell what was compared, where it can be seen."""
        self.held.show_held(held, folders)
        bar = self._scroll.verticalScrollBar()
        QTimer.singleShot(0, lambda: bar.setValue(self.held.y()))

    def show_marks(self, found: tuple[tuple[Mark, ...], Told]) -> None:
        """Show where the runs would hover."""
        self._marks, told = found
        self.held.tell_hover(told)
        self._draw_marks()

    def _draw_marks(self) -> None:
        """A line where each run would hover, where x is throttle or thrust."""
        axis = FAMILIES[self.family.currentIndex()].x_axis
        places = {}
        for mark in self._marks:
            if axis is THROTTLE:
                places[mark.folder] = mark.throttle_percent
            elif axis is THRUST:
                places[mark.folder] = mark.thrust_gf
        self.plot.mark(
            [(x, self.styles[f]) for f, x in places.items() if f in self.styles]
        )

    def show_row(self, row: Row | None, *, is_empty: bool, looked: bool) -> None:
        """Tell of this run.

        Args:
            row: the chosen one.
            is_empty: there are no runs at all.
            looked: the folders were looked at, so that this is known.
        """
        self._row, self._is_empty, self._looked = row, is_empty, looked
        self._tell_chosen()

    def _draw(self) -> None:
        shown = overlay(self._drawn, FAMILIES[self.family.currentIndex()], self._slots)
        self.held.show_folders([line.folder for line in shown.lines])
        if self.held.held is None:
            self._marks = ()
        self.plot.draw(shown)
        self.legend.show_lines(shown.lines)
        self.styles = {line.folder: line.style for line in shown.lines}
        self._draw_marks()
        self._remarks.tell((" ".join(shown.remarks), "muted"))
        there = bool(shown.lines)
        self.plot.setVisible(there)
        self.picture.setEnabled(there)
        self.table.setEnabled(there)
        self._tell_chosen()
        self.redrawn.emit()

    def _tell_chosen(self) -> None:
        """What the chosen run says, or what has to be done before it says anything."""
        row = self._row
        trace = next(
            (t for t in self._drawn if row and t.row.folder == row.folder), None
        )
        head, why = _lacking(row, trace, is_empty=self._is_empty)
        self._empty.setText(head)
        self._empty.setVisible(bool(head) and self._looked)
        self._why.setText(why)
        self._why.setVisible(bool(why) and self._looked)
        told: list[tuple[str, str]] = []
        if trace is not None and trace.row.derived is not None:
            told = said_of(trace, short_labels([trace.row])[0])
        self._said.tell(*told)
        has_words = any(trace.row.derived for trace in self._drawn)
        self._scroll.setVisible(has_words)
        self._filler.setVisible(not has_words)
        self.page.setEnabled(row is not None and row.readable)
        self.show_folder.setEnabled(row is not None and row.ended != GONE)
        self.family.setEnabled(bool(self._drawn))

    def lacking(self) -> list[Path]:
        """The runs here from which nothing is worked out, or not from this record."""
        return [trace.row.folder for trace in self._drawn if trace.needs_making]

    def show_making(self, making: Making, *, ticked: bool) -> None:
        """Show how far the working out is, or offer it."""
        for part in (self._progress, self.cancel, self._busy):
            part.setVisible(making.busy)
        self._busy.setText(making.words)
        # One run has no parts that could be counted: the bar only moves.
        self._progress.setRange(0, making.asked if making.asked > 1 else 0)
        self._progress.setValue(len(making.done) + len(making.faults))
        many = len(self.lacking())
        self.make.setText("Work it out" if many < 2 else f"Work out {many} runs")
        self.make.setAccessibleName(self.make.text())
        self.make.setVisible(bool(many) and not making.busy)
        self.untick.setVisible(ticked)

    def tell(self, words: str) -> None:
        """Say something in place; "" takes it away."""
        self._told.setText(words)
        self._told.setVisible(bool(words))

    # ------------------------------------------------------------------ out of here

    def _open_folder(self) -> None:
        row = self._row
        if row is not None:
            self.open(row.folder)

    def open(self, path: Path) -> None:
        """Show a file or folder with what the system has for it."""
        if open_outside(path):
            self.tell("")
        else:
            self.tell(f"Nothing here opens it by itself; it is {path}.")

    def save_picture(self, path: Path) -> None:
        """Write the plot, with its legend, as PNG or SVG."""
        plot = self.plot
        self._write(lambda: save_picture(plot.plot, plot.shown, path), path)

    def save_table(self, path: Path) -> None:
        """Write what is drawn as a table (CSV)."""
        self._write(lambda: write_fresh(path, self._csv(path)), path)

    def _csv(self, path: Path) -> bytes:
        rows = table(self._drawn, FAMILIES[self.family.currentIndex()])
        if path.suffix.lower() != ".csv":
            raise InputFault(f"{path.name}: a table's name ends in .csv.")
        if not rows:
            raise InputFault("Nothing is drawn, so there is no table of it.")
        text = io.StringIO()
        writer = csv.DictWriter(text, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
        return text.getvalue().encode("utf-8", "backslashreplace")

    def _write(self, work: Callable[[], None], path: Path) -> None:
        try:
            work()
        except GramwattError as fault:
            self.tell(str(fault))
        else:
            self.tell(f"Written: {path}")

    # ------------------------------------------------------------------ dialogs

    def ask_folder(self, start: Path, then: Callable[[str], None]) -> None:
        """Have a person name a folder of runs."""
        dialog = asking(self, "Folder of runs", QFileDialog.FileMode.Directory)
        dialog.fileSelected.connect(then)
        dialog.setDirectory(str(start))
        dialog.show()

    def _ask_picture(self) -> None:
        self._ask_name("png", "Pictures (*.png *.svg)", self.save_picture)

    def _ask_table(self) -> None:
        self._ask_name("csv", "Tables (*.csv)", self.save_table)

    def _ask_name(self, ending: str, kinds: str, then: Callable[[Path], None]) -> None:
        name = Path(f"{FAMILIES[self.family.currentIndex()].key}.{ending}")
        dialog = asking_name(self, "Save as", kinds, name)
        dialog.fileSelected.connect(lambda name: then(Path(name)))
        dialog.show()


def _lacking(
    row: Row | None, trace: Trace | None, *, is_empty: bool
) -> tuple[str, str]:
    """Why there is nothing to see of the chosen run, and more of it."""
    if is_empty:
        return NO_CURVES, ""
    if row is None:
        return NOT_CHOSEN, ""
    if not row.readable:
        return row.meaning, str(row.folder)
    if row.derived is None:
        return NOT_MADE, row.meaning
    if trace is not None and trace.stale:
        return STALE, ""
    return "", ""

"""The left of the Curves room: folders, a filter, the table of runs, the chosen one.

Shows what the library holds; which folders are asked and which run is chosen is told to
the room. Nothing here reads a folder.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from PySide6.QtCore import QModelIndex, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QLineEdit,
    QSizePolicy,
    QStackedWidget,
    QWidget,
)
from typing_extensions import override

from ui.desktop import theme
from ui.desktop.curves_detail import RunPanel
from ui.desktop.curves_table import STAYS, RunsModel, RunsView
from ui.desktop.flow import Flow
from ui.desktop.model.library import Library, filtered, ordered
from ui.desktop.model.memory import Memory
from ui.desktop.model.places import (
    absolute,
    folders_chosen,
    known_folders,
    own_runs,
    short_path,
)
from ui.desktop.model.rows import Row
from ui.desktop.model.styles import Style
from ui.desktop.parts import Choice, Fitted, button, column, label
from ui.report.words import counted

ALL: Final = "All of these folders"
ROOMY: Final = 420  # width in px from which on there is room for a title
NO_RUNS: Final = "No runs here yet. Spin one, or choose another folder."
NO_MATCH: Final = "No run has all of these words. Take one out, or show all runs."


class LibrarySide(QWidget):
    """Folders, filter, table and the chosen run.

    Attributes:
        chosen: tells that another run was chosen, or that it changed.
        elsewhere: tells that other folders are to be shown.
        asked: tells that a person wants to name a folder.
        current: the chosen run; None for none.
    """

    chosen = Signal()
    elsewhere = Signal()
    asked = Signal()

    def __init__(self, memory: Memory) -> None:
        super().__init__()
        self._memory = memory
        self._library = Library(())
        self._sorting = ("date", True)
        self.looked = False
        self.current: Path | None = None
        self._build()
        self._list_folders()
        self._connect()

    def _build(self) -> None:
        self.folders = Choice("Folder whose runs are shown")
        self.add = button("Other folder …", name="Choose another folder of runs")
        self.forget = button("Forget", "plain", name="Forget this folder")
        self.forget.setToolTip("Takes it off this list; nothing in it is touched.")
        self.filter = QLineEdit()
        self.filter.setAccessibleName("Words that a run must have")
        self.filter.setPlaceholderText("find: article, protocol, tag, note, outcome")
        self.filter.setClearButtonEnabled(True)
        self._count = label("", "small", wraps=False)
        self.look = button("Look again", name="Look at the folders again")
        self.runs = RunsModel()
        self.view = RunsView(self.runs)
        self._hint = label("", "head")
        self.all = button("Show all runs", "act")
        self.other = button("Choose another folder", "act")
        empty = column(self._hint, self.all, self.other, margin=theme.UNIT)
        empty.setAlignment(self.all, Qt.AlignmentFlag.AlignLeft)
        empty.setAlignment(self.other, Qt.AlignmentFlag.AlignLeft)
        empty.addStretch(1)
        holder = QWidget()
        holder.setLayout(empty)
        self._tables = QStackedWidget()
        self._tables.addWidget(self.view)
        self._tables.addWidget(holder)
        self.panel = RunPanel()
        self._chosen = Fitted(self.panel, "The chosen run")
        self._title = label("Curves", "title", wraps=False)
        self.filter.setMinimumWidth(theme.scaled(110))
        for wide in (self.folders, self.filter):
            wide.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        first = Flow(self._title, self.folders, self.add, self.forget)
        second = Flow(self.filter, self._count, self.look)
        self._trouble = label("", "muted")
        inside = column(first, second, self._trouble)
        inside.setContentsMargins(
            2 * theme.UNIT, theme.UNIT, 2 * theme.UNIT, theme.UNIT
        )
        inside.addWidget(self._tables, 1)
        inside.addWidget(self._chosen)
        self.setLayout(inside)

    @override
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._title.setVisible(self.width() >= theme.scaled(ROOMY))

    def _connect(self) -> None:
        self.folders.activated.connect(lambda _: self._choose_folder())
        self.add.clicked.connect(self.asked)
        self.other.clicked.connect(self.asked)
        self.forget.clicked.connect(self._forget_folder)
        self.filter.textChanged.connect(lambda _: self._show_rows())
        self.all.clicked.connect(self.filter.clear)
        self.look.clicked.connect(self.elsewhere)
        self.runs.sorting.connect(self._sort)
        self.view.selectionModel().currentRowChanged.connect(self._choose_row)

    def dress(self) -> None:
        """Colours of the scheme."""
        self.runs.dress()
        self.view.dress()

    # ------------------------------------------------------------------ folders

    def _list_folders(self) -> None:
        chosen = self._memory.text("library")
        self.folders.clear()
        for name in map(str, known_folders(self._memory)):
            self.folders.addItem(short_path(name), name)
            self.folders.setItemData(
                self.folders.count() - 1, name, Qt.ItemDataRole.ToolTipRole
            )
        if self.folders.count() > 1:
            self.folders.addItem(ALL, "")
        self.folders.setCurrentIndex(max(self.folders.findData(chosen), 0))
        self._tell_folder()

    def chosen_folders(self) -> list[Path]:
        """Where runs are to be looked for."""
        return folders_chosen(self._memory, self.folders.currentData())

    def _tell_folder(self) -> None:
        chosen = str(self.folders.currentData() or "")
        self.folders.setToolTip(chosen or ALL)
        own = str(own_runs(self._memory))
        self.forget.setVisible(bool(chosen) and chosen != own)

    def _choose_folder(self) -> None:
        self._memory.set("library", str(self.folders.currentData() or ""))
        self._tell_folder()
        self.elsewhere.emit()

    def show_place_of(self, run: Path) -> None:
        """Make sure that a run's folder is among those that are shown."""
        places = known_folders(self._memory)
        if run.parent not in places and run not in places:
            self._memory.push("libraries", str(run.parent))
            self._list_folders()
        shown = self.chosen_folders()
        if run.parent not in shown and run not in shown:
            place = self.folders.findData(str(run.parent))
            self.folders.setCurrentIndex(max(place, 0))
            self._tell_folder()
        self.filter.clear()

    def add_folder(self, name: str) -> None:
        """Show the runs of another folder, and remember it."""
        path = str(absolute(name))
        self._memory.push("libraries", path)
        self._memory.set("library", path)
        self._list_folders()
        self.elsewhere.emit()

    def _forget_folder(self) -> None:
        chosen = str(self.folders.currentData() or "")
        others = [n for n in self._memory.texts("libraries") if n != chosen]
        self._memory.set("libraries", others)
        self._memory.set("library", "")
        self._list_folders()
        self.elsewhere.emit()

    # ------------------------------------------------------------------ rows

    def show_library(self, library: Library) -> None:
        """Show what a look at the folders brought."""
        self._library, self.looked = library, True
        self._trouble.setText(" ".join(library.troubles))
        self._trouble.setVisible(bool(library.troubles))
        self._show_rows()

    def show_ticks(self, ticks: Iterable[Path], styles: Mapping[Path, Style]) -> None:
        """Show what is kept in the plot, and how what is drawn is drawn."""
        self.runs.tick(frozenset(ticks), styles)

    @property
    def row(self) -> Row | None:
        """The chosen run as it was last seen."""
        return None if self.current is None else self._library.row_of(self.current)

    def _show_rows(self) -> None:
        """Filter, sort and show the rows; the chosen run stays chosen."""
        rows = filtered(self._library.rows, self.filter.text())
        column_name, descending = self._sorting
        rows = ordered(rows, column_name, descending=descending)
        chosen = self.current
        self.runs.show(rows)
        everything = len(self._library.rows)
        self._count.setText(
            counted(everything, "run")
            if len(rows) == everything
            else f"{len(rows)} of {counted(everything, 'run')}"
        )
        self._count.setVisible(bool(everything))
        self._tables.setCurrentIndex(0 if rows else 1)
        self._hint.setText(NO_MATCH if everything else NO_RUNS)
        self._hint.setVisible(self.looked)
        self.all.setVisible(self.looked and bool(everything))
        self.other.setVisible(self.looked and not everything)
        place = self.runs.place(chosen)
        if place < 0 and rows and self._library.row_of(chosen or Path()) is None:
            place = 0
        if place >= 0:
            self.view.setCurrentIndex(self.runs.index(place, STAYS))
            self.view.scrollTo(self.runs.index(place, STAYS))
        else:
            self._tell_chosen()

    def _sort(self, key: str, descending: bool) -> None:
        self._sorting = (key, descending)
        self._show_rows()

    def _choose_row(self, now: QModelIndex, _: QModelIndex) -> None:
        row = self.runs.row(now.row())
        if row is None:
            return  # the table is being filled
        self.current = row.folder
        self._tell_chosen()

    def _tell_chosen(self) -> None:
        self.panel.show_row(self.row)
        self.chosen.emit()

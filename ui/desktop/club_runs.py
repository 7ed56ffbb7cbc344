"""The runs that may be packed: those that the Curves room shows, with a tick for each.

Nothing here reads a folder; what was read is shown.
"""

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QModelIndex, Qt, Signal
from PySide6.QtWidgets import QLineEdit, QSizePolicy, QStackedWidget, QWidget

from ui.desktop import theme
from ui.desktop.curves_table import STAYS, RunsModel, RunsView
from ui.desktop.flow import Flow
from ui.desktop.model.library import Library, filtered, ordered
from ui.desktop.model.memory import Memory
from ui.desktop.model.packs import may_pack, why_not
from ui.desktop.model.places import folders_chosen, known_folders, short_path
from ui.desktop.model.rows import Row
from ui.desktop.model.ticking import Ticking
from ui.desktop.parts import Choice, button, column, label
from ui.report.words import counted

PACKED = Ticking(
    heading="pack",
    does="takes it along",
    tip="Take it along (space).",
    on="goes along",
    off="stays here",
    may=may_pack,
    figures=False,
)
ALL = "All of these folders"
NO_RUNS = "No runs here yet. Spin one, or choose another folder in the Curves room."
NO_MATCH = "No run has all of these words. Take one out, or show all runs."


class RunsToPack(QWidget):
    """Folder, filter and table.

    Attributes:
        elsewhere: tells that other folders are to be shown.
        changed: tells that other runs are ticked.
    """

    elsewhere = Signal()
    changed = Signal()

    def __init__(self, memory: Memory) -> None:
        super().__init__()
        self._memory = memory
        self._library = Library(())
        self._sorting = ("date", True)
        self._ticks: dict[Path, None] = {}
        self.folders = Choice("Folder whose runs are shown")
        self.filter = QLineEdit()
        self.filter.setAccessibleName("Words that a run must have")
        self.filter.setPlaceholderText("find: article, protocol, tag, note, outcome")
        self.filter.setClearButtonEnabled(True)
        self.filter.setMinimumWidth(theme.scaled(110))
        for wide in (self.folders, self.filter):
            wide.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._count = label("", "small", wraps=False)
        self.untick = button("Untick all", "plain", name="Take no run along")
        self.runs = RunsModel(PACKED)
        self.view = RunsView(self.runs)
        self._hint = label("", "head")
        self.all = button("Show all runs", "act")
        empty = column(self._hint, self.all, margin=theme.UNIT)
        empty.setAlignment(self.all, Qt.AlignmentFlag.AlignLeft)
        empty.addStretch(1)
        holder = QWidget()
        holder.setLayout(empty)
        self._tables = QStackedWidget()
        self._tables.addWidget(self.view)
        self._tables.addWidget(holder)
        self._why = label("", "small")
        inside = column(
            Flow(self.folders, self.filter), Flow(self._count, self.untick), self._why
        )
        inside.insertWidget(2, self._tables, 1)
        self.setLayout(inside)
        self._connect()
        self.show_library(self._library, looked=False)

    def _connect(self) -> None:
        self.folders.activated.connect(lambda _: self.elsewhere.emit())
        self.filter.textChanged.connect(lambda _: self._show_rows())
        self.all.clicked.connect(self.filter.clear)
        self.untick.clicked.connect(self._untick)
        self.runs.ticked_by_hand.connect(self.tick)
        self.runs.sorting.connect(self._sort)
        self.view.selectionModel().currentRowChanged.connect(self._tell_row)

    def dress(self) -> None:
        """Colours of the scheme."""
        self.runs.dress()
        self.view.dress()

    def list_folders(self) -> None:
        """Offer the folders that are known now; the one of the Curves room first."""
        known = [str(folder) for folder in known_folders(self._memory)]
        several = ["", *known] if len(known) > 1 else known
        there = [self.folders.itemData(n) for n in range(self.folders.count())]
        if there == several:
            return
        chosen = self.folders.currentData() if there else self._memory.text("library")
        self.folders.clear()
        for name in several:
            self.folders.addItem(short_path(name) if name else ALL, name)
        self.folders.setCurrentIndex(max(self.folders.findData(chosen), 0))

    def chosen_folders(self) -> list[Path]:
        """Where runs are to be looked for."""
        return folders_chosen(self._memory, self.folders.currentData())

    def show_library(self, library: Library, *, looked: bool = True) -> None:
        """Show what a look at the folders brought."""
        self._library = library
        self._hint.setVisible(looked)
        there = {row.folder for row in library.rows if may_pack(row)}
        self._ticks = {folder: None for folder in self._ticks if folder in there}
        self._show_rows()
        self._show_ticks()

    @property
    def ticked(self) -> list[Row]:
        """The runs that go along."""
        rows = map(self._library.row_of, self._ticks)
        return [row for row in rows if row is not None]

    def tick(self, folder: Path) -> None:
        """Take a run along, or do so no more."""
        if folder in self._ticks:
            del self._ticks[folder]
        else:
            self._ticks[folder] = None
        self._show_ticks()

    def _untick(self) -> None:
        self._ticks.clear()
        self._show_ticks()

    def _show_ticks(self) -> None:
        self.runs.tick(frozenset(self._ticks), {})
        self.untick.setVisible(bool(self._ticks))
        self.changed.emit()

    def _show_rows(self) -> None:
        rows: Sequence[Row] = filtered(self._library.rows, self.filter.text())
        name, descending = self._sorting
        chosen = self.runs.row(self.view.currentIndex().row())
        self.runs.show(ordered(rows, name, descending=descending))
        everything = len(self._library.rows)
        every = counted(everything, "run")
        self._count.setText(
            every if len(rows) == everything else f"{len(rows)} of {every}"
        )
        self._count.setVisible(bool(everything))
        self._tables.setCurrentIndex(0 if rows else 1)
        self._hint.setText(NO_MATCH if everything else NO_RUNS)
        self.all.setVisible(bool(everything))
        place = self.runs.place(chosen.folder if chosen else None)
        if rows:
            self.view.setCurrentIndex(self.runs.index(max(place, 0), STAYS))
        else:
            self._why.setVisible(False)

    def _sort(self, key: str, descending: bool) -> None:
        self._sorting = (key, descending)
        self._show_rows()

    def _tell_row(self, now: QModelIndex, _: QModelIndex) -> None:
        row = self.runs.row(now.row())
        why = why_not(row) if row is not None else ""
        self._why.setText(f"{row.name}: {why}" if row is not None and why else "")
        self._why.setVisible(bool(why))

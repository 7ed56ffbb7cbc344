"""The table of runs: what the library found, with a tick for each that is drawn.

As many columns as fit are shown, the most wanted first; nothing scrolls sideways.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import (
    QAbstractTableModel,
    QModelIndex,
    QPersistentModelIndex,
    QPoint,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import (
    QFontMetrics,
    QKeyEvent,
    QPainter,
    QPixmap,
    QRegion,
    QResizeEvent,
)
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView, QWidget
from typing_extensions import override

from ui.desktop import theme
from ui.desktop.curves_plot import draw_sample
from ui.desktop.model.rows import Figure, Row
from ui.desktop.model.styles import Style
from ui.desktop.model.ticking import DRAWN, Ticking
from ui.desktop.parts import ABNORMAL, GOOD, NEUTRAL, Mark, plain_tip

Index = QModelIndex | QPersistentModelIndex
TICK: Final = 0
EXTRAS: Final = "thrust"  # the first column that has to leave articles their room
LAST: Final = "sag"  # the same where there is little room
ARTICLE: Final = "ad, motor A mm"
LETTERS: Final = 13  # height of the text in px
#: Key for sorting, heading, and a text as wide as the column has to be.
COLUMNS: Final = (
    ("", "drawn", "mmmmi"),
    ("kind", "", "sim. bare"),
    ("date", "date, UTC", "2026-11-26 02:19"),
    ("article", "article", "Indoor qu"),
    ("ended", "ended", "m completed"),
    ("thrust", "thrust, gf", "1234 ± 123"),
    ("best", "best g/W", "12.34 ± 1.23"),
    ("sag", "sag, V", "0.123 ± 0.012"),
    ("tags", "tags", "indoor, windy, old"),
    ("protocol", "protocol", "shuffled-staircase"),
    ("data", "data", "elsewhere"),
)
#: The same where there is little room, so that key figures stay in sight.
SHORT: Final = {
    "": "mmmm",
    "date": "11-26 02:19",
    "article": "Indoor",
    "ended": "mm sim.",
}
LITTLE: Final = 640  # width of the table in px below which there is little room
NARROW: Final = 490  # the same without key figures
KEYS: Final = tuple(key for key, _, _ in COLUMNS)
STRETCHED: Final = KEYS.index("article")
STAYS: Final = KEYS.index("date")  # a column that is never left out
UNITS: Final = {"thrust": "gf", "best": "g/W", "sag": "V"}
#: Short words for the kind of a run, and what they mean.
KINDS: Final = (
    ("simulated", "sim.", "Simulated: nothing was measured."),
    ("elsewhere", "log", "Recorded elsewhere."),
    ("unprotected", "unprot.", "On a stand that does not stop its motor by itself."),
    ("bare", "bare", "Without a propeller."),
)
MARKS: Final = {"completed": GOOD, "stopped": NEUTRAL, "elsewhere": NEUTRAL}


def mark_of(row: Row) -> str:
    """The shape that goes with how a run ended."""
    return MARKS.get(row.ended, ABNORMAL)


class RunsModel(QAbstractTableModel):
    """Rows as Qt wants them.

    Attributes:
        ticking: what a tick means.
        ticked_by_hand: tells a run whose tick a person changed.
        sorting: tells the column and whether it is from the highest.
    """

    ticked_by_hand = Signal(object)
    sorting = Signal(str, bool)

    def __init__(self, ticking: Ticking = DRAWN) -> None:
        super().__init__()
        self.ticking = ticking
        self._rows: list[Row] = []
        self._short = False
        self._ticks: frozenset[Path] = frozenset()
        self._styles: dict[Path, Style] = {}
        self._marks: dict[str, QPixmap] = {}
        self._samples: dict[tuple[int, str], QPixmap] = {}

    def show(self, rows: Sequence[Row]) -> None:
        """Show these."""
        self.beginResetModel()
        self._rows = list(rows)
        self.endResetModel()

    def shorten(self, *, short: bool) -> None:
        """Leave out what is told elsewhere too: the year, how it ended in words."""
        if short != self._short:
            self._short = short
            self._changed(0, len(COLUMNS) - 1)
            self.headerDataChanged.emit(Qt.Orientation.Horizontal, 0, len(COLUMNS) - 1)

    def longest(self, key: str) -> str:
        """The longest text of a column as it is shown now."""
        cell = _short_cell if self._short else _cell
        return max((cell(row, key) for row in self._rows), key=len, default="")

    def tick(self, ticks: frozenset[Path], styles: Mapping[Path, Style]) -> None:
        """Show what is ticked, and how what is drawn is drawn."""
        self._ticks, self._styles = ticks, dict(styles)
        self._changed(TICK, TICK)

    def dress(self) -> None:
        """Colours of the scheme."""
        self._marks.clear()
        self._samples.clear()
        self._changed(0, len(COLUMNS) - 1)

    def _changed(self, first: int, last: int) -> None:
        if self._rows:
            end = len(self._rows) - 1
            self.dataChanged.emit(self.index(0, first), self.index(end, last))

    def row(self, number: int) -> Row | None:
        """The run in a line."""
        return self._rows[number] if 0 <= number < len(self._rows) else None

    def place(self, folder: Path | None) -> int:
        """The line of a run; -1 where it is not shown."""
        places = (n for n, row in enumerate(self._rows) if row.folder == folder)
        return next(places, -1)

    # ------------------------------------------------------------------ Qt's own

    @override
    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(self._rows)

    @override
    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(COLUMNS)

    @override
    def flags(self, index: Index) -> Qt.ItemFlag:
        if not index.isValid():
            return Qt.ItemFlag.NoItemFlags
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        row = self.row(index.row())
        if index.column() == TICK and row is not None and self.ticking.may(row):
            flags |= Qt.ItemFlag.ItemIsUserCheckable
        return flags

    @override
    def headerData(
        self,
        section: int,
        orientation: Qt.Orientation,
        role: int = Qt.ItemDataRole.DisplayRole,
    ) -> object:
        if orientation != Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            if section == TICK:
                return self.ticking.heading
            short = self._short and KEYS[section] == "ended"
            return "" if short else COLUMNS[section][1]
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _alignment(KEYS[section])
        return None

    @override
    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        row, key = self.row(index.row()), KEYS[index.column()]
        if row is None:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return _short_cell(row, key) if self._short else _cell(row, key)
        if role == Qt.ItemDataRole.AccessibleTextRole and key:
            return _cell(row, key)
        if role == Qt.ItemDataRole.ToolTipRole:
            return _tooltip(row, key) if key else self.ticking.tip
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _alignment(key)
        if role == Qt.ItemDataRole.FontRole:
            return theme.font(LETTERS)
        if role == Qt.ItemDataRole.ForegroundRole and not row.readable:
            return theme.color(theme.palette().muted)
        if index.column() == TICK:
            return self._tick(row, role)
        if role == Qt.ItemDataRole.DecorationRole and key == "ended":
            return self._mark(mark_of(row))
        return None

    def _tick(self, row: Row, role: int) -> object:
        ticked = row.folder in self._ticks
        if role == Qt.ItemDataRole.CheckStateRole and self.ticking.may(row):
            return Qt.CheckState.Checked if ticked else Qt.CheckState.Unchecked
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return self.ticking.on if ticked else self.ticking.off
        style = self._styles.get(row.folder)
        if role == Qt.ItemDataRole.DecorationRole and style is not None:
            return self._sample(style)
        return None

    @override
    def setData(
        self, index: Index, value: object, role: int = Qt.ItemDataRole.EditRole
    ) -> bool:
        row = self.row(index.row())
        if role != Qt.ItemDataRole.CheckStateRole or row is None:
            return False
        self.ticked_by_hand.emit(row.folder)
        return True

    @override
    def sort(
        self, column: int, order: Qt.SortOrder = Qt.SortOrder.AscendingOrder
    ) -> None:
        if KEYS[column]:
            self.sorting.emit(KEYS[column], order == Qt.SortOrder.DescendingOrder)

    # ------------------------------------------------------------------ pictures

    def _mark(self, meaning: str) -> QPixmap:
        if meaning not in self._marks:
            self._marks[meaning] = rendered(Mark(meaning, 12))
        return self._marks[meaning]

    def _sample(self, style: Style) -> QPixmap:
        key = (style.slot, theme.palette().sheet)
        if key not in self._samples:
            made = _blank(QSize(theme.scaled(28), theme.scaled(14)))
            painter = QPainter(made)
            draw_sample(painter, made.deviceIndependentSize().toSize(), style)
            painter.end()
            self._samples[key] = made
        return self._samples[key]


def _blank(size: QSize) -> QPixmap:
    """Nothing, at twice the size, so that it is sharp on any screen."""
    made = QPixmap(size * 2)
    made.setDevicePixelRatio(2.0)
    made.fill(Qt.GlobalColor.transparent)
    return made


def rendered(widget: QWidget) -> QPixmap:
    """A small part as a picture, for a cell or a list."""
    made = _blank(widget.size())
    flags = QWidget.RenderFlag(0)
    widget.render(made, QPoint(), QRegion(), flags)
    return made


def _alignment(key: str) -> Qt.AlignmentFlag:
    side = Qt.AlignmentFlag.AlignRight if key in UNITS else Qt.AlignmentFlag.AlignLeft
    return side | Qt.AlignmentFlag.AlignVCenter


def _cell(row: Row, key: str) -> str:
    if key == "date":
        return row.date.removesuffix(" UTC")
    if key == "article":
        return row.article or row.name
    if key == "tags":
        return ", ".join(row.label.tags)
    if key == "kind":
        return " ".join(short for name, short, _ in KINDS if getattr(row, name))
    if key in UNITS:
        return _figure(row.figures.get(key), UNITS[key])
    return str(getattr(row, key, "")) if key else ""


def _short_cell(row: Row, key: str) -> str:
    if key == "date":
        return _cell(row, key)[5:]
    return _cell(row, "kind" if key == "ended" else key)


def _figure(figure: Figure | None, unit: str) -> str:
    if figure is None:
        return ""
    return figure.plus_minus + ("" if figure.unit == unit else f" {figure.unit}")


def _tooltip(row: Row, key: str) -> str | None:
    if key == "kind":
        said = [words for name, _, words in KINDS if getattr(row, name)]
        return "\n".join(said) or None
    if key in UNITS:
        figure = row.figures.get(key)
        return figure.interval if figure else None
    if key == "ended":
        return plain_tip(f"{row.ended}: {row.meaning}")
    return plain_tip(f"{_cell(row, key)}\n{row.folder}")


class RunsView(QTableView):
    """The table; up and down choose a run, space ticks it."""

    def __init__(self, runs: RunsModel) -> None:
        super().__init__()
        self._runs = runs
        self.setModel(runs)
        runs.modelReset.connect(self.fit)
        does = runs.ticking.does
        self.setAccessibleName(f"Runs: up and down choose one, space {does}")
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setShowGrid(False)
        self.setAlternatingRowColors(True)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        self.setTextElideMode(Qt.TextElideMode.ElideRight)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setIconSize(QSize(theme.scaled(28), theme.scaled(14)))
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(theme.scaled(28))
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setMinimumSectionSize(theme.scaled(24))
        header.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        header.setSectionResizeMode(STRETCHED, QHeaderView.ResizeMode.Stretch)
        header.setSortIndicator(KEYS.index("date"), Qt.SortOrder.DescendingOrder)
        self.setSortingEnabled(True)
        self.setMinimumSize(theme.scaled(240), theme.scaled(28 * 4))
        self.dress()

    @override
    def keyPressEvent(self, event: QKeyEvent) -> None:
        row = self._runs.row(self.currentIndex().row())
        keys = (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter)
        may = row is not None and self._runs.ticking.may(row)
        if event.key() in keys and row is not None and may:
            self._runs.ticked_by_hand.emit(row.folder)
            event.accept()
            return
        super().keyPressEvent(event)

    @override
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.fit()

    def fit(self) -> None:
        """Show the columns that there is room for, an article in full first."""
        room = self.viewport().width()
        short = room < theme.scaled(LITTLE if self._runs.ticking.figures else NARROW)
        self._runs.shorten(short=short)
        letters = QFontMetrics(theme.font(LETTERS))
        for place, (key, heading, widest) in enumerate(COLUMNS):
            texts = (SHORT.get(key, widest),) if short else (widest, heading)
            if key in UNITS:  # half a number is none
                texts = (heading, self._runs.longest(key))
            elif short and key == "ended":
                texts = (f"mm {self._runs.longest(key)}",)
            wide = max(map(letters.horizontalAdvance, texts)) + theme.scaled(10)
            if key == (LAST if short else EXTRAS):
                room -= letters.horizontalAdvance(ARTICLE)
            fits = wide <= room and not (short and key == "kind")
            if key in UNITS and not self._runs.ticking.figures:
                fits, wide = False, 0
            if short and key == "kind":
                wide = 0
            room = room - wide if fits or not wide else 0
            self.setColumnHidden(place, not fits)
            if place != STRETCHED:
                self.setColumnWidth(place, wide)

    def dress(self) -> None:
        """Ticks in the colours of the scheme."""
        p = theme.palette()
        side = theme.scaled(13)
        self.setStyleSheet(
            f"QTableView::indicator {{ width: {side}px; height: {side}px;"
            f" border: 1px solid {p.muted}; background: {p.sheet}; }}"
            f"QTableView::indicator:checked {{ background: {p.ink};"
            f" border-color: {p.ink}; }}"
        )
        self.fit()

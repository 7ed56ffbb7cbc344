"""One run: how it ended, its key figures, its tags and note, and what it says.

Tags and note are kept when a field is left, when another run is chosen and when the
window closes. What a stranger wrote is shown as text.
"""

from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLineEdit,
    QPlainTextEdit,
    QVBoxLayout,
    QWidget,
)
from typing_extensions import override

from daq.errors import WorldFault
from ui.desktop import theme
from ui.desktop.curves_plot import Elided
from ui.desktop.curves_table import mark_of
from ui.desktop.model.labels import Label, label_of, typed_tags, write_label
from ui.desktop.model.rows import Row
from ui.desktop.model.traces import Trace
from ui.desktop.parts import NEUTRAL, Mark, column, label

KEEP_MS = 1500  # after the last key
FIGURES = (("thrust", "highest thrust"), ("best", "best"), ("sag", "sag"))


class _Note(QPlainTextEdit):
    """A few lines; Tab leaves them.

    Attributes:
        left: tells that the focus went elsewhere.
    """

    left = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setTabChangesFocus(True)
        self.setAccessibleName("Note of this run")
        self.setPlaceholderText("note")
        self.setFixedHeight(theme.scaled(46))

    @override
    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.left.emit()


class RunPanel(QWidget):
    """The chosen run, below the table.

    Attributes:
        kept: tells the run whose label was written.
    """

    kept = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self._row: Row | None = None
        self._mark = Mark(NEUTRAL, 14)
        self._name = Elided("", "head")
        self._what = Elided("", "small")
        self._meaning = label("")
        self._figures = label("", "muted")
        self._fault = label("", "wanted")
        self._fault.setVisible(False)
        self.tags = QLineEdit()
        self.tags.setAccessibleName("Tags of this run, with commas between")
        self.tags.setPlaceholderText("tags, comma between")
        self.note = _Note()
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(KEEP_MS)
        self._timer.timeout.connect(self.keep)
        self.tags.textEdited.connect(lambda _: self._timer.start())
        self.tags.editingFinished.connect(self.keep)
        self.note.left.connect(self.keep)
        self.note.textChanged.connect(self._timer.start)
        head = QHBoxLayout()
        head.setSpacing(theme.UNIT)
        head.addWidget(self._mark)
        head.addWidget(self._name, 1)
        typed = QHBoxLayout()
        typed.setSpacing(theme.UNIT)
        typed.addWidget(self.tags, 2, Qt.AlignmentFlag.AlignTop)
        typed.addWidget(self.note, 3)
        inside = column(
            head, self._what, self._meaning, self._figures, typed, self._fault
        )
        inside.setSpacing(theme.UNIT // 2)
        self.setLayout(inside)

    def show_row(self, row: Row | None) -> None:
        """Show a run; what was typed for another is kept first."""
        same = (
            row is not None
            and self._row is not None
            and (row.folder == self._row.folder)
        )
        if not same:
            self.keep()
            self._tell("")
        self._row = row
        self.setVisible(row is not None)
        if row is None:
            return
        self._mark.mean(mark_of(row))
        self._name.tell(row.article or row.name)
        parts = (row.name if row.article else "", row.protocol, row.kind)
        self._what.tell(", ".join(part for part in parts if part))
        self._meaning.setText(
            f"{row.ended}: {row.meaning}" if row.meaning else row.ended
        )
        self._figures.setText(_figures(row))
        self._figures.setVisible(bool(row.figures))
        if row.remark:
            self._tell(row.remark)
        if not (same and self._is_typing()):
            self._fill(row.label)
        is_there = row.ended != "gone"
        self.tags.setEnabled(is_there)
        self.note.setEnabled(is_there)

    def _is_typing(self) -> bool:
        return self.tags.hasFocus() or self.note.hasFocus()

    def _fill(self, kept: Label) -> None:
        self.tags.setText(", ".join(kept.tags))
        if self.note.toPlainText() != kept.note:
            self.note.setPlainText(kept.note)
        self._timer.stop()

    def _tell(self, words: str) -> None:
        self._fault.setText(words)
        self._fault.setVisible(bool(words))

    def keep(self) -> None:
        """Write what was typed, where it is not as it was."""
        self._timer.stop()
        row = self._row
        if row is None or not self.tags.isEnabled():
            return
        typed = label_of(typed_tags(self.tags.text()), self.note.toPlainText())
        if typed == row.label:
            return
        try:
            write_label(row.folder, typed)
        except WorldFault as fault:
            self._tell(str(fault))
            return
        self._tell("")
        # Whoever hears it shows a run again, this one or the next: it is kept by then.
        self._row = replace(row, label=typed)
        self.kept.emit(row.folder)


def _figures(row: Row) -> str:
    """Key figures in one line."""
    told = [
        f"{words} {row.figures[name].plus_minus} {row.figures[name].unit}"
        for name, words in FIGURES
        if name in row.figures
    ]
    coverages = {figure.coverage for figure in row.figures.values()}
    after = " and ".join(f"{100 * coverage:g} %" for coverage in sorted(coverages))
    return f"{', '.join(told)} ({after} intervals)"


class Sentences(QWidget):
    """Paragraphs that can be selected and copied."""

    def __init__(self) -> None:
        super().__init__()
        self._parts: list[QWidget] = []
        self._inside = QVBoxLayout(self)
        self._inside.setContentsMargins(0, 0, 0, 0)
        self._inside.setSpacing(theme.UNIT)

    def tell(self, *told: tuple[str, str]) -> None:
        """Show texts, each with its role."""
        for part in self._parts:
            self._inside.removeWidget(part)
            part.hide()  # what is to be deleted is seen until it is
            part.deleteLater()
        self._parts = []
        for text, role in told:
            if not text:
                continue
            made = label(text, role)
            if not role:
                made.setTextInteractionFlags(
                    Qt.TextInteractionFlag.TextSelectableByMouse
                )
            self._inside.addWidget(made)
            self._parts.append(made)


def said_of(trace: Trace, name: str) -> list[tuple[str, str]]:
    """What a run says, as texts with roles."""
    told = [("Findings", "head"), (name, "small")]
    told += [(words, "") for words in trace.faults]
    told += [(words, "") for words in trace.findings]
    if trace.cautions:
        told.append(("Cautions", "small"))
        told += [
            (words[:1].upper() + words[1:] + _stop(words), "muted")
            for words in trace.cautions
        ]
    if trace.stand:
        told.append((f"Stand {trace.stand}.", "small"))
    return told


def _stop(words: str) -> str:
    return "" if words.endswith((".", "!", "?")) else "."


def report_of(row: Row) -> Path | None:
    """The page of a run; None where it was not made."""
    page = row.derived / "report.html" if row.derived else None
    return page if page is not None and page.is_file() else None

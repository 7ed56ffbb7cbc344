"""The Club room's first part: runs packed for somebody else.

Says before anything is written what leaves this computer. The packing itself is an
errand; nothing here computes.
"""

from pathlib import Path
from typing import Final

from PySide6.QtCore import QTimer, Signal
from PySide6.QtWidgets import (
    QFileDialog,
    QHBoxLayout,
    QLineEdit,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from ui.desktop import theme
from ui.desktop.asking import asking_name
from ui.desktop.background import Background
from ui.desktop.club_packed import PackedPanel
from ui.desktop.club_parts import Form, Progress, Tick
from ui.desktop.club_runs import RunsToPack
from ui.desktop.flow import Flow
from ui.desktop.model.clubs import PackedTold, Packing, half_made
from ui.desktop.model.errands import Work
from ui.desktop.model.library import Library
from ui.desktop.model.memory import Memory
from ui.desktop.model.packs import (
    LICENCE_WORDS,
    MOST_NAME,
    busy_words,
    chosen_words,
    file_for,
    goes_and_stays,
    lacking,
    typed_file,
)
from ui.desktop.model.places import own_runs
from ui.desktop.parts import Choice, Fault, Upright, button, column, label, rule

BY: Final = "club name of mine"
LICENCE: Final = "club licence"
OUT: Final = "club out"
TABLES: Final = "Tables only: the wire logs stay here"
NOTES: Final = "With the notes that I wrote on my articles"
SIGN: Final = "Signed with my key"
DOT: Final = "\N{EN DASH} "


class PackPage(QWidget):
    """The page.

    Attributes:
        work: the packing.
        runs: what may be packed.
        panel: what was packed.
        packed: tells that a bundle was made; signing it may have made a key.
    """

    packed = Signal()

    def __init__(self, memory: Memory, jobs: Background) -> None:
        super().__init__()
        self._memory, self._jobs = memory, jobs
        self.work = Work()
        self._library = Library(())
        self._asked: Packing | None = None
        self._build()
        self._connect()
        self._show_choice()

    def _build(self) -> None:
        memory = self._memory
        self.runs = RunsToPack(memory)
        self._chosen = label("", "head")
        self.by = QLineEdit(memory.text(BY))
        self.by.setAccessibleName("The name that you want to be known by")
        self.by.setPlaceholderText("nobody is named")
        self.by.setMaxLength(MOST_NAME)
        self.licence = Choice("Licence", 14)
        for name, words in LICENCE_WORDS.items():
            self.licence.addItem(words, name)
        kept = self.licence.findData(memory.text(LICENCE))
        self.licence.setCurrentIndex(max(kept, 0))
        for wide in (self.by, self.licence):
            wide.setMinimumWidth(theme.scaled(130))
            wide.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.tables, self.notes, self.sign = Tick(TABLES), Tick(NOTES), Tick(SIGN)
        self._goes, self._stays = label("", "small"), label("", "small")
        self.file = QLineEdit()
        self.file.setAccessibleName("File that the bundle is written to")
        self.file.setMinimumWidth(theme.scaled(150))
        self.file.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.other = button("Other place …", name="Choose where the bundle is written")
        self.go = button("Pack", "act", name="Pack the ticked runs")
        self._lacks = label("", "muted")
        self.progress = Progress("packing")
        self.fault = Fault()
        self.panel = PackedPanel()
        right = QWidget()
        inside = column(
            self._chosen,
            Form(("Known as", self.by), ("Terms", self.licence)),
            self.tables,
            self.notes,
            self.sign,
            self._both(),
            self.panel,
        )
        inside.setContentsMargins(0, 0, theme.UNIT, 0)
        inside.addStretch(1)
        right.setLayout(inside)
        self._scroll = Upright(right, "How they are packed, and what came of it")
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(2 * theme.UNIT)
        row.addWidget(self.runs, 6)
        row.addWidget(rule(upright=True))
        row.addLayout(self._acting(), 7)

    def _acting(self) -> QVBoxLayout:
        """What is scrolled, and below it, always in sight, what begins it."""
        whole = column(
            self._scroll,
            Form(("Written to", Flow(self.file, self.other))),
            Flow(self.go),
            self._lacks,
            self.progress,
            self.fault,
        )
        whole.setStretch(0, 1)
        return whole

    def _both(self) -> QHBoxLayout:
        """What goes along beside what stays here."""
        both = QHBoxLayout()
        both.setSpacing(2 * theme.UNIT)
        for head, words in (("Goes along", self._goes), ("Stays here", self._stays)):
            part = column(label(head), words)
            part.setSpacing(theme.UNIT // 2)
            part.addStretch(1)
            both.addLayout(part, 1)
        return both

    def _connect(self) -> None:
        self.runs.elsewhere.connect(self.refresh)
        self.runs.changed.connect(self._choose)
        self.by.textChanged.connect(lambda _: self._show_choice())
        self.licence.activated.connect(lambda _: self._remember())
        self.file.textChanged.connect(lambda _: self._show_choice())
        for tick in (self.tables, self.notes, self.sign):
            tick.box.toggled.connect(lambda _: self._show_choice())
        self.other.clicked.connect(self._ask_place)
        self.go.clicked.connect(self.pack)
        self.progress.given_up.connect(self.give_up)

    def dress(self) -> None:
        """Colours of the scheme."""
        self.runs.dress()

    # ------------------------------------------------------------------ runs

    def refresh(self) -> None:
        """Look at the folders again, in the background."""
        self.runs.list_folders()
        wanted = tuple(self.runs.chosen_folders())
        if self._library.folders != wanted:
            self._library = Library(wanted)
        self._jobs.start("pack runs", self._library.looked_again, self._looked_at)

    def _looked_at(self, library: Library) -> None:
        if library.folders == self._library.folders:
            self._library = library
            self.runs.show_library(library)

    # ------------------------------------------------------------------ choosing

    @property
    def _place(self) -> Path:
        """Where bundles are written unless something else is said."""
        return Path(self._memory.text(OUT) or str(own_runs(self._memory).parent))

    def _choose(self) -> None:
        """Other runs are ticked: the name of the file follows them."""
        self.panel.show_packed(None)
        rows = self.runs.ticked
        self.file.setText(str(file_for(rows, self._place)) if rows else "")
        self._show_choice()

    def _show_choice(self) -> None:
        rows = self.runs.ticked
        goes, stays = goes_and_stays(
            tables_only=self.tables.on, keep_notes=self.notes.on
        )
        self._chosen.setText(chosen_words(rows))
        self._goes.setText("\n".join(DOT + words for words in goes))
        self._stays.setText("\n".join(DOT + words for words in stays))
        lacks = lacking(rows, self.by.text(), self.file.text())
        self._lacks.setText(lacks)
        self._lacks.setVisible(bool(lacks) and not self.work.busy)
        self.go.setEnabled(not lacks and not self.work.busy)
        self.fault.tell("")

    def _remember(self) -> None:
        self._memory.set(BY, self.by.text().strip())
        self._memory.set(LICENCE, self.licence.currentData())

    def _ask_place(self) -> None:
        name = typed_file(self.file.text() or "bundle.zip", self._place)
        dialog = asking_name(self, "Bundle", "Bundles (*.zip)", name)
        dialog.setLabelText(QFileDialog.DialogLabel.Accept, "Choose")
        dialog.fileSelected.connect(self.choose_file)
        dialog.show()

    def choose_file(self, name: str) -> None:
        """The bundle is written there, and the next one beside it."""
        self._memory.set(OUT, str(Path(name).parent))
        self.file.setText(name)

    # ------------------------------------------------------------------ packing

    def pack(self) -> None:
        """Have the ticked runs packed."""
        rows = self.runs.ticked
        self._remember()
        self.panel.show_packed(None)
        self._asked = Packing(
            folders=tuple(row.folder for row in rows),
            out=typed_file(self.file.text(), self._place),
            by=self.by.text().strip(),
            licence=str(self.licence.currentData()),
            tables_only=self.tables.on,
            keep_notes=self.notes.on,
            sign=self.sign.on,
        )
        self.work.ask(self._asked.asked())
        self._show_choice()
        self._jobs.wake()

    def step(self, *, may_work: bool) -> bool:
        """Go on; whether there is more to come."""
        if not self.work.busy:
            return False
        if self.work.step(may_work=may_work):
            self._packed()
        else:
            self._show_work()
        return self.work.busy

    def _show_work(self) -> None:
        asked = self._asked
        if self.work.waits:
            self.progress.wait()
        elif self.work.busy and asked is not None:
            self.progress.tell(busy_words(len(asked.folders)))
        else:
            self.progress.tell("")

    def _packed(self) -> None:
        self._show_work()
        self._show_choice()
        self.fault.tell(self.work.fault)
        if self.work.answer is not None:
            told = PackedTold.read(self.work.answer)
            self._memory.set(OUT, str(told.path.parent))
            self.panel.show_packed(told)
            self.packed.emit()
            self.file.setText(str(file_for(self.runs.ticked, told.path.parent)))
            bar = self._scroll.verticalScrollBar()
            QTimer.singleShot(0, lambda: bar.setValue(self.panel.y()))

    def give_up(self) -> None:
        """Leave it unpacked."""
        self.work.give_up()
        if self._asked is not None:
            half_made(self._asked.out).unlink(missing_ok=True)
        self._show_work()
        self._show_choice()

    def close_jobs(self) -> None:
        """The window goes."""
        self._remember()
        if self.work.busy:
            self.give_up()

"""One bundle that came: who it is from, what may be done with it, and its runs.

A refusal looks like one and says why; nothing of it was kept. Nothing goes among the
person's runs but what they ticked.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from ui.club.words import terms_words
from ui.desktop import theme
from ui.desktop.club_parts import KeepKey
from ui.desktop.club_run import RunBlock
from ui.desktop.curves_detail import Sentences
from ui.desktop.curves_shown import open_outside
from ui.desktop.flow import Flow
from ui.desktop.model.found import RunFound, differing_words, runs_found, title_of
from ui.desktop.model.openings import Bundle, Stage
from ui.desktop.model.places import short_path
from ui.desktop.model.signers import HEADS, UNKNOWN, Keys, signature_of
from ui.desktop.parts import (
    ABNORMAL,
    NEUTRAL,
    Fault,
    Mark,
    button,
    empty,
    label,
)
from ui.report.words import counted

AT_ONCE: Final = 6  # runs that are shown before somebody asks for more
REFUSED: Final = "Refused"
NOTHING_KEPT: Final = "Nothing of it was kept, and nothing of it ran."
FAILED: Final = "Not looked into"


class BundleView(QWidget):
    """The bundle.

    Attributes:
        key_kept: tells that the key of its signer is kept now.
        taking: tells the names of runs that are to go among the person's.
        again: tells that it is to be looked into once more.
        away: tells that it is to be shown no more.
    """

    key_kept = Signal()
    taking = Signal(object)
    again = Signal()
    away = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.bundle: Bundle | None = None
        self._runs: list[RunFound] = []
        self._chosen: dict[str, None] = {}
        self._home = ""
        self.blocks: list[RunBlock] = []
        self._wanted = 0
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(0)
        self._timer.timeout.connect(self._show_next)
        self._inside = QVBoxLayout(self)
        self._inside.setContentsMargins(0, 0, theme.UNIT, 0)
        self._inside.setSpacing(theme.UNIT)

    def show_bundle(self, bundle: Bundle | None, keys: Keys, home: Path) -> None:
        """Show it as it stands.

        Args:
            bundle: the one; None for none.
            keys: those that the person keeps.
            home: where the person's runs are.
        """
        if bundle is not self.bundle:
            self._chosen = {}
        self.bundle, self._home = bundle, short_path(str(home))
        self._timer.stop()
        _emptied(self._inside)
        self.blocks, self._wanted = [], 0
        if bundle is None:
            return
        if bundle.stage is Stage.OPENED:
            self._show_opened(bundle, keys)
        elif bundle.stage is Stage.REFUSED:
            self._show_refused(bundle)
        elif bundle.stage is Stage.FAILED:
            self._show_failed(bundle)
        else:
            self._inside.addWidget(label(bundle.name, "head"))
            self._inside.addWidget(label(f"{bundle.size}, {bundle.words}.", "muted"))
        self._inside.addStretch(1)

    # ------------------------------------------------------------------ not opened

    def _show_refused(self, bundle: Bundle) -> None:
        self._add_head(ABNORMAL, REFUSED)
        self._inside.addWidget(label(bundle.why, "fault"))
        self._inside.addWidget(label(NOTHING_KEPT, "muted"))
        self._inside.addLayout(Flow(self._away()))

    def _show_failed(self, bundle: Bundle) -> None:
        self._add_head(NEUTRAL, FAILED)
        self._inside.addWidget(label(f"{bundle.name}: {bundle.why}"))
        again = button("Look into it", "act", name=f"Look into {bundle.name}")
        again.clicked.connect(self.again)
        self._inside.addLayout(Flow(again, self._away()))

    def _add_head(self, meaning: str, words: str) -> None:
        row = QHBoxLayout()
        row.setSpacing(theme.UNIT + 4)
        row.addWidget(Mark(meaning, 28), 0, Qt.AlignmentFlag.AlignVCenter)
        row.addWidget(label(words, "title", wraps=False))
        row.addStretch(1)
        self._inside.addLayout(row)

    def _away(self) -> QWidget:
        away = button("Put away", name="Show this bundle no more; its file stays")
        away.clicked.connect(self.away)
        return away

    # ------------------------------------------------------------------ opened

    def _show_opened(self, bundle: Bundle, keys: Keys) -> None:
        checked = bundle.checked
        if checked is None:
            return
        self._runs = runs_found(checked)
        add = self._inside.addWidget
        add(label(title_of(checked), "head"))
        add(label(f"{bundle.name}, {bundle.size}", "small"))
        differing = differing_words(self._runs)
        if differing:
            add(Fault(differing))
        self._add_signature(bundle, keys)
        add(label(terms_words(checked)))
        if checked.notes:
            notes = Sentences()
            notes.tell(*((words, "muted") for words in checked.notes))
            add(notes)
        self._add_taking(bundle)
        self._rest = QVBoxLayout()
        self._rest.setSpacing(theme.UNIT)
        self._inside.addLayout(self._rest)
        self.more = button("", name="Show more of its runs")
        self.more.clicked.connect(self._show_more)
        add(self.more, 0, Qt.AlignmentFlag.AlignLeft)
        self._show_more()

    def _add_signature(self, bundle: Bundle, keys: Keys) -> None:
        checked = bundle.checked
        if checked is None:
            return
        signature = signature_of(checked, keys)
        if signature.digits:
            head = f"{HEADS[signature.kind]}   {signature.digits}"
            self._inside.addWidget(label(head, "fault"))
        self._inside.addWidget(label(signature.words))
        if signature.kind != UNKNOWN:
            return
        self.keep_key = KeepKey(signature.key)
        self.keep_key.setVisible(False)
        self.keep_key.kept.connect(self.key_kept)
        ask = button("I know whose key this is …", name="Keep the key of its signer")
        ask.clicked.connect(lambda: self._ask_name(ask))
        self.ask_name = ask
        self._inside.addWidget(ask, 0, Qt.AlignmentFlag.AlignLeft)
        self._inside.addWidget(self.keep_key)

    def _ask_name(self, ask: QWidget) -> None:
        self.keep_key.setVisible(True)
        self.keep_key.name.setFocus()
        ask.setVisible(False)

    # ------------------------------------------------------------------ taking

    def _add_taking(self, bundle: Bundle) -> None:
        self.all = button("Tick all", name="Tick all runs of this bundle")
        self.take = button("", "act")
        self.all.clicked.connect(self._choose_all)
        self.take.clicked.connect(lambda: self.taking.emit(list(self._chosen)))
        self._inside.addLayout(Flow(self.take, self.all, self._away()))
        self.said = Sentences()
        taken = len(bundle.taken)
        if taken:
            there = f"{counted(taken, 'run')} of it among yours, in {self._home}."
            self.said.tell((there, ""), *((words, "muted") for words in bundle.left))
        else:
            self.said.tell(*((words, "muted") for words in bundle.left))
        self._inside.addWidget(self.said)
        self.show_taking()

    def _may_take(self) -> list[str]:
        taken = self.bundle.taken if self.bundle is not None else {}
        return [
            run.name for run in self._runs if run.may_take and run.name not in taken
        ]

    def show_taking(self) -> None:
        """Say what can be put among the person's runs now."""
        may = self._may_take()
        self._chosen = {name: None for name in self._chosen if name in may}
        number = len(self._chosen)
        what = counted(number, "run") if number else "ticked runs"
        self.take.setText(f"Put {what} among mine")
        self.take.setAccessibleName(f"Put {what} into {self._home}")
        self.take.setToolTip(f"Into {self._home}")
        self.take.setEnabled(bool(number))
        self.all.setEnabled(len(may) > number)

    def _choose(self, name: str, on: bool) -> None:
        if on:
            self._chosen[name] = None
        else:
            self._chosen.pop(name, None)
        self.show_taking()

    def _choose_all(self) -> None:
        self._chosen = dict.fromkeys(self._may_take())
        for block in self.blocks:
            block.tick.box.setChecked(block.found.name in self._chosen)
        self.show_taking()

    def _open(self, page: Path) -> None:
        if not open_outside(page):
            self.tell([f"Nothing here opens it by itself; it is {page}."])

    def tell(self, faults: Sequence[str]) -> None:
        """Say in place why something was not done."""
        self.said.tell(*((words, "fault") for words in faults))

    # ------------------------------------------------------------------ runs

    def _show_more(self) -> None:
        """Some more runs: two hundred at once would keep the window waiting."""
        self._wanted = min(len(self.blocks) + AT_ONCE, len(self._runs))
        self.more.setVisible(False)
        self._show_next()

    def _show_next(self) -> None:
        """One more run, and the next one a moment later: a beat may come between."""
        bundle = self.bundle
        if bundle is None or len(self.blocks) >= self._wanted:
            return
        found = self._runs[len(self.blocks)]
        folder = bundle.taken.get(found.name)
        page = bundle.page_of(found.name)
        block = RunBlock(
            found,
            has_page=page is not None,
            is_chosen=found.name in self._chosen,
            taken=short_path(str(folder)) if folder is not None else "",
        )
        if page is not None:
            block.asked.connect(lambda: self._open(page))
        block.chosen.connect(lambda on, n=found.name: self._choose(n, on))
        self._rest.addWidget(block)
        self.blocks.append(block)
        if len(self.blocks) < self._wanted:
            self._timer.start()
            return
        rest = len(self._runs) - len(self.blocks)
        self.more.setText(counted(rest, "more run"))
        self.more.setVisible(rest > 0)


def _emptied(layout: QVBoxLayout) -> None:
    """Everything out of it; what is to be deleted is not seen until it is."""
    around = layout.parentWidget()
    for part in around.findChildren(QWidget) if around is not None else ():
        if part.parentWidget() is around:
            part.hide()
    empty(layout)

"""One run of a bundle that came: what it rests on first, then what differs, then more.

Shown from what a check found; whatever a stranger wrote is text.
"""

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QVBoxLayout, QWidget

from ui.desktop import theme
from ui.desktop.club_parts import Rungs, Tick
from ui.desktop.curves_detail import Sentences
from ui.desktop.flow import Flow
from ui.desktop.model.found import FIRST, NOT_TAKEN, RunFound
from ui.desktop.parts import Fault, button, column, label, rule
from ui.report.words import counted

TAKE = "Put this run among mine"


class RunBlock(QWidget):
    """The run.

    Attributes:
        chosen: tells that it is to be put among the person's runs, or not any more.
        asked: tells that its page is to be shown in the browser.
        found: what is shown.
    """

    chosen = Signal(bool)
    asked = Signal()

    def __init__(
        self, found: RunFound, *, is_chosen: bool, taken: str, has_page: bool
    ) -> None:
        """Show it.

        Args:
            found: the run.
            has_page: whether there is a page of it that was made here.
            is_chosen: whether it is to be put among the person's.
            taken: where it was put already; "" for nowhere.
        """
        super().__init__()
        self.found = found
        self.tick = Tick(TAKE, on=is_chosen)
        self.tick.box.setAccessibleName(f"{TAKE}: {found.name}")
        self.tick.box.toggled.connect(self.chosen)
        self._findings = Sentences()
        self.more = button("")
        self.page = button("Report", name=f"Report of {found.name} in the browser")
        self.page.clicked.connect(self.asked)
        if not has_page:
            self.page.hide()
        self.more.clicked.connect(lambda: self._tell_findings(every=True))
        inside = column(rule(), self._head(), self._standing())
        self._add_differences(inside)
        inside.addLayout(self._evidence())
        inside.addWidget(self._findings)
        inside.addLayout(Flow(self.page, self.more))
        self._add_taking(inside, taken)
        self.setLayout(inside)
        self._tell_findings(every=False)

    def _head(self) -> QVBoxLayout:
        found = self.found
        part = column(
            label(found.article or found.name, "head"),
            label(f"{found.name}\n{found.what}", "small"),
        )
        part.setSpacing(theme.UNIT // 2)
        return part

    def _standing(self) -> QVBoxLayout:
        standing = self.found.standing
        words = label(standing.words, "fault")
        words.setAccessibleName(f"{standing.words}, {standing.spoken}")
        row = QHBoxLayout()
        row.setSpacing(theme.UNIT)
        row.addWidget(
            Rungs(standing.rungs, standing.spoken), 0, Qt.AlignmentFlag.AlignTop
        )
        row.addWidget(words, 1)
        if not standing.nature:
            return column(row)
        # Before the rungs, which would speak of what was never measured.
        return column(label(standing.nature, "fault"), row)

    def _add_differences(self, inside: QVBoxLayout) -> None:
        found = self.found
        if not found.differences:
            inside.addWidget(label(found.figures, "muted"))
            return
        inside.addWidget(Fault(found.figures))
        said = Sentences()
        said.tell(*((f"\N{EN DASH} {words}", "") for words in found.differences))
        said.setContentsMargins(theme.scaled(18) + theme.UNIT, 0, 0, 0)
        inside.addWidget(said)

    def _evidence(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setHorizontalSpacing(2 * theme.UNIT)
        grid.setVerticalSpacing(theme.UNIT // 2)
        grid.setColumnStretch(1, 1)
        top = Qt.AlignmentFlag.AlignTop
        for row, (part, words) in enumerate(self.found.standing.parts):
            grid.addWidget(label(part, "muted", wraps=False), row, 0, top)
            grid.addWidget(label(words), row, 1)
        return grid

    def _tell_findings(self, *, every: bool) -> None:
        findings = self.found.findings
        shown = findings if every else findings[:FIRST]
        self._findings.tell(*((words, "") for words in shown))
        rest = len(findings) - len(shown)
        self.more.setText(f"{counted(rest, 'more finding')}")
        self.more.setAccessibleName(f"{self.more.text()} of {self.found.name}")
        self.more.setVisible(rest > 0)

    def _add_taking(self, inside: QVBoxLayout, taken: str) -> None:
        if taken:
            inside.addWidget(label(f"Among your runs: {taken}", "muted"))
        elif self.found.may_take:
            inside.addWidget(self.tick)
        else:
            inside.addWidget(label(NOT_TAKEN, "muted"))
        has_tick = not taken and self.found.may_take
        if not has_tick:
            self.tick.setParent(None)

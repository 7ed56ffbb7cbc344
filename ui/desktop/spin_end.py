"""How a spin ended: what acted, what to look at, what clears it, and the findings."""

from pathlib import Path

from PySide6.QtCore import QUrl, Signal
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from protocols.explain import clears
from ui.desktop import theme
from ui.desktop.flow import Flow
from ui.desktop.model.spinning import Spinning
from ui.desktop.parts import (
    ABNORMAL,
    ACTION,
    DANGER,
    GOOD,
    Mark,
    button,
    column,
    empty,
    label,
    rule,
)

ENDS = {
    "completed": (GOOD, "Completed"),
    "tripped": (ACTION, "Tripped"),
    "stopped": (ABNORMAL, "Stopped"),
    "failed": (ABNORMAL, "Failed"),
}
DATA = {
    "whole": "Every part of the plan was measured.",
    "partial": "What was measured before the end is kept and analysed.",
    "none": "It ended before a first part of the plan was measured to its end.",
}


class EndPanel(QWidget):
    """The panel.

    Attributes:
        foot: what can be done next; it stands below the panel.
        again: a person wants to put the next spin together.
        curves: a person wants to see it among others.
    """

    again = Signal()
    curves = Signal()

    def __init__(self) -> None:
        super().__init__()
        self._folder: Path | None = None
        self._told: list[str] | None = None
        self._mark = Mark(GOOD, 22)
        self._head = label("", "title")
        self._danger = label("", "danger")
        self._cause = label("", "head")
        self._advice = label("")
        self._clears = label("", "wanted")
        self._data = label("", "muted")
        self._where = label("", "small")
        self._wait = label("Working the findings out …", "muted")
        self._findings = QVBoxLayout()
        self._findings.setSpacing(theme.UNIT)
        self.page = button("Report")
        self.page.clicked.connect(self._open_page)
        self.among = button("Curves", name="See it among the other runs")
        self.among.clicked.connect(self.curves)
        self.next = button("Next spin", "act")
        self.next.clicked.connect(self.again)
        head = QHBoxLayout()
        head.addWidget(self._mark)
        head.addWidget(self._head, 1)
        buttons = Flow(self.next, self.page, self.among)
        inside = column(
            head,
            self._danger,
            self._cause,
            self._advice,
            self._clears,
            self._data,
            rule(),
            self._wait,
            self._findings,
            self._where,
        )
        inside.addStretch(1)
        self.setLayout(inside)
        self.foot = QWidget()  # what is to be pressed never scrolls away
        self.foot.setLayout(column(rule(), buttons))

    def show_end(
        self, spinning: Spinning, findings: list[str] | None, *, expected: bool
    ) -> None:
        """Show how it ended, and its findings once they are there.

        Args:
            spinning: the spin, over.
            findings: sentences; None while they are worked out.
            expected: whether there will be any.
        """
        outcome = spinning.outcome or {}
        ended = str(outcome.get("ended", ""))
        meaning, word = ENDS.get(ended, (DANGER, "Nobody knows how it ended"))
        self._mark.mean(DANGER if spinning.danger else meaning)
        check = str(outcome.get("check") or "")
        acted = "" if check == "stop" else check  # a person, as the cause says
        self._head.setText(f"{word}: {acted}" if acted else word)
        self._danger.setText(spinning.danger)
        self._danger.setVisible(bool(spinning.danger))
        cause = str(outcome.get("cause") or "The keeper is gone without a word.")
        self._cause.setText(f"{cause[:1].upper()}{cause[1:]}")
        advice = str(outcome.get("advice") or "")
        self._advice.setText(advice)
        self._advice.setVisible(bool(advice))
        self._show_clearing(spinning, ended, check)
        self._data.setText(DATA.get(str(outcome.get("data")), ""))
        self._folder = spinning.folder
        self._where.setText(f"Recorded in {spinning.folder}")
        self._wait.setVisible(expected and findings is None)
        ready = findings is not None
        self.page.setEnabled(ready)
        self.among.setEnabled(ready)
        if findings != self._told:
            self._told = findings
            self._tell(findings or [])

    def _show_clearing(self, spinning: Spinning, ended: str, check: str) -> None:
        trip = spinning.trip or {}
        words = str(trip.get("clears") or clears(check) or "")
        wanted = ended == "tripped"
        self._clears.setVisible(wanted)
        if wanted:
            words = words or "its cause is removed"
            self._clears.setText(
                f"Clears when {words}, and a person acknowledges it at the next spin."
            )

    def _tell(self, findings: list[str]) -> None:
        empty(self._findings)
        if findings:
            self._findings.addWidget(label("Findings", "head"))
        for words in findings:
            self._findings.addWidget(label(words))

    def _open_page(self) -> None:
        if self._folder is None:
            return
        pages = sorted(self._folder.glob("derived/*/report.html"))
        if pages:
            QDesktopServices.openUrl(QUrl.fromLocalFile(str(pages[0].resolve())))

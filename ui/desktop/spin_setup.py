"""Putting a spin together: article, protocol, load cell, and what follows from them."""

from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QWidget,
)

from daq.errors import GramwattError
from protocols.limits import brief
from ui.desktop import theme
from ui.desktop.model.desk import Desk
from ui.desktop.model.numbers import typed_number
from ui.desktop.model.setup import Named, Setup
from ui.desktop.parts import (
    Choice,
    Fault,
    button,
    column,
    empty,
    label,
    plain_tip,
    rule,
)

ANOTHER = "Another file …"


class SetupPanel(QWidget):
    """The panel.

    Attributes:
        foot: what is pressed next, and why not; it stands below the panel.
        leads: the focus goes to what begins, as soon as it can.
        changed: something was chosen, and what follows was worked out.
        begin: a person wants the guards proven, and to go on from there.
        wants_bench: there is no stand yet.
    """

    changed = Signal()
    begin = Signal()
    wants_bench = Signal()

    def __init__(self, desk: Desk, setup: Setup) -> None:
        super().__init__()
        self._desk = desk
        self._setup = setup
        self._filling = False
        self.leads = False
        self.article = Choice("Article", 16)
        self.protocol = Choice("Protocol", 16)
        self.cell = QLineEdit(brief(setup.load_cell_g))
        self.cell.setAccessibleName("Rated load of the load cell in gram")
        self.cell.setFixedWidth(theme.scaled(80))
        self._why = label("", "muted")
        self._parts = label("", "muted")
        self._timed = QHBoxLayout()
        self._boxes: dict[str, QCheckBox] = {}
        self._takes = label("")
        self._limits = QGridLayout()
        self._limits.setHorizontalSpacing(2 * theme.UNIT)
        self._limits.setVerticalSpacing(theme.UNIT // 2)
        self._limits.setColumnStretch(1, 1)
        self._limits_box = QWidget()
        self._limits_box.setLayout(column(label("Limits", "head"), self._limits))
        self._nearest = label("", "muted")
        self._warnings = label("", "wanted")
        self._fault = Fault()
        self.go = button("Prove the guards", "act")
        self.go.setEnabled(False)  # until it is known whether it can begin
        self._hint = label("", "muted")
        self.foot = QWidget()  # what is to be pressed never scrolls away
        self._lay_out()
        self.renew()
        self.article.activated.connect(self._article_chosen)
        self.protocol.activated.connect(self._protocol_chosen)
        self.cell.editingFinished.connect(self._cell_typed)
        self.go.clicked.connect(self._begin)

    def _lay_out(self) -> None:
        form = QGridLayout()
        form.setHorizontalSpacing(2 * theme.UNIT)
        form.setVerticalSpacing(theme.UNIT)
        rows = (
            ("Article", self.article, self._parts),
            ("Protocol", self.protocol, self._why),
        )
        number = 0
        for words, box, below in rows:
            form.addWidget(label(words, wraps=False), number, 0)
            form.addWidget(box, number, 1)
            form.addWidget(below, number + 1, 1)
            number += 2
        cell = QHBoxLayout()
        cell.setSpacing(theme.UNIT)
        cell.addWidget(self.cell)
        cell.addWidget(label("g, as rated by its maker", "muted"), 1)
        form.addWidget(label("Load cell", wraps=False), number, 0)
        form.addLayout(cell, number, 1)
        form.addLayout(self._timed, number + 1, 1)
        form.setColumnStretch(1, 1)
        inside = column(
            label("Spin", "title"),
            form,
            rule(),
            self._takes,
            self._warnings,
            self._limits_box,
            self._nearest,
        )
        inside.addStretch(1)
        self.setLayout(inside)
        self.foot.setLayout(column(rule(), self._fault, self.go, self._hint))

    # ------------------------------------------------------------------ choosing

    def renew(self) -> None:
        """Fill the lists anew, and show what follows."""
        setup = self._setup
        self._fill(self.article, setup.articles(), setup.article)
        self._fill(self.protocol, setup.protocols(), setup.protocol)
        self._follow()

    def _fill(self, box: QComboBox, named: list[Named], key: str) -> None:
        self._filling = True
        box.clear()
        for item in named:
            box.addItem(item.title, item.key)
            tip = Qt.ItemDataRole.ToolTipRole
            box.setItemData(box.count() - 1, plain_tip(item.why), tip)
        box.addItem(ANOTHER, ANOTHER)
        found = box.findData(key)
        box.setCurrentIndex(max(found, 0))
        self._filling = False

    def _article_chosen(self, index: int) -> None:
        key = self._key(self.article, index, "Article", "articles")
        if key is not None:
            self._setup.article = key
            self._work_out()
        self.renew()

    def _protocol_chosen(self, index: int) -> None:
        key = self._key(self.protocol, index, "Protocol", "protocols")
        if key is not None:
            self._setup.protocol = key
            self._work_out()
        self.renew()

    def _key(self, box: QComboBox, index: int, what: str, kept: str) -> str | None:
        """What was chosen, a file after asking for it; None where none was given."""
        key = str(box.itemData(index))
        if key != ANOTHER:
            return key
        file = self._file(what)
        if not file:
            return None
        self._setup.memory.push(kept, file)
        return file

    def _file(self, what: str) -> str:
        name, _ = QFileDialog.getOpenFileName(self, what, "", "TOML (*.toml)")
        return str(Path(name)) if name else ""

    def _cell_typed(self) -> None:
        try:
            grams = typed_number(self.cell.text(), "The load cell's load", 10, 100_000)
        except GramwattError as fault:
            self._setup.order, self._setup.fault = None, str(fault)
            self._follow()
            self.changed.emit()
            return
        self._setup.load_cell_g = grams
        self._work_out()

    def _timed_chosen(self) -> None:
        self._setup.timed = {n for n, box in self._boxes.items() if box.isChecked()}
        self._work_out()

    def _work_out(self) -> None:
        self._setup.work_out()
        self._follow()
        self.changed.emit()

    def _begin(self) -> None:
        if self._desk.chosen is None:
            self.wants_bench.emit()
            return
        self.begin.emit()

    # ------------------------------------------------------------------ what follows

    def _follow(self) -> None:
        """Show what the choice means, or why it cannot be."""
        setup, seen, order = self._setup, self._setup.seen, self._setup.order
        recipe = setup.recipe
        self._why.setText(recipe.why if recipe else "")
        self._show_parts()
        self._show_timed()
        self._fault.tell(setup.fault)
        known = seen is not None and order is not None
        for part in (self._takes, self._limits_box, self._nearest):
            part.setVisible(known)
        self._warnings.setVisible(bool(seen and seen.warnings))
        if seen is None or order is None:
            return
        self._takes.setText(
            f"{seen.time_words()}, up to "
            f"{100 * order.plan.max_throttle_frac:.0f} % throttle; estimated "
            f"{seen.peak_current_a:.1f} A at most, {seen.takes()}."
        )
        empty(self._limits)
        for number, limit in enumerate(order.task.limits):
            name = label(limit.channel, "muted", wraps=False)
            self._limits.addWidget(name, number, 0, Qt.AlignmentFlag.AlignTop)
            self._limits.addWidget(label(limit.source), number, 1)
        nearest = seen.nearest
        self._nearest.setText(f"Nearest: {nearest.words()}." if nearest else "")
        self._warnings.setText(" ".join(seen.warnings))

    def _show_parts(self) -> None:
        try:
            article = self._setup.loaded_article
        except GramwattError:
            self._parts.setText("")
            return
        parts = [article.motor.name, article.propeller.name, article.esc.name]
        parts += [article.plug.name] if article.plug else []
        parts += [article.pack.name] if article.pack else []
        self._parts.setText(", ".join(parts))

    def _show_timed(self) -> None:
        parts = self._setup.timed_parts()
        if list(self._boxes) == parts:
            return
        empty(self._timed)
        self._boxes = {}
        for part in parts:
            box = QCheckBox(f"{part} to its rating for seconds")
            box.setChecked(part in self._setup.timed)
            box.toggled.connect(self._timed_chosen)
            self._timed.addWidget(box)
            self._boxes[part] = box
        self._timed.addStretch(1)

    def show_desk(self) -> None:
        """Whether it can begin, and what is missing where it cannot."""
        desk, setup = self._desk, self._setup
        words, can = self._readiness()
        if self._hint.text() != words:
            self._hint.setText(words)
        self.go.setEnabled(can)
        if self.leads and can and self.go.isVisible():
            self.leads = False
            self.go.setFocus()
        trouble = desk.trouble
        if trouble is not None and not setup.fault and not desk.busy:
            self._fault.tell(f"{trouble.sentence} {trouble.advice}".strip())
        elif not setup.fault:
            self._fault.tell("")
        wanted = "Choose a stand" if desk.chosen is None else "Prove the guards"
        if desk.chosen is not None and setup.lines:
            wanted = "Begin"
        if self.go.text() != wanted:
            self.go.setText(wanted)
            self.go.setAccessibleName(wanted)

    def _readiness(self) -> tuple[str, bool]:
        desk, setup = self._desk, self._setup
        if setup.order is None:
            return "Something above has to be put right first.", False
        if desk.chosen is None:
            return "There is no stand yet: choose one, or start a simulated one.", True
        if desk.busy:
            return f"{desk.busy[:1].upper()}{desk.busy[1:]} …", False
        if desk.heard.stand is None:
            return f"Nothing answers on {desk.chosen.port} yet.", False
        if setup.lines:
            return (
                "This stand cannot protect itself. Its zeros are taken first; nothing "
                "turns before the checklist."
            ), True
        return (
            "Each guard is made to act with the motor's supply off; nothing turns "
            "before the checklist."
        ), True

"""The Bench: find and choose a stand, see who it is and what it reads.

Shows what this stand can and cannot protect against before anything is spun on it.
"""

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QComboBox,
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)
from typing_extensions import override

from daq.errors import GramwattError
from daq.link.messages import Ability
from daq.link.ports import DEFAULT_BAUD
from ui.desktop import theme
from ui.desktop.flow import Flow
from ui.desktop.model.abilities import ALWAYS, protections
from ui.desktop.model.desk import Desk
from ui.desktop.model.memory import Memory
from ui.desktop.model.numbers import figure, typed_number
from ui.desktop.parts import (
    ABNORMAL,
    GOOD,
    Choice,
    Fault,
    Mark,
    Upright,
    button,
    column,
    empty,
    label,
    rule,
)
from ui.desktop.plots import LivePlot, share_seconds

PLOT_HIGH = 80  # a plot lower than that in px is of no use
PLOTTED = (("thrust", 20.0), ("current", 1.0), ("voltage", 0.5), ("speed", 2000.0))
WINDOWS_S = {"10 s": 10.0, "30 s": 30.0, "2 min": 120.0, "10 min": 600.0, "1 h": 3600.0}


class BenchRoom(QWidget):
    """The room."""

    def __init__(self, desk: Desk, memory: Memory) -> None:
        super().__init__()
        self._desk = desk
        self._memory = memory
        self._told_for: object = None
        self._lines: Path | None = None
        self.choose = self._chooser()
        self._identity = label("", "muted")
        self._fault = Fault()
        self._protection = QVBoxLayout()
        self._protection.setSpacing(theme.UNIT)
        self._channels = QGridLayout()
        self._channels.setHorizontalSpacing(2 * theme.UNIT)
        self._rows: dict[str, tuple[object, ...]] = {}
        left = QWidget()
        inside = column(
            label("Stand", "title"),
            self.choose,
            self._fault,
            self._identity,
            1,
        )
        inside.setContentsMargins(0, 0, 2 * theme.UNIT, 0)
        inside.addLayout(self._channels)
        inside.addSpacing(theme.UNIT)
        inside.addLayout(self._protection)
        inside.addStretch(1)
        left.setLayout(inside)
        scroll = Upright(left, "The stand")
        scroll.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Expanding)
        row = QHBoxLayout(self)
        row.setContentsMargins(
            3 * theme.UNIT, 2 * theme.UNIT, 2 * theme.UNIT, theme.UNIT
        )
        row.setSpacing(3 * theme.UNIT)
        row.addWidget(scroll, 5)
        row.addWidget(rule(upright=True))
        row.addLayout(self._plot_side(), 7)
        self._lay_out()

    # ------------------------------------------------------------------ built once

    def _chooser(self) -> QWidget:
        self.port = Choice("Port of the stand", 10)
        self.port.setEditable(True)
        self.port.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        line = self.port.lineEdit()
        if line is not None:
            line.setPlaceholderText("port, such as /dev/ttyUSB0 or COM3")
        self.baud = QLineEdit(str(self._memory.whole("baud", DEFAULT_BAUD)))
        self.baud.setAccessibleName("Baud rate")
        self.baud.setFixedWidth(theme.scaled(90))
        self.baud.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.look = button("Look", name="Look for ports")
        self.look.clicked.connect(self.find_ports)
        self.open = button("Connect")
        self.open.clicked.connect(self._connect)
        self.leave = button("Disconnect")
        self.leave.clicked.connect(self._desk.disconnect)
        self.described = button("It prints lines …", "plain")
        self.described.setToolTip(
            "A stand that prints lines of text needs a description (TOML). "
            "'gramwatt describe PORT' proposes one."
        )
        self.described.clicked.connect(self._choose_description)
        self.simulate = button("Start a simulated stand", "act")
        self.simulate.clicked.connect(self._desk.simulate)
        self._empty = label(
            "No hardware is needed to look around: a simulated stand behaves like a "
            "real one, and nothing turns.",
            "muted",
        )
        self.port.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        first = Flow(self.port, self.look)
        baud = label("baud", "muted", wraps=False)
        second = Flow(baud, self.baud, self.described)
        third = Flow(self.open, self.leave)
        holder = QWidget()
        holder.setLayout(column(first, second, third, 1, self.simulate, self._empty))
        self.find_ports()
        if self._memory.text("port"):
            self.port.setEditText(self._memory.text("port"))
        return holder

    def _plot_side(self) -> QVBoxLayout:
        self.back = Choice("How far back the plots look", 5)
        self.back.addItems(list(WINDOWS_S))
        self.back.setCurrentText("30 s")
        self.back.currentTextChanged.connect(self._look_back)
        head = QHBoxLayout()
        head.addWidget(label("Live", "title", wraps=False))
        head.addStretch(1)
        head.addWidget(label("the last", "muted", wraps=False))
        head.addWidget(self.back)
        self._plots = {name: LivePlot(name, least) for name, least in PLOTTED}
        self._nothing = label(
            "What the stand reads is drawn here once one is connected.", "muted"
        )
        self._filler = QWidget()
        side = column(head, self._nothing)
        side.setSpacing(theme.UNIT // 2)
        for plot in self._plots.values():
            side.addWidget(plot, 1)
        side.addWidget(self._filler, 1)
        return side

    # ------------------------------------------------------------------ what is done

    def begin(self) -> None:
        """The focus goes to what comes first: the known port, or a simulation."""
        (self.open if self._memory.text("port") else self.simulate).setFocus()

    def find_ports(self) -> None:
        """List the ports that there are, keeping what is typed."""
        typed = self.port.currentText()
        self.port.clear()
        for found in self._desk.ports():
            known = found.description not in ("", "n/a", found.name)
            about = f"   {found.description}" if known else ""
            self.port.addItem(f"{found.name}{about}", found.name)
        if typed:
            self.port.setEditText(typed)
        elif not self.port.count():
            self.port.setEditText("")

    def _named_port(self) -> str:
        index = self.port.currentIndex()
        text = self.port.currentText().strip()
        if index >= 0 and self.port.itemText(index) == text:
            return str(self.port.itemData(index))
        return text.split("   ")[0].strip()

    def _connect(self) -> None:
        try:
            baud = round(typed_number(self.baud.text(), "The baud rate", 300, 4e6))
            name = self._named_port()
            if not name:
                self._fault.tell("Choose a port, or type its name.")
                return
            self._desk.connect(name, baud, self._lines)
            self._memory.set("port", name)
            self._memory.set("baud", baud)
        except GramwattError as fault:
            self._fault.tell(str(fault))

    def _choose_description(self) -> None:
        name, _ = QFileDialog.getOpenFileName(
            self, "Description of the stand", "", "Descriptions (*.toml)"
        )
        self._lines = Path(name) if name else None
        self.described.setText(
            f"It prints lines, as {self._lines.name} says"
            if self._lines
            else "It prints lines …"
        )

    def _look_back(self, words: str) -> None:
        for plot in self._plots.values():
            plot.look_back(WINDOWS_S[words])

    # ------------------------------------------------------------------ what is shown

    def dress(self) -> None:
        """Colours of the scheme."""
        for plot in self._plots.values():
            plot.dress()
        self._share_seconds()

    def show_desk(self) -> None:
        """Show what is known of the stand now."""
        desk = self._desk
        stand, chosen = desk.heard.stand, desk.chosen
        waits = bool(desk.busy)
        self.leave.setEnabled((chosen is not None or waits) and not desk.is_spinning)
        self.leave.setText("Cancel" if waits else "Disconnect")
        self.open.setEnabled(not desk.is_spinning and not desk.busy)
        self.simulate.setEnabled(not desk.is_spinning and not desk.busy)
        self._empty.setVisible(chosen is None)
        trouble = desk.trouble
        if trouble is not None:
            self._fault.tell(f"{trouble.sentence} {trouble.advice}".strip())
        elif stand is not None or desk.busy:
            self._fault.tell("")
        self._identity.setText(self._who())
        if stand is not self._told_for:
            self._told_for = stand
            self._lay_out()
        self._readings()

    def draw(self) -> None:
        """Redraw the plots."""
        heard, now_s = self._desk.heard, self._desk.now_s
        for name, plot in self._plots.items():
            plot.draw(heard.tapes.get(name), now_s)

    def _who(self) -> str:
        desk = self._desk
        if desk.busy:
            return f"{desk.busy[:1].upper()}{desk.busy[1:]} …"
        if desk.chosen is None:
            return ""
        stand = desk.heard.stand
        if stand is None and desk.trouble is not None:
            return ""
        if stand is None:
            return f"Asking on {desk.chosen.port} who is there …"
        identity = stand.identity
        simulated = Ability.SIMULATED in identity.abilities
        kind = "SIMULATED stand" if simulated else "Stand"
        if desk.chosen.lines:
            return f"{kind} that prints lines, on {desk.chosen.port}."
        return (
            f"{kind} {identity.stand_id:08x} on {identity.board}, firmware "
            f"{identity.firmware_major}.{identity.firmware_minor}, boot "
            f"{identity.boot}, on {desk.chosen.port}."
        )

    def _lay_out(self) -> None:
        """Rows for the channels and sentences of another stand."""
        empty(self._channels)
        empty(self._protection)
        self._rows = {}
        stand = self._desk.heard.stand
        self._show_plots()
        for part in (self._nothing, self._filler):
            part.setVisible(stand is None)
        if stand is None:
            return
        for place, words in enumerate(("channel", "reads", "", "a second")):
            self._channels.addWidget(label(words, "small", wraps=False), 0, place)
        for number, page in enumerate(stand.channels, 1):
            cells = (
                label(page.name, wraps=False),
                label("", wraps=False),
                label("", "muted", wraps=False),
                label("", "muted", wraps=False),
            )
            cells[1].setAlignment(Qt.AlignmentFlag.AlignRight)
            for place, cell in enumerate(cells):
                self._channels.addWidget(cell, number, place)
            self._rows[page.name] = cells
        self._channels.setColumnStretch(4, 1)
        self._protection.addWidget(label("What it protects against", "head"))
        chosen = self._desk.chosen
        described = chosen.description if chosen else None
        for told in protections(stand, described):
            line = QHBoxLayout()
            line.setSpacing(theme.UNIT)
            mark = Mark(GOOD if told.has else ABNORMAL, 13)
            line.addWidget(mark, 0, Qt.AlignmentFlag.AlignTop)
            line.addWidget(label(told.sentence), 1)
            self._protection.addLayout(line)
        self._protection.addWidget(label(ALWAYS, "muted"))

    def _show_plots(self) -> None:
        """As many as there is room for, the most wanted first."""
        stand = self._desk.heard.stand
        known = [n for n in self._plots if stand is not None and stand.channel(n)]
        most = max(1, self.height() // theme.scaled(PLOT_HIGH) - 1)
        for name, plot in self._plots.items():
            plot.setVisible(name in known[:most])
        self._share_seconds()

    @override
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._show_plots()

    def _share_seconds(self) -> None:
        shown = [plot.plot for plot in self._plots.values() if not plot.isHidden()]
        share_seconds(shown)

    def _readings(self) -> None:
        heard, now_s = self._desk.heard, self._desk.now_s
        for name, cells in self._rows.items():
            words, unit = figure(name, heard.reading(name, now_s).value)
            due = heard.nominal_hz(name)
            rate = heard.rate_hz(name, now_s)
            for cell, text in zip(
                cells[1:], (words, unit, f"{rate:.0f} of {due:.0f}"), strict=True
            ):
                cell.setText(text)  # type: ignore[attr-defined]

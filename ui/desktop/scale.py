"""The Scale room: what the stand's scales are known to, and calibrating one.

One thing to do at a time, in words large enough to be read from the stand; what the
channel reads beside it. What is said and kept was worked out elsewhere.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from daq.errors import GramwattError, InputFault
from daq.link import session as s
from daq.machine_clock import utc_now
from ui.calibration_steps import POLES
from ui.desktop import theme
from ui.desktop.curves_detail import Sentences
from ui.desktop.flow import Flow
from ui.desktop.model.desk import Desk
from ui.desktop.model.memory import Memory
from ui.desktop.model.numbers import typed_number
from ui.desktop.model.scaling import Place, Row, Scaling, channels_of, kept_of
from ui.desktop.model.watching import Watching
from ui.desktop.parts import Choice, Fault, Upright, button, column, label, rule

STANDARDS: Final = "standards"
METER: Final = "meter"
TAKE: Final = "Take the reading"
KEPT: Final = "What comes of it is kept, and used by the next spin on this stand."
HOW_MASSES: Final = (
    "Each step is said here: what to set down, what it reads, and when it is steady. "
    f"Masses go up and down and are set down anew; it takes some ten minutes. {KEPT}"
)
HOW_METER: Final = (
    "Each step is said here: set a value, wait until it is steady, and type what the "
    f"meter reads. Spread the values over what you use. {KEPT}"
)
COLUMNS: Final = ("", "on it", "nominally", "counts", "scatter")
NAMES: Final = 1
LEFT: Final = Qt.AlignmentFlag.AlignLeft
RIGHT: Final = Qt.AlignmentFlag.AlignRight
METER_WORDS: Final = "the meter, as its maker states it"
METER_MV: Final = f"{METER_WORDS}; one digit in millivolt"
USUAL_METER: Final = "0.5% + 2 x 0.01"


class Readings(QWidget):
    """What was read, the newest at the top, in columns that can be read down."""

    def __init__(self) -> None:
        super().__init__()
        self._parts: list[QWidget] = []
        self._inside = QGridLayout(self)
        self._inside.setContentsMargins(0, 0, 0, 0)
        self._inside.setHorizontalSpacing(2 * theme.UNIT)
        self._inside.setVerticalSpacing(theme.UNIT)
        self._inside.setColumnStretch(len(COLUMNS), 1)

    def tell(self, rows: Sequence[Row]) -> None:
        """Show these, and the columns' heads where there are any."""
        for part in self._parts:
            self._inside.removeWidget(part)
            part.hide()  # what is to be deleted is seen until it is
            part.deleteLater()
        self._parts = []
        for line, row in enumerate((COLUMNS, *rows) if rows else ()):
            for place, text in enumerate(row):
                side = LEFT if place == NAMES else RIGHT
                made = label(text, "small" if line else "muted", wraps=False)
                self._inside.addWidget(made, line, place, side)
                self._parts.append(made)


class ScaleRoom(QWidget):
    """The room.

    Attributes:
        scaling: what it is about.
    """

    def __init__(self, desk: Desk, memory: Memory) -> None:
        super().__init__()
        self.scaling = Scaling(utc_now)
        self._desk, self._memory = desk, memory
        self._watching: Watching | None = None
        self._known: tuple[object, object] = (None, None)
        self._shown: tuple[object, ...] = ()
        self._left = ""
        self._build()
        self._show_choice()

    # ------------------------------------------------------------------ built once

    def _build(self) -> None:
        row = QHBoxLayout(self)
        row.setContentsMargins(
            3 * theme.UNIT, 2 * theme.UNIT, 2 * theme.UNIT, theme.UNIT
        )
        row.setSpacing(3 * theme.UNIT)
        row.addWidget(self._choosing(), 5)
        row.addWidget(rule(upright=True))
        row.addLayout(self._walking(), 7)

    def _choosing(self) -> QWidget:
        self._empty = label(
            "No stand is connected. Connect one on the Bench, or start a simulated "
            "one there: its masses are set down by the program.",
            "muted",
        )
        self._kept = QGridLayout()
        self._kept.setHorizontalSpacing(2 * theme.UNIT)
        self._kept.setColumnStretch(1, 1)
        self._kept_labels: list[QWidget] = []
        self.channel = Choice("Channel to calibrate", 8)
        self.channel.addItems(channels_of(None))
        self.channel.currentTextChanged.connect(lambda _: self._chosen())
        self.file = button("Masses …", name="Choose the file that says what masses")
        self.file.clicked.connect(self._choose_file)
        self._file_name = label("", "small")
        self._meter_label = label(METER_WORDS, "muted")
        self.meter = QLineEdit(self._memory.text(METER) or USUAL_METER)
        self.meter.setAccessibleName("How good the meter is")
        self.start = button("Begin", "act", name="Begin the calibration")
        self.start.clicked.connect(self.begin)
        left = QWidget()
        inside = column(
            label("Scales", "title"),
            self._empty,
            self._kept,
            1,
            Flow(self.channel, self.file),
            self._file_name,
            self._meter_label,
            self.meter,
            1,
        )
        inside.addWidget(self.start, 0, Qt.AlignmentFlag.AlignLeft)
        inside.addStretch(1)
        inside.setContentsMargins(0, 0, 2 * theme.UNIT, 0)
        left.setLayout(inside)
        return Upright(left, "What is known, and what to calibrate")

    def _walking(self) -> QVBoxLayout:
        self._place = label("", "small")
        self._words = label("", "head")
        self._value = label("", "title", wraps=False)
        self._steady = label("", "muted")
        self._fault = Fault()
        self.typed = QLineEdit()
        self.typed.setAccessibleName("What the meter reads")
        self.typed.setPlaceholderText("what the meter reads")
        self.typed.returnPressed.connect(self.take)
        self.take_it = button(TAKE, "act")
        self.take_it.clicked.connect(self.take)
        self.back = button("Take back", name="Take the last reading back")
        self.back.clicked.connect(self.undo)
        self.give_up = button("Give up", name="Give the calibration up")
        self.give_up.clicked.connect(self.leave)
        self._caution = label("", "muted")
        self._rows, self._told = Readings(), Sentences()
        below = QWidget()
        words = column(self._told, self._rows)
        words.addStretch(1)
        words.setContentsMargins(0, 0, 2 * theme.UNIT, 0)  # clear of what scrolls it
        below.setLayout(words)
        side = column(
            self._place,
            self._words,
            self._value,
            self._steady,
            self.typed,
            Flow(self.take_it, self.back, self.give_up),
            self._fault,
            self._caution,
        )
        side.addWidget(Upright(below, "What was read, and what came of it"), 1)
        return side

    # ------------------------------------------------------------------ what is done

    def begin(self) -> None:
        """Begin with the channel that is chosen."""
        stand = self._desk.heard.stand
        if stand is None or self._desk.is_spinning:
            return
        self._left = ""
        own = self._desk.own
        place: Place | None = None if own is None else own.place
        file = self._memory.text(STANDARDS)
        self._memory.set(METER, self.meter.text())
        self.scaling.begin(
            self.channel.currentText(),
            stand=stand,
            standards=Path(file) if file else None,
            meter=self.meter.text(),
            place=place,
            specimen=self._desk.specimen,
        )
        if own is not None and self.scaling.model is not None:
            own.plug(inserted=False)  # nobody else can reach in
        self.show_desk()
        self.take_it.setFocus()

    def take(self) -> None:
        """What the step wants is done."""
        typed = None
        if self.scaling.needs_typing:
            try:
                typed = typed_number(self.typed.text(), "The meter", -1e4, 1e4)
            except InputFault as fault:
                self.scaling.fault = str(fault)
                self.show_desk()
                return
        self.typed.clear()
        self.scaling.take(self._desk.now_s, typed)
        self.show_desk()

    def undo(self) -> None:
        """The last reading is taken back."""
        self.scaling.undo()
        self.show_desk()

    def leave(self) -> None:
        """The calibration is given up; what was read is kept."""
        try:
            self._left = self.scaling.leave()
        except GramwattError as fault:
            self._left = str(fault)
        self.show_desk()

    def _chosen(self) -> None:
        """Another channel: what was said of the one before is no more."""
        if self.scaling.model is None:
            self.scaling.fault = ""
        self._show_choice()

    def _choose_file(self) -> None:
        dialog = QFileDialog(self, "Masses", "", "Masses (*.toml)")
        dialog.setOption(QFileDialog.Option.DontUseNativeDialog)
        dialog.setModal(False)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.choose_file)
        dialog.show()

    def choose_file(self, name: str) -> None:
        """These are the masses."""
        self._memory.set(STANDARDS, name)
        self._show_choice()

    # ------------------------------------------------------------------ what is shown

    def step(self) -> None:
        """Follow the stand; called by the window's timer, shown or not."""
        watching = self._desk.watching
        if watching is not self._watching:
            self._watching = watching
            if watching is not None:
                watching.also = self.scaling.hear
            elif self.scaling.model is not None:
                self.leave()
        self.scaling.step(self._desk.now_s)

    def show_desk(self) -> None:
        """Show what is known now."""
        stand = self._desk.heard.stand
        if (stand, self.scaling.made) != self._known:
            self._known = (stand, self.scaling.made)
            self._show_kept(stand)
        walks = self.scaling.model is not None
        self._empty.setVisible(stand is None)
        self.start.setEnabled(
            stand is not None and not walks and not self._desk.is_spinning
        )
        for part in (self.take_it, self.back, self.give_up):
            part.setVisible(walks)
        self._show_walk()

    def _show_walk(self) -> None:
        scaling = self.scaling
        model = scaling.model
        place, words = scaling.words()
        value, steady = scaling.reads(self._desk.now_s)
        for part, text in (
            (self._place, place),
            (self._words, words),
            (self._value, value),
            (self._steady, steady),
        ):
            part.setText(text)
            part.setVisible(bool(text))
        self.typed.setVisible(scaling.needs_typing)
        # Never disabled while it reads: the focus would go to what gives it up.
        self.take_it.setText("Reading …" if model and model.taking else TAKE)
        self.back.setEnabled(bool(model and model.readings))
        blocked = model.blocked if model else ""
        self._fault.tell(blocked or scaling.fault)
        how = HOW_MASSES if self._weighs else HOW_METER
        idle = self._left or ("" if scaling.made else how)
        said = scaling.caution if model else idle
        self._caution.setText(said)
        self._caution.setVisible(bool(said))
        now = (tuple(scaling.rows()), scaling.made, self._left)
        if now == self._shown:
            return
        self._shown = now
        self._rows.tell(now[0])
        told = [("Kept, and used by the next spin", "head")] if scaling.made else []
        told += [(f"{name}: {said}", "") for name, said in scaling.told()]
        self._told.tell(*told)

    def _show_channels(self, stand: s.Stand | None) -> None:
        """Offer what this stand reads; before there is one, what every stand may."""
        names = channels_of(stand)
        if names == [self.channel.itemText(i) for i in range(self.channel.count())]:
            return
        chosen = self.channel.currentText()
        self.channel.clear()
        self.channel.addItems(names)
        self.channel.setCurrentText(chosen if chosen in names else names[0])

    def _show_kept(self, stand: s.Stand | None) -> None:
        self._show_channels(stand)
        for part in self._kept_labels:
            self._kept.removeWidget(part)
            part.hide()
            part.deleteLater()
        self._kept_labels = []
        for row, (channel, words) in enumerate(kept_of(stand, self._desk.specimen)):
            for place, text in enumerate(
                (label(channel, wraps=False), label(words, "muted"))
            ):
                self._kept.addWidget(text, row, place)
                self._kept_labels.append(text)

    @property
    def _weighs(self) -> bool:
        """Whether the channel that is chosen is held against masses."""
        return self.channel.currentText() == "thrust"

    def _show_choice(self) -> None:
        masses = self._weighs
        self.file.setVisible(masses)
        self._file_name.setVisible(masses)
        self.meter.setVisible(not masses)
        self._meter_label.setVisible(not masses)
        in_mv = self.channel.currentText() in POLES
        self._meter_label.setText(METER_MV if in_mv else METER_WORDS)
        file = self._memory.text(STANDARDS)
        self._file_name.setText(
            file or "No file of masses is chosen; a simulated stand takes the example."
        )

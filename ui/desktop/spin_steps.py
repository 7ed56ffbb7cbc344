"""From the proof to the end of the plan: what is to be done now, in one place."""

import math

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import (
    QCheckBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from daq import units
from ui.cautions import CAUTION, HAND_ON_PLUG, HANDS, START
from ui.desktop import theme
from ui.desktop.drawings import DANGERS, Drawing, drawing_of, drawing_of_hand
from ui.desktop.flow import Flow
from ui.desktop.model.desk import Desk
from ui.desktop.model.numbers import clock
from ui.desktop.model.spinning import Proved, Spinning, Stage
from ui.desktop.parts import ABNORMAL, GOOD, Mark, button, column, empty, label, rule

SEEN = {
    "pulse read back as gone": "pulse seen gone",
    "event": "by its event",
    "current and speed fell": "current seen to fall",
}
STEPS = (
    ("Guards", (Stage.IDENTIFYING, Stage.LATCHED, Stage.PROVING)),
    ("Checklist", (Stage.PLUGGING, Stage.ZEROING)),
    ("Arm", (Stage.READY, Stage.TRYING)),
    ("Run", (Stage.RUNNING, Stage.STOPPING)),
)
UNLOCKED_S = 8.0
WIDE_PX = 400
NOTHING_TURNS = (
    "This program started the simulation itself, so the checklist is waived and one "
    "step is enough. On a real stand everything is asked."
)


class StepsPanel(QWidget):
    """The panel.

    Attributes:
        foot: what is pressed next; it stands below the panel.
        rest: takes the focus where nothing is to be pressed; None for nothing.
    """

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._spinning: Spinning | None = None
        self._rows = 0
        self._led: QWidget | None = None
        self.rest: QWidget | None = None
        self._seen: list[QLabel] = []
        self._head = label("", "head")
        self._steps = Flow()
        self._danger = label("", "danger")
        self._wanted = label("", "wanted")
        self._asked = Drawing("", 56)
        self._now = label("", "muted")
        self._proof = QGridLayout()
        self._proof.setHorizontalSpacing(2 * theme.UNIT)
        self._proof.setVerticalSpacing(theme.UNIT // 2)
        self._proof_box = QWidget()
        self._proof_box.setLayout(column(label("Seen to act", "head"), self._proof))
        self._check_box = QWidget()
        self._checks = QVBoxLayout()
        self._checks.setSpacing(theme.UNIT)
        self._words = QLineEdit()
        self._words_box = QWidget()
        self._build_checklist()
        self._arm_box = QWidget()
        self._build_arming()
        self._left = label("", wraps=False)
        self._left.setStyleSheet(theme.large(40))
        self._run = label("", "head")
        self._clear = button("The cause is found and removed: acknowledge", "act")
        self._clear.clicked.connect(desk.acknowledge)
        wanted = QHBoxLayout()
        wanted.setSpacing(2 * theme.UNIT)
        wanted.addWidget(self._asked, 0, Qt.AlignmentFlag.AlignTop)
        wanted.addWidget(self._wanted, 1)
        inside = column(
            self._head,
            self._steps,
            rule(),
            self._danger,
            wanted,
            self._now,
            self._left,
            self._run,
            self._check_box,
            self._proof_box,
        )
        inside.addStretch(1)
        self.setLayout(inside)
        self.foot = QWidget()  # what is to be pressed never scrolls away
        self.foot.setLayout(column(self._clear, self._arm_box))
        self._relock = QTimer(self)
        self._relock.setSingleShot(True)
        self._relock.timeout.connect(self._lock_again)

    # ------------------------------------------------------------------ built once

    def _build_checklist(self) -> None:
        caution = label(CAUTION, "muted")
        dangers = QHBoxLayout()
        dangers.addWidget(Mark(ABNORMAL, 22))
        for name in DANGERS:
            dangers.addWidget(Drawing(name))
        dangers.addStretch(1)
        self._words.setAccessibleName("Words to be typed")
        self._words.textChanged.connect(self._typed)
        self._words_label = label(HAND_ON_PLUG)
        self._words_hint = label("", "muted")
        said = QHBoxLayout()
        said.addWidget(Drawing(drawing_of("hand on plug")))
        said.addWidget(self._words_label, 1)
        self._words_box.setLayout(column(said, self._words_hint, self._words))
        self._check_box.setLayout(
            column(
                label("Before the motor turns", "head"),
                self._checks,
                self._words_box,
                dangers,
                caution,
            )
        )

    def _build_arming(self) -> None:
        self.unlock = button("1  Everybody is clear")
        self.unlock.setCheckable(True)
        self.unlock.clicked.connect(self._unlock)
        self.go = button("2  Let the motor turn", "act")
        self.go.clicked.connect(self._go)
        self.hold = QCheckBox("Hold to spin: letting go stops")
        self.hold.setToolTip(
            "The motor turns for as long as the second button is held down."
        )
        self.go.pressed.connect(self._held)
        self.go.released.connect(self._let_go)
        self._arm_words = label(START)
        self._arm_box.setLayout(
            column(
                rule(),
                self._arm_words,
                self.unlock,
                self.go,
                self.hold,
            )
        )

    # ------------------------------------------------------------------ one spin

    def begin(self, spinning: Spinning) -> None:
        """Show another spin."""
        self._spinning = spinning
        self._rows, self._led = 0, None
        self._seen = []
        empty(self._proof)
        empty(self._checks)
        self._head.setText(spinning.order.plan.title)
        if spinning.checklist.waived:
            self._checks.addWidget(
                label(
                    "Waived: this program started the simulation itself, and nothing "
                    "turns. On a real stand each sentence is acknowledged here.",
                    "muted",
                )
            )
        for item in spinning.checklist.items if not spinning.checklist.waived else ():
            self._checks.addLayout(self._check(item.name, item.sentence))
        words = spinning.checklist.words
        self._words_box.setVisible(bool(words) and not spinning.checklist.waived)
        self._words_hint.setText(f'Type: "{words}"')
        self._words.clear()
        self.unlock.setChecked(False)

    def _check(self, name: str, sentence: str) -> QHBoxLayout:
        box = QCheckBox()
        box.setAccessibleName(sentence)
        box.toggled.connect(lambda on, n=name: self._acknowledged(n, on))
        words = label(sentence)
        words.setBuddy(box)
        row = QHBoxLayout()
        row.setSpacing(theme.UNIT)
        row.addWidget(box, 0, Qt.AlignmentFlag.AlignVCenter)
        row.addWidget(Drawing(drawing_of(name)))
        row.addWidget(words, 1)
        return row

    def _acknowledged(self, name: str, on: bool) -> None:
        if self._spinning is not None:
            self._spinning.acknowledge(name, so=on)

    def _typed(self, text: str) -> None:
        if self._spinning is not None:
            self._spinning.declare(text)

    # ------------------------------------------------------------------ arming

    def _unlock(self, on: bool) -> None:
        if self._spinning is None:
            return
        self._spinning.unlock(so=on)
        self.go.setEnabled(self._spinning.unlocked)
        if self._spinning.unlocked:
            self._relock.start(round(1e3 * UNLOCKED_S))

    def _lock_again(self) -> None:
        """Nobody took the second step: the first is taken back."""
        self.unlock.setChecked(False)
        if self._spinning is not None:
            self._spinning.unlock(so=False)

    def _go(self) -> None:
        if self._spinning is not None and not self.hold.isChecked():
            self._spinning.go()
            self.unlock.setChecked(False)

    def _held(self) -> None:
        if self._spinning is not None and self.hold.isChecked():
            self._spinning.go()

    def _let_go(self) -> None:
        spinning = self._spinning
        if spinning is not None and self.hold.isChecked() and spinning.went:
            spinning.stop("The button was let go.")

    # ------------------------------------------------------------------ what is shown

    def show_spin(self, spinning: Spinning) -> None:
        """Show how far a spin is."""
        self._show_steps(spinning.stage)
        self._danger.setText(spinning.danger)
        self._danger.setVisible(bool(spinning.danger))
        wanted = self._wanted_words(spinning)
        self._wanted.setText(wanted)
        self._wanted.setVisible(bool(wanted))
        self._asked.show_drawing(drawing_of_hand(wanted))
        self._now.setText(f"Now: {spinning.stage.value}.")
        self._now.setVisible(spinning.stage is not Stage.READY)
        self._clear.setVisible(spinning.stage is Stage.LATCHED)
        before_go = spinning.stage in (Stage.PLUGGING, Stage.ZEROING, Stage.READY)
        asks = before_go and not spinning.went
        self._check_box.setVisible(asks and not spinning.checklist.complete)
        held = spinning.went and self.hold.isChecked()
        ready = spinning.stage is Stage.READY and spinning.checklist.complete
        self._arm_box.setVisible(ready or held)
        waived = spinning.checklist.waived
        self.unlock.setVisible(not waived)
        self._arm_words.setText(NOTHING_TURNS if waived else START)
        words = "Spin the simulation" if waived else "2  Let the motor turn"
        if self.go.text() != words:
            self.go.setText(words)
            self.go.setAccessibleName(words)
        self.unlock.setEnabled(spinning.may_unlock)
        self.go.setEnabled(spinning.unlocked or held)
        self._show_run(spinning)
        for row in spinning.proved[self._rows :]:
            self._add_proved(row)
        around = self.parentWidget() or self  # what it is scrolled in
        wide = around.width() >= theme.scaled(WIDE_PX)  # else how it was seen goes
        for seen in self._seen:
            seen.setVisible(wide)
        self._proof_box.setVisible(
            bool(spinning.proved) and not self._check_box.isVisibleTo(self)
        )
        self._lead(spinning)

    def _lead(self, spinning: Spinning) -> None:
        """The focus goes to what is to be done, once, if somebody sees it.

        Never to what turns a real motor: that is gone to on purpose.
        """
        wanted: QWidget | None = None
        boxes = self._check_box.findChildren(QCheckBox)
        if spinning.stage is Stage.LATCHED:
            wanted = self._clear
        elif self._check_box.isVisible() and boxes:
            wanted = boxes[0]
        elif spinning.stage is Stage.READY and spinning.checklist.waived:
            wanted = self.go
        elif spinning.checklist.complete and self._led in boxes:
            wanted = self.rest  # the list is gone, and the hand was there
        if wanted is not None and wanted is not self._led and wanted.isVisible():
            self._led = wanted
            wanted.setFocus()

    def _wanted_words(self, spinning: Spinning) -> str:
        if spinning.stage is Stage.PLUGGING and not spinning.checklist.waived:
            if not spinning.checklist.complete:
                now = "Now the checklist, then the arming plug."
                return now if spinning.unprotected else f"The guards act. {now}"
            return HANDS["plug in"]
        if spinning.stage is Stage.READY:
            if not spinning.checklist.complete:
                return "Ready. The checklist is left."
            if spinning.checklist.waived:
                return "Ready. Nothing turns in a simulation."
            return "Ready. Two steps to a turning motor."
        return spinning.hand

    def _show_steps(self, stage: Stage) -> None:
        if not self._steps.count():
            for number, (name, _) in enumerate(STEPS, 1):
                self._steps.addWidget(label(f"{number} {name}", "muted", wraps=False))
        p = theme.palette()
        for number, (_, stages) in enumerate(STEPS):
            item = self._steps.itemAt(number)
            words = item.widget() if item is not None else None
            if isinstance(words, QLabel):
                here = stage in stages
                ink = p.ink if here else p.muted
                weight = 600 if here else 400
                words.setStyleSheet(f"color: {ink}; font-weight: {weight};")

    def _show_run(self, spinning: Spinning) -> None:
        live = spinning.live
        walking = not math.isnan(live.began_s) and spinning.stage is Stage.RUNNING
        self._left.setVisible(walking)
        self._run.setVisible(walking)
        if not walking:
            return
        kind = str((live.segment or {}).get("kind", ""))
        left, run = f"{clock(live.left_s)} left", kind
        if live.holding is not None:
            goal = live.holding
            left = f"until {goal.floor_v:.4g} V"
            most = clock(live.hold_left_s)
            run = f"{units.n_to_gf(goal.thrust_n):.1f} gf held, {most} at most,"
        self._left.setText(left)
        self._run.setText(f"{run} at {100 * live.throttle_frac:.0f} % throttle")

    def _add_proved(self, row: Proved) -> None:
        self._rows += 1
        number = self._rows
        took = "by hand" if math.isnan(row.took_ms) else f"{row.took_ms:.0f} ms"
        self._proof.addWidget(Mark(GOOD, 12), number, 0)
        self._proof.addWidget(label(row.called, wraps=False), number, 1)
        figure = label(took, "muted", wraps=False)
        figure.setAlignment(Qt.AlignmentFlag.AlignRight)
        self._proof.addWidget(figure, number, 2)
        seen = label(SEEN.get(row.seen, row.seen), "muted", wraps=False)
        self._seen.append(seen)
        self._proof.addWidget(seen, number, 3)
        self._proof.setColumnStretch(3, 1)

"""The Spin room: put together, prove the guards, go through the checklist, arm, walk.

What has to be done next is in one place on the left, the plan and what is measured on
the right. Nothing here is modal; STOP lies below all of it.
"""

import json
import subprocess
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QHBoxLayout, QStackedWidget, QVBoxLayout, QWidget

from daq.errors import GramwattError
from daq.own_process import command_of
from protocols.plan import Plan
from ui.desktop import theme
from ui.desktop.glimpse import GlimpsePane
from ui.desktop.model.desk import Desk
from ui.desktop.model.memory import Memory
from ui.desktop.model.setup import Setup
from ui.desktop.model.spinning import Spinning, Stage
from ui.desktop.parts import Upright, column, rule
from ui.desktop.spin_end import EndPanel
from ui.desktop.spin_setup import SetupPanel
from ui.desktop.spin_steps import StepsPanel
from ui.desktop.walk import Walk

FINDINGS_S = 120.0


class SpinRoom(QWidget):
    """The room.

    Attributes:
        setup: what is put together.
        wants_bench: tells that a stand has to be chosen first.
        wants_curves: tells the run that a person wants to see among others.
    """

    wants_bench = Signal()
    wants_curves = Signal(str)

    def __init__(self, desk: Desk, memory: Memory) -> None:
        super().__init__()
        self._desk = desk
        self._memory = memory
        self._shown: Spinning | None = None
        self._closed: Spinning | None = None
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="findings")
        self._findings: Future[list[str]] | None = None
        self.setup = Setup(memory)
        self.setup.recall()
        self.setup.work_out()
        self.panel = SetupPanel(desk, self.setup)
        self.steps = StepsPanel(desk)
        self.end = EndPanel()
        self.walk = Walk()
        self.glimpse = GlimpsePane()
        self.glimpse.setVisible(False)
        self.panel.changed.connect(self._plan_changed)
        self.panel.begin.connect(self._begin)
        self.panel.wants_bench.connect(self.wants_bench)
        self.end.again.connect(self._again)
        self.end.curves.connect(lambda: self.wants_curves.emit(self._run_folder()))
        self._left = QStackedWidget()
        self._scrolls: list[Upright] = []
        for part, name in (
            (self.panel, "What is going to be spun"),
            (self.steps, "The spin, step by step"),
            (self.end, "How the spin ended"),
        ):
            inside = part.layout()
            if inside is not None:
                inside.setContentsMargins(theme.UNIT // 2, 0, 2 * theme.UNIT, 0)
            scroll = Upright(part, name)
            self._scrolls.append(scroll)
            self._left.addWidget(_page(scroll, part.foot))
        row = QHBoxLayout(self)
        row.setContentsMargins(
            3 * theme.UNIT, 2 * theme.UNIT, 2 * theme.UNIT, theme.UNIT
        )
        row.setSpacing(3 * theme.UNIT)
        row.addWidget(self._left, 5)
        row.addWidget(rule(upright=True))
        right = QVBoxLayout()
        right.setSpacing(theme.UNIT)
        right.addWidget(self.walk, 8)
        right.addWidget(self.glimpse, 3)
        row.addLayout(right, 7)
        self.steps.rest = self._scrolls[1]
        self._plan_changed()

    def dress(self) -> None:
        """Colours of the scheme."""
        self.walk.dress()
        self.glimpse.dress()

    def close_jobs(self) -> None:
        """Nobody waits for findings any more."""
        self._pool.shutdown(wait=False, cancel_futures=True)

    # ------------------------------------------------------------------ what is done

    def _plan_changed(self) -> None:
        order = self.setup.order
        self.walk.show_plan(order.plan if order else None, self.setup.seen)
        self._await_captures(order.plan if order else None)

    def _await_captures(self, plan: Plan | None) -> None:
        """Make room for captures where the plan asks for some."""
        self.glimpse.forget()
        self.glimpse.setVisible(plan is not None and bool(plan.captures))

    def _begin(self) -> None:
        order = self.setup.order
        if order is None:
            return
        self.setup.remember()
        self._memory.save()
        self._closed = None
        out = Path(self._memory.text("runs", "runs"))
        self._desk.spin(order, out)

    def _again(self) -> None:
        """Back to putting together, for the next spin."""
        self._closed = self._desk.spinning
        self.setup.work_out()  # another nonce: it names one arming
        self.panel.renew()
        self.walk.show_plan(None, None)
        self._plan_changed()
        self.panel.leads = True
        self.show_desk()

    def _run_folder(self) -> str:
        spinning = self._desk.spinning
        return str(spinning.folder) if spinning else ""

    # ------------------------------------------------------------------ what is shown

    def show_desk(self) -> None:
        """Show how far it is."""
        spinning = self._desk.spinning
        if spinning is None or spinning is self._closed:
            chosen = self._desk.chosen
            lines = chosen.lines if chosen else ""
            if lines != self.setup.lines:
                self.setup.lines = lines
                self.setup.work_out()
                self._plan_changed()
            self.panel.show_desk()
            self._left.setCurrentIndex(0)
            return
        if spinning is not self._shown:
            self._shown = spinning
            self._findings = None
            self.steps.begin(spinning)
            self.walk.show_plan(None, None)
            self.walk.show_plan(spinning.order.plan, self.setup.seen)
            self._await_captures(spinning.order.plan)
        if spinning.stage is Stage.ENDED:
            self._show_end(spinning)
        else:
            self.steps.show_spin(spinning)
            self._left.setCurrentIndex(1)

    def _show_end(self, spinning: Spinning) -> None:
        if self._findings is None and _worth(spinning):
            self._findings = self._pool.submit(findings_of, spinning.folder)
        done = self._findings is not None and self._findings.done()
        found: list[str] | None = None
        if done and self._findings is not None:
            found = _result(self._findings)
        self.end.show_end(spinning, found, expected=_worth(spinning))
        if self._left.currentIndex() != 2 and self.isVisible():
            self._left.setCurrentIndex(2)
            # Not a button: a key that was meant to stop must not find one.
            self._scrolls[2].setFocus()
        self._left.setCurrentIndex(2)

    def draw(self) -> None:
        """Redraw what is measured."""
        spinning = self._desk.spinning
        if spinning is not None and spinning is not self._closed:
            self.walk.draw(spinning)
            newest = spinning.heard.glimpses.newest
            label = spinning.live.captures.get(newest.number, "") if newest else ""
            self.glimpse.draw(newest, label)


def _page(scroll: Upright, foot: QWidget) -> QWidget:
    """What scrolls, over what is pressed next."""
    below = foot.layout()
    if below is not None:
        below.setContentsMargins(theme.UNIT // 2 + 2, 0, 2 * theme.UNIT + 2, 0)
    made = QWidget()
    whole = column()
    whole.addWidget(scroll, 1)
    whole.addWidget(foot)
    made.setLayout(whole)
    return made


def _worth(spinning: Spinning) -> bool:
    """Whether there is anything that a page could tell."""
    outcome = spinning.outcome or {}
    return spinning.live.tried or outcome.get("data") not in (None, "none")


def _result(future: Future[list[str]]) -> list[str]:
    try:
        return future.result()
    except (GramwattError, OSError, subprocess.SubprocessError, ValueError) as fault:
        return [f"The findings could not be made: {fault}"]


def findings_of(folder: Path) -> list[str]:
    """Analyse a run in a process of its own; sentences, and its page written.

    Raises:
        GramwattError: it cannot be analysed.
        OSError: the process did not start.
        SubprocessError: it took too long.
        ValueError: it answered nonsense.
    """
    command = command_of("ui.cli.main", "rebuild", str(folder), "--json")
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=FINDINGS_S, check=False
    )
    if not done.stdout.strip():
        raise GramwattError(done.stderr.strip().removeprefix("gramwatt: "))
    derived = Path(str(json.loads(done.stdout)["derived"]))
    found = derived / "findings.json"
    if not found.is_file():
        return []  # nothing was sampled; the page tells the rest
    rows = json.loads(found.read_text(encoding="utf-8"))
    return [str(row["sentence"]) for row in rows]

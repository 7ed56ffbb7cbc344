"""The Curves room: the library of runs, and the curves of those that are chosen.

Folders are read and curves fetched in the background, so that the window's beat never
waits for a disk; nothing here is modal. What is drawn was worked out elsewhere.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QSplitter, QVBoxLayout, QWidget
from typing_extensions import override

from ui.desktop.background import Background
from ui.desktop.curves_detail import report_of
from ui.desktop.curves_library import LibrarySide
from ui.desktop.curves_shown import ShownSide
from ui.desktop.model.held import hold, marks
from ui.desktop.model.library import Library
from ui.desktop.model.making import Making
from ui.desktop.model.memory import Memory
from ui.desktop.model.overlay import MOST
from ui.desktop.model.places import absolute
from ui.desktop.model.traces import Traces
from ui.results import ANALYSIS

SPLIT: Final = "curves split"  # left share in thousandths
USUAL_SPLIT: Final = 575


class CurvesRoom(QWidget):
    """The room.

    Attributes:
        library: the runs in the chosen folders.
        making: what is being worked out.
        side: folders, filter, table and the chosen run.
        shown: the plot and what goes with it.
    """

    def __init__(self, memory: Memory) -> None:
        super().__init__()
        self._memory = memory
        self.library = Library(())
        self.making = Making()
        self._traces = Traces()
        self._ticks: dict[Path, None] = {}
        self._wanted: Path | None = None
        self._open_after: Path | None = None
        self._jobs = Background(self, self._step)
        self.side, self.shown = LibrarySide(memory), ShownSide()
        self._split = QSplitter(Qt.Orientation.Horizontal)
        self._split.setChildrenCollapsible(False)
        self._split.setHandleWidth(1)
        for number, part in enumerate((self.side, self.shown)):
            self._split.addWidget(part)
            self._split.setStretchFactor(number, 1)
        share = min(max(memory.whole(SPLIT, USUAL_SPLIT), 200), 800)
        self._split.setSizes([share, 1000 - share])
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self._split)
        self._connect()
        self._show_making()

    def _connect(self) -> None:
        side, shown = self.side, self.shown
        side.chosen.connect(self._show_chosen)
        side.elsewhere.connect(self.refresh)
        side.asked.connect(self._ask_folder)
        side.runs.ticked_by_hand.connect(self.tick)
        side.panel.kept.connect(self._label_kept)
        shown.redrawn.connect(self._show_ticks)
        shown.untick.clicked.connect(self._untick)
        shown.make.clicked.connect(lambda: self._make(shown.lacking()))
        shown.cancel.clicked.connect(self._give_up)
        shown.held.asked.connect(self._compare)
        shown.held.weighed.connect(self._weigh)
        shown.page.clicked.connect(self._open_page)
        self._split.splitterMoved.connect(self._remember_split)

    # ------------------------------------------------------------------ the window's

    def refresh(self) -> None:
        """Look at the folders again, in the background."""
        wanted = tuple(self.side.chosen_folders())
        if self.library.folders != wanted:
            self.library = Library(wanted)
        self._jobs.start("look", self.library.looked_again, self._looked_at)

    def choose(self, folder: str) -> None:
        """Show a run, wherever it is."""
        self._wanted = absolute(folder)
        self.side.show_place_of(self._wanted)
        self.refresh()

    def dress(self) -> None:
        """Colours of the scheme."""
        self.side.dress()
        self.shown.dress()

    def close_jobs(self) -> None:
        """Keep what was typed, and end everything that runs in the background."""
        self.side.panel.keep()
        self.making.cancel()
        self._jobs.close()

    @property
    def busy(self) -> bool:
        """Whether anything is still going on in the background."""
        return self._jobs.busy

    @override
    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        if not self.side.looked:
            self.refresh()

    def _remember_split(self) -> None:
        left, right = self._split.sizes()
        self._memory.set(SPLIT, round(1000 * left / max(left + right, 1)))

    def _ask_folder(self) -> None:
        self.shown.ask_folder(self.side.chosen_folders()[0], self.side.add_folder)

    # ------------------------------------------------------------------ rows

    def _looked_at(self, library: Library) -> None:
        if library.folders != self.library.folders:
            return  # others were chosen meanwhile, and are being looked at
        self.library = library
        wanted, self._wanted = self._wanted, None
        if wanted is not None and library.row_of(wanted) is not None:
            self.side.current = wanted
        elif wanted is not None:
            self.shown.tell(f"There is no run in {wanted}.")
        there = {row.folder for row in library.rows if row.readable}
        self._ticks = {folder: None for folder in self._ticks if folder in there}
        self.side.show_library(library)

    def _label_kept(self, folder: Path) -> None:
        self.library = self.library.labelled(folder)
        if self._jobs.runs("look"):
            self.refresh()  # it may have read the label before it was written
        self.side.show_library(self.library)

    def tick(self, folder: Path) -> None:
        """Keep a run in the plot, or do so no more."""
        if folder in self._ticks:
            del self._ticks[folder]
        elif len(self._ticks) < MOST:
            self._ticks[folder] = None
        else:
            self.shown.tell(f"No more than {MOST} runs fit into one plot.")
        self._fetch()

    def _untick(self) -> None:
        self._ticks.clear()
        self._fetch()

    def _show_ticks(self) -> None:
        self.side.show_ticks(self._ticks, self.shown.styles)
        self._show_making()

    # ------------------------------------------------------------------ curves

    def _show_chosen(self) -> None:
        self.shown.show_row(
            self.side.row, is_empty=not self.library.rows, looked=self.side.looked
        )
        self._fetch()

    def _fetch(self) -> None:
        """Read what is to be drawn, in the background."""
        chosen, traces = self.side.row, self._traces
        ticked = (self.library.row_of(folder) for folder in self._ticks)
        rows = [row for row in ticked if row is not None]
        if chosen is not None and chosen.readable and chosen not in rows:
            rows.append(chosen)
        self._jobs.start(
            "fetch", lambda: [traces.get(row) for row in rows], self.shown.show_traces
        )

    # ------------------------------------------------------------------ comparing

    def _compare(self, folders: Sequence[Path]) -> None:
        """Hold runs against each other, in the background."""
        self._jobs.start(
            "compare",
            lambda: hold(folders),
            lambda held: self.shown.show_held(held, folders),
        )

    def _weigh(self, weight_g: float) -> None:
        """Look where they would hover, in the background."""
        held = self.shown.held.held
        if held is not None:
            self._jobs.start(
                "marks", lambda: marks(held, weight_g), self.shown.show_marks
            )

    # ------------------------------------------------------------------ working out

    def _make(self, folders: Iterable[Path]) -> None:
        self.shown.tell("")
        self.making.ask(folders)
        self._show_making()
        self._jobs.wake()

    def _step(self) -> bool:
        """Take up what was worked out; whether there is more to come."""
        if not self.making.busy:
            return False
        ended = self.making.step()
        self._show_making()
        if ended:
            self._made(ended)
        return self.making.busy

    def _made(self, ended: list[Path]) -> None:
        faults = [f"{f.name}: {why}" for f, why in self.making.faults.items()]
        self.shown.tell(" ".join(faults))
        after = self._open_after
        if after is not None and after in ended:
            self._open_after = None
            if after not in self.making.faults:
                self.shown.open(after / "derived" / ANALYSIS / "report.html")
        self.refresh()

    def _give_up(self) -> None:
        self._open_after = None
        self.making.cancel()
        self._show_making()
        self.refresh()

    def _show_making(self) -> None:
        self.shown.show_making(self.making, ticked=bool(self._ticks))

    def _open_page(self) -> None:
        """Show the page in the browser; it is made first where there is none."""
        row = self.side.row
        if row is None:
            return
        page = report_of(row)
        if page is not None:
            self.shown.open(page)
            return
        self._open_after = row.folder
        self._make([row.folder])

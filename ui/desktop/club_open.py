"""The Club room's second part: bundles that came, looked into before they are trusted.

They are looked into by a child process; what is shown is what it found. Runs go among
the person's own in the background, and only those that were ticked.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import QSignalBlocker, QSize, Qt, Signal
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import (
    QFileDialog,
    QFrame,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QStackedWidget,
    QWidget,
)

from daq.errors import GramwattError
from ui.club.taking import Taken
from ui.desktop import theme
from ui.desktop.asking import asking
from ui.desktop.background import Background
from ui.desktop.club_bundle import BundleView
from ui.desktop.club_parts import Progress
from ui.desktop.curves_table import rendered
from ui.desktop.flow import Flow
from ui.desktop.model.memory import Memory
from ui.desktop.model.openings import Bundle, Opening, Stage
from ui.desktop.model.places import own_runs
from ui.desktop.model.signers import Keys
from ui.desktop.parts import (
    ABNORMAL,
    NEUTRAL,
    Mark,
    Upright,
    button,
    column,
    label,
    plain_tip,
    rule,
)

PLACE: Final = "club open"
EMPTY: Final = "Open what somebody sent you"
HOW: Final = (
    "Drop bundles here, or choose their files. Each is checked by a process of its "
    "own: how it is laid out, the hash of every file, its signature; then its wire "
    "logs are read again, and where the sender's figures differ that is said. Nothing "
    "goes among your runs before you say so."
)


class OpenPage(QWidget):
    """The page.

    Attributes:
        opening: the bundles.
        view: the one that is shown.
        keys_changed: tells that somebody's key is kept now.
        taken: tells that runs were put among the person's.
    """

    keys_changed = Signal()
    taken = Signal()

    def __init__(self, memory: Memory, jobs: Background) -> None:
        super().__init__()
        self._memory, self._jobs = memory, jobs
        self.opening = Opening()
        self._keys = Keys()
        self._shown: Bundle | None = None
        self._known: tuple[object, ...] = ()
        self._build()
        self._connect()
        self._tell("")
        self._show_list()

    def _build(self) -> None:
        self.open = button("Open bundles …", "act", name="Choose bundles to open")
        self._told = label("", "muted")
        self.progress = Progress("looking into bundles")
        self.list = QListWidget()
        self.list.setAccessibleName("Bundles that came: up and down choose one")
        self.list.setTextElideMode(Qt.TextElideMode.ElideMiddle)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setMinimumWidth(theme.scaled(150))
        self.list.setIconSize(QSize(theme.scaled(16), theme.scaled(16)))
        self.view = BundleView()
        self._scroll = Upright(self.view, "What was found in the bundle")
        both = QWidget()
        row = QHBoxLayout(both)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(2 * theme.UNIT)
        row.addWidget(self.list, 2)
        row.addWidget(rule(upright=True))
        row.addWidget(self._scroll, 5)
        blank = QFrame()
        blank.setProperty("role", "drop")
        words = column(label(EMPTY, "title"), label(HOW), margin=4 * theme.UNIT)
        words.addStretch(1)
        blank.setLayout(words)
        self._pages = QStackedWidget()
        self._pages.addWidget(blank)
        self._pages.addWidget(both)
        inside = column(Flow(self.open), self._told, self.progress)
        inside.addWidget(self._pages, 1)
        self.setLayout(inside)

    def _connect(self) -> None:
        self.open.clicked.connect(self._ask_files)
        self.progress.given_up.connect(self._give_up)
        self.list.currentRowChanged.connect(lambda _: self._choose())
        self.view.key_kept.connect(self.keys_changed)
        self.view.taking.connect(self._take)
        self.view.again.connect(self._again)
        self.view.away.connect(self._put_away)

    # ------------------------------------------------------------------ bundles

    def ask(self, paths: Iterable[Path]) -> None:
        """Look into these files."""
        found = self.opening.ask(paths)
        self._tell(self.opening.told)
        if found:
            self._memory.set(PLACE, str(found[0].path.parent))
        if found and (self._shown is None or len(found) == 1):
            self._shown = found[0]
        self._show_list()
        self._jobs.wake()

    def _ask_files(self) -> None:
        dialog = asking(self, "Bundles", QFileDialog.FileMode.ExistingFiles)
        dialog.setNameFilter("Bundles (*.zip)")
        dialog.setDirectory(self._memory.text(PLACE) or str(Path.home()))
        dialog.filesSelected.connect(lambda names: self.ask(map(Path, names)))
        dialog.show()

    def step(self, *, may_work: bool) -> bool:
        """Go on; whether there is more to come."""
        opening = self.opening
        if not opening.busy:
            return False
        changed = self.opening.step(may_work=may_work)
        done, of = self.opening.progress
        goes_on: bool = self.opening.busy
        if goes_on and not may_work:
            self.progress.wait()
        else:
            self.progress.tell(self.opening.words, (done, of) if of > 1 else None)
        if changed:
            self._show_list()
        return goes_on

    def _give_up(self) -> None:
        self.opening.give_up()
        self._jobs.wake()
        if not self.opening.busy:
            self.progress.tell("")
        self._show_list()

    def _again(self) -> None:
        if self._shown is not None:
            self.ask([self._shown.path])

    def _put_away(self) -> None:
        bundle = self._shown
        if bundle is None:
            return
        place = self.opening.bundles.index(bundle)
        self.opening.put_away(bundle)
        left = self.opening.bundles
        self._shown = left[min(place, len(left) - 1)] if left else None
        self._show_list()
        (self.list if left else self.open).setFocus()

    # ------------------------------------------------------------------ what is shown

    def show_keys(self, keys: Keys) -> None:
        """These keys are kept now."""
        if keys != self._keys:
            self._keys = keys
            self._show_bundle()

    def dress(self) -> None:
        """Colours of the scheme."""
        self._show_list()

    def _show_list(self) -> None:
        bundles = self.opening.bundles
        if self._shown not in bundles:
            self._shown = bundles[0] if bundles else None
        self._pages.setCurrentIndex(1 if bundles else 0)
        quiet = QSignalBlocker(self.list)
        self.list.clear()
        for bundle in bundles:
            item = QListWidgetItem(f"{bundle.name}\n{bundle.words}")
            item.setIcon(_icon(bundle))
            item.setToolTip(plain_tip(f"{bundle.path}\n{bundle.words}"))
            self.list.addItem(item)
        if self._shown is not None:
            self.list.setCurrentRow(bundles.index(self._shown))
        quiet.unblock()
        self._show_bundle()

    def _choose(self) -> None:
        place = self.list.currentRow()
        if 0 <= place < len(self.opening.bundles):
            self._shown = self.opening.bundles[place]
            self._scroll.verticalScrollBar().setValue(0)
            self._show_bundle()

    def _show_bundle(self) -> None:
        """Show it anew where it changed: what somebody types there is kept else."""
        bundle, home = self._shown, own_runs(self._memory)
        now: tuple[object, ...] = (self._keys, home)
        if bundle is not None:
            now = (
                *now,
                id(bundle),
                bundle.stage,
                bundle.why,
                len(bundle.taken),
                bundle.left,
            )
        if now != self._known:
            self._known = now
            self.view.show_bundle(bundle, self._keys, home)

    def _tell(self, words: str) -> None:
        self._told.setText(words)
        self._told.setVisible(bool(words))

    # ------------------------------------------------------------------ taking

    def _take(self, names: Sequence[str]) -> None:
        """Put runs among the person's, in the background."""
        bundle, out = self._shown, own_runs(self._memory)
        if bundle is None:
            return
        self.view.take.setEnabled(False)

        def work() -> Taken | str:
            try:
                return bundle.take(names, out)
            except GramwattError as fault:
                return str(fault)

        self._jobs.start("take", work, lambda got: self._took(bundle, got))

    def _took(self, bundle: Bundle, got: Taken | str) -> None:
        if isinstance(got, Taken):
            bundle.keep(got)
        if bundle is self._shown:
            self._show_bundle()
            self.view.show_taking()
            if isinstance(got, str):
                self.view.tell([got])
        if isinstance(got, Taken):
            self.taken.emit()

    def close_jobs(self) -> None:
        """The window goes."""
        self.opening.close()


def _icon(bundle: Bundle) -> QIcon:
    """A bundle's mark, of the same colour whether it is chosen or not."""
    odd = bundle.stage is Stage.REFUSED or bundle.differing
    mark = rendered(Mark(ABNORMAL if odd else NEUTRAL, 16))
    icon = QIcon(mark)
    icon.addPixmap(mark, QIcon.Mode.Selected)
    return icon

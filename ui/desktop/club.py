"""The Club room: runs packed, bundles opened, the club's site, whose keys are known.

What takes a core is done by other processes, and none of it while a spin goes on; the
window's beat waits for nothing here.
"""

from pathlib import Path
from typing import Final

from PySide6.QtGui import QDragEnterEvent, QDropEvent, QShowEvent
from PySide6.QtWidgets import QStackedWidget, QVBoxLayout, QWidget
from typing_extensions import override

from ui.desktop import theme
from ui.desktop.background import Background
from ui.desktop.club_keys import KeysPage
from ui.desktop.club_open import OpenPage
from ui.desktop.club_pack import PackPage
from ui.desktop.club_parts import Pages
from ui.desktop.club_site import SitePage
from ui.desktop.model.desk import Desk
from ui.desktop.model.memory import Memory
from ui.desktop.parts import label

PARTS: Final = ("Pack", "Open", "Site", "Signatures")
PART: Final = "club part"
SPINS: Final = (
    "A spin goes on: nothing is packed, looked into or built until it is over, since "
    "that takes a core."
)


class ClubRoom(QWidget):
    """The room.

    Attributes:
        pages: the names of its parts.
        pack: runs packed for somebody else.
        open: bundles that came.
        site: a folder of bundles made a site.
        keys: one's own signature, and whose are known.
    """

    def __init__(self, desk: Desk, memory: Memory) -> None:
        super().__init__()
        self._desk, self._memory = desk, memory
        self._looked = False
        self._jobs = Background(self, self._step)
        self.pages = Pages(PARTS)
        self.pack = PackPage(memory, self._jobs)
        self.open = OpenPage(memory, self._jobs)
        self.site = SitePage(memory, self._jobs)
        self.keys = KeysPage(self._jobs)
        self._stack = QStackedWidget()
        for page in (self.pack, self.open, self.site, self.keys):
            self._stack.addWidget(page)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(2 * theme.UNIT, theme.UNIT, 2 * theme.UNIT, theme.UNIT)
        whole.setSpacing(theme.UNIT)
        whole.addWidget(self.pages)
        self._spins = label(SPINS, "muted")
        self._spins.setVisible(False)
        whole.addWidget(self._spins)
        whole.addWidget(self._stack, 1)
        self.setAcceptDrops(True)
        self.pages.chosen.connect(self.go_to)
        self.open.keys_changed.connect(self.keys.refresh)
        self.pack.packed.connect(self.keys.refresh)
        self.open.taken.connect(self.pack.refresh)
        self.keys.changed.connect(self.open.show_keys)
        part = memory.whole(PART, 0)
        self.go_to(part if 0 <= part < len(PARTS) else 0)

    def go_to(self, part: int) -> None:
        """Show a part of the room."""
        self._memory.set(PART, part)
        self._stack.setCurrentIndex(part)
        self.pages.show_page(part)

    def refresh(self) -> None:
        """Look at runs and keys again, in the background."""
        self._looked = True
        self.pack.refresh()
        self.keys.refresh()

    def show_desk(self) -> None:
        """Say while a spin goes on that what takes a core waits."""
        spins = self._desk.is_spinning
        if spins == self._spins.isHidden():
            self._spins.setVisible(spins)

    @property
    def busy(self) -> bool:
        """Whether anything is still going on."""
        return self._jobs.busy

    def _step(self) -> bool:
        may_work = not self._desk.is_spinning
        # Each of them, whatever another says.
        busy = {p.step(may_work=may_work) for p in (self.pack, self.open, self.site)}
        return True in busy

    def dress(self) -> None:
        """Colours of the scheme."""
        self.pages.dress()
        self.pack.dress()
        self.open.dress()

    def close_jobs(self) -> None:
        """End everything that goes on elsewhere."""
        self.pack.close_jobs()
        self.open.close_jobs()
        self.site.close_jobs()
        self._jobs.close()

    @override
    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        if not self._looked:
            self.refresh()

    @override
    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        urls = event.mimeData().urls()
        if urls and all(url.isLocalFile() for url in urls):
            event.acceptProposedAction()

    @override
    def dropEvent(self, event: QDropEvent) -> None:
        paths = [Path(url.toLocalFile()) for url in event.mimeData().urls()]
        event.acceptProposedAction()
        self.go_to(PARTS.index("Open"))
        self.open.ask(paths)

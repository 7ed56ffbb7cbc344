"""The Club room's third part: a folder of bundles made a site that any browser shows.

Looking through and building are an errand; nothing here computes.
"""

from pathlib import Path
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog, QHBoxLayout, QLineEdit, QSizePolicy, QWidget

from ui.desktop import theme
from ui.desktop.asking import asking
from ui.desktop.background import Background
from ui.desktop.club_parts import Form, Progress
from ui.desktop.curves_detail import Sentences
from ui.desktop.curves_shown import open_outside
from ui.desktop.flow import Flow
from ui.desktop.model import sites
from ui.desktop.model.clubs import SiteBuilt
from ui.desktop.model.errands import Work
from ui.desktop.model.memory import Memory
from ui.desktop.parts import ABNORMAL, Fault, Mark, Upright, button, column, label

FOLDER: Final = "club bundles"
CLUB: Final = "club name"
SITE: Final = "club site"
HOW: Final = (
    "Put the bundles that the members packed into one folder. They are all looked "
    "through, each once, and made into pages that any web host, a shared drive or a "
    "memory stick serves: no server, and nothing is asked of the internet."
)


class SitePage(QWidget):
    """The page.

    Attributes:
        work: looking through and building.
        built: what the last one gave; None before.
    """

    def __init__(self, memory: Memory, jobs: Background) -> None:
        super().__init__()
        self._memory, self._jobs = memory, jobs
        self.work = Work()
        self.built: SiteBuilt | None = None
        self._site_typed = bool(memory.text(SITE))
        self._build()
        self._connect()
        self._show_state()

    def _build(self) -> None:
        memory = self._memory
        self.folder = QLineEdit(memory.text(FOLDER))
        self.folder.setAccessibleName("Folder of the club's bundles")
        self.folder.setPlaceholderText("folder with the members' bundles")
        self.other = button("Folder …", name="Choose the folder of the club's bundles")
        self.name = QLineEdit(memory.text(CLUB))
        self.name.setAccessibleName("What the club is called")
        self.name.setPlaceholderText("what the club is called")
        self.name.setMaxLength(sites.MOST_NAME)
        self.site = QLineEdit(memory.text(SITE))
        self.site.setAccessibleName("Folder that the site is written to")
        self.place = button("Place …", name="Choose where the site is written")
        for wide in (self.folder, self.name, self.site):
            wide.setMinimumWidth(theme.scaled(150))
            wide.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.go = button("Build the site", "act")
        self.show_site = button("Open the site", name="Open the site in the browser")
        self.show_site.setVisible(False)
        self._lacks = label("", "muted")
        self.progress = Progress("building the site")
        self.fault = Fault()
        self._built = label("", "head")
        self._where = label("", "muted")
        self._refused_mark = Mark(ABNORMAL, 18)
        self._refused_head = label("", "fault")
        head = QHBoxLayout()
        head.setSpacing(theme.UNIT)
        head.addWidget(self._refused_mark, 0, Qt.AlignmentFlag.AlignTop)
        head.addWidget(self._refused_head, 1)
        self._refused = Sentences()
        part = QWidget()
        inside = column(
            label("The club's site", "head"),
            label(HOW, "muted"),
            Form(
                ("Bundles in", Flow(self.folder, self.other)),
                ("Club", self.name),
                ("Written to", Flow(self.site, self.place)),
            ),
            Flow(self.go, self.show_site),
            self._lacks,
            self.progress,
            self.fault,
            self._built,
            self._where,
            head,
            self._refused,
        )
        inside.setContentsMargins(0, 0, theme.UNIT, 0)
        inside.addStretch(1)
        part.setLayout(inside)
        whole = column(Upright(part, "The club's site"))
        self.setLayout(whole)

    def _connect(self) -> None:
        self.other.clicked.connect(lambda: self._ask(self.folder, "Bundles"))
        self.place.clicked.connect(lambda: self._ask(self.site, "Site"))
        self.folder.textChanged.connect(lambda _: self._folder_changed())
        self.site.textEdited.connect(self._site_edited)
        for field in (self.name, self.site):
            field.textChanged.connect(lambda _: self._show_state())
        self.go.clicked.connect(self.build)
        self.show_site.clicked.connect(self._open)
        self.progress.given_up.connect(self.give_up)

    # ------------------------------------------------------------------ choosing

    def _ask(self, field: QLineEdit, title: str) -> None:
        dialog = asking(self, title, QFileDialog.FileMode.Directory)
        start = Path(field.text()) if field.text() else Path.home()
        dialog.setDirectory(str(start if start.is_dir() else start.parent))
        dialog.fileSelected.connect(lambda name: self._asked_for(field, name))
        dialog.show()

    def _asked_for(self, field: QLineEdit, name: str) -> None:
        field.setText(name)
        if field is self.site:
            self._site_edited(name)

    def _site_edited(self, text: str) -> None:
        self._site_typed = bool(text.strip())

    def _folder_changed(self) -> None:
        if not self._site_typed:
            self.site.setText(sites.site_beside(self.folder.text()))
        self._show_state()

    def _texts(self) -> tuple[str, str, str]:
        return self.folder.text(), self.name.text(), self.site.text()

    def _show_state(self) -> None:
        lacks = sites.lacking(*self._texts())
        self._lacks.setText(lacks)
        self._lacks.setVisible(bool(lacks) and not self.work.busy)
        self.go.setEnabled(not lacks and not self.work.busy)
        self._show_built()

    def _remember(self) -> None:
        self._memory.set(FOLDER, self.folder.text().strip())
        self._memory.set(CLUB, self.name.text().strip())
        self._memory.set(SITE, self.site.text().strip() if self._site_typed else "")

    # ------------------------------------------------------------------ building

    def build(self) -> None:
        """Have the site built."""
        self._remember()
        self.built = None
        self.fault.tell("")
        self.work.ask(sites.asked(*self._texts()))
        self._show_state()
        self._jobs.wake()

    def step(self, *, may_work: bool) -> bool:
        """Go on; whether there is more to come."""
        if not self.work.busy:
            return False
        if self.work.step(may_work=may_work):
            self._done()
        else:
            self._show_work()
        return self.work.busy

    def _show_work(self) -> None:
        progress = self.work.progress
        if self.work.waits:
            self.progress.wait()
        else:
            self.progress.tell(sites.busy_words(progress), progress)

    def _done(self) -> None:
        self.progress.tell("")
        fault = self.work.fault
        self.fault.tell(f"{fault[:1].upper()}{fault[1:]}")
        if self.work.answer is not None:
            self.built = SiteBuilt.read(self.work.answer)
        self._show_state()

    def give_up(self) -> None:
        """Leave it unbuilt; bundles that were looked into stay looked into."""
        self.work.give_up()
        self.progress.tell("")
        self._show_state()

    def _show_built(self) -> None:
        built = self.built
        self.show_site.setVisible(built is not None)
        for part in (self._built, self._where):
            part.setVisible(built is not None)
        refused = sites.refused_words(built) if built is not None else []
        self._refused_mark.setVisible(bool(refused))
        self._refused_head.setVisible(bool(refused))
        self._refused.tell(*((words, "") for words in refused))
        if built is None:
            return
        self._built.setText(sites.built_words(built))
        self._where.setText("\n".join((str(built.page), *built.rounds)))
        self._refused_head.setText("Not in the site, and why")

    def _open(self) -> None:
        page = self.built.page if self.built is not None else None
        if page is not None and not open_outside(page):
            self.fault.tell(f"Nothing here opens it by itself; it is {page}.")

    def close_jobs(self) -> None:
        """The window goes."""
        self._remember()
        self.work.give_up()

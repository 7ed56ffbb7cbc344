"""The Club room's fourth part: one's own signature, and whose one knows.

The key that signs is never shown; what is shown may be given to anybody.
"""

from collections.abc import Callable

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QGridLayout, QPushButton, QWidget

from daq.errors import GramwattError
from ui.club.signing import forget_signer
from ui.desktop import theme
from ui.desktop.background import Background
from ui.desktop.club_parts import KeepKey
from ui.desktop.curves_plot import Elided
from ui.desktop.flow import Flow
from ui.desktop.model.signers import Keys, Signer, read_keys
from ui.desktop.parts import Fault, Upright, button, column, label, rule

OWN = (
    "Give your public key to others, and read the sixteen digits to them in person: "
    "anybody can make a key and say that it is yours. The key that signs stays on this "
    "computer."
)
NO_OWN = (
    "You have no key yet. Bundles need none: unsigned is usual. One is made when you "
    "first sign, or now."
)
NOBODY = (
    "Nobody's key is kept. Bundles are then said to be signed by somebody that you do "
    "not know."
)
KNOWS = (
    "A known signature says who packed a bundle and that nobody changed it since. "
    "Whether it is right, it does not say."
)
FORGET = "Forget"
INDEED = "Forget indeed"


class KeysPage(QWidget):
    """The page.

    Attributes:
        changed: tells the keys as they are now.
        keys: as they were last read.
    """

    changed = Signal(object)

    def __init__(self, jobs: Background) -> None:
        super().__init__()
        self._jobs = jobs
        self.keys = Keys()
        self._build()
        self._show_keys()

    def _build(self) -> None:
        self._fault = Fault()
        self._digits = label("", "title")
        self._own = label("", "small")
        self._own.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._own_words = label("", "muted")
        self.make = button("Make my key", name="Make a key to sign with")
        self.copy = button("Copy my public key")
        self._said = label("", "muted")
        self._nobody = label(NOBODY, "muted")
        self._grid = QGridLayout()
        self._grid.setHorizontalSpacing(2 * theme.UNIT)
        self._grid.setColumnStretch(3, 1)
        self._parts: list[QWidget] = []
        self.forgets: list[QPushButton] = []
        self.keep = KeepKey()
        part = QWidget()
        inside = column(
            self._fault,
            label("Your signature", "head"),
            self._digits,
            self._own_words,
            self._own,
            Flow(self.make, self.copy),
            self._said,
            rule(),
            label("Whose signatures you know", "head"),
            label(KNOWS, "muted"),
            self._nobody,
            self._grid,
            rule(),
            label("Keep somebody's key"),
            self.keep,
        )
        inside.setContentsMargins(0, 0, theme.UNIT, 0)
        inside.addStretch(1)
        part.setLayout(inside)
        self.setLayout(column(Upright(part, "Your signature, and whose you know")))
        self.make.clicked.connect(lambda: self.refresh(make=True))
        self.copy.clicked.connect(self._copy)
        self.keep.kept.connect(self.refresh)

    def refresh(self, *, make: bool = False) -> None:
        """Read the keys again, in the background.

        Args:
            make: whether to make one's own where there is none.
        """
        self._jobs.start("keys", lambda: read_keys(make=make), self._read)

    def _read(self, keys: Keys) -> None:
        self.keys = keys
        self._show_keys()
        self.changed.emit(keys)

    def _show_keys(self) -> None:
        keys = self.keys
        has_own = bool(keys.own)
        self._fault.tell(keys.fault)
        self._digits.setText(keys.digits)
        self._own.setText(keys.own)
        self._own_words.setText(OWN if has_own else NO_OWN)
        for own in (self._digits, self._own, self.copy):
            own.setVisible(has_own)
        self.make.setVisible(not has_own)
        self._tell("")
        self._nobody.setVisible(not keys.known)
        for part in self._parts:
            self._grid.removeWidget(part)
            part.hide()  # what is to be deleted is seen until it is
            part.deleteLater()
        self._parts, self.forgets = [], []
        for row, signer in enumerate(keys.known):
            self._add(row, signer)

    def _add(self, row: int, signer: Signer) -> None:
        forget = button(FORGET, name=f"Forget the key of {signer.name}")
        forget.clicked.connect(self._asks(forget, signer))
        digits = label(signer.digits, wraps=False)
        shown: tuple[QWidget, ...] = (Elided(signer.name), digits, forget)
        shown[0].setMinimumWidth(theme.scaled(200))
        for place, part in enumerate(shown):
            self._grid.addWidget(part, row, place)
            self._parts.append(part)
        self.forgets.append(forget)

    def _asks(self, forget: QPushButton, signer: Signer) -> Callable[[], None]:
        """Forgetting is asked for twice: digits would have to be compared again."""

        def pressed() -> None:
            if forget.text() == FORGET:
                forget.setText(INDEED)
                forget.setAccessibleName(f"{INDEED}: the key of {signer.name}")
                return
            try:
                forget_signer(self.keys.by_key[signer.key])
            except GramwattError as fault:
                self._fault.tell(str(fault))
                return
            self.refresh()

        return pressed

    def _copy(self) -> None:
        QGuiApplication.clipboard().setText(self.keys.own)
        self._tell("Your public key is on the clipboard.")

    def _tell(self, words: str) -> None:
        self._said.setText(words)
        self._said.setVisible(bool(words))

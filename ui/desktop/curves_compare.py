"""Below the plot: the drawn runs held against each other, and where they would hover.

What is said was worked out elsewhere, in the background; here it is asked for and
shown. What was said of other runs than are drawn now is taken away.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QLineEdit, QWidget

from daq.errors import InputFault
from ui.desktop import theme
from ui.desktop.curves_detail import Sentences
from ui.desktop.flow import Flow
from ui.desktop.model.held import HEAVIEST_G, LIGHTEST_G, Held, Told
from ui.desktop.model.numbers import typed_number
from ui.desktop.parts import button, column, label

FEWEST: Final = 2


class ComparePanel(QWidget):
    """The panel.

    Attributes:
        asked: tells the folders that are to be compared.
        weighed: tells an all-up weight in gram that was typed.
        held: what was compared; None before.
    """

    asked = Signal(object)
    weighed = Signal(float)

    def __init__(self) -> None:
        super().__init__()
        self.held: Held | None = None
        self._folders: tuple[Path, ...] = ()
        self._held_folders: tuple[Path, ...] = ()
        self.compare = button("Compare", name="Compare the runs that are drawn")
        self.weight = QLineEdit()
        self.weight.setAccessibleName("All-up weight in gram, for the mark of hover")
        self.weight.setFixedWidth(theme.scaled(80))
        self._weight_label = label("Hover at, g all up", "muted", wraps=False)
        self._fault = label("", "wanted")
        self._marks, self._told = Sentences(), Sentences()
        inside = column(
            Flow(self.compare),
            self._told,
            Flow(self._weight_label, self.weight),
            self._fault,
            self._marks,
        )
        inside.setContentsMargins(0, 0, 0, 0)
        self.setLayout(inside)
        self.compare.clicked.connect(self._ask)
        self.weight.editingFinished.connect(self._weigh)
        self._show_weight(there=False)
        self._fault.setVisible(False)

    def show_folders(self, folders: Sequence[Path]) -> None:
        """These are drawn now."""
        self._folders = tuple(folders)
        enough = len(self._folders) >= FEWEST
        self.compare.setEnabled(enough)
        self.compare.setToolTip(
            "" if enough else "Tick two runs or more: space, in the table."
        )
        if set(self._folders) != set(self._held_folders):
            self._forget()

    def show_held(self, held: Held, folders: Sequence[Path]) -> None:
        """Tell what was compared, if it is still what is drawn."""
        self.compare.setText("Compare")
        self.compare.setEnabled(len(self._folders) >= FEWEST)
        if set(folders) != set(self._folders):
            return
        self.held, self._held_folders = held, tuple(folders)
        self._told.tell(*held.told)
        self._show_weight(there=bool(held.flown))
        if held.flown and held.weight_g is not None:
            self.weight.setText(f"{held.weight_g:g}")
            self._weigh()

    def tell_hover(self, told: Told) -> None:
        """Tell where they would hover; the plot marks it."""
        self._marks.tell(*told)

    def _ask(self) -> None:
        self.compare.setText("Comparing …")
        self.compare.setEnabled(False)
        self.asked.emit(self._folders)

    def _weigh(self) -> None:
        text = self.weight.text().strip()
        if not text or self.held is None:
            return
        try:
            weight_g = typed_number(text, "The weight", LIGHTEST_G, HEAVIEST_G)
        except InputFault as fault:
            self._fault.setText(str(fault))
            self._fault.setVisible(True)
            return
        self._fault.setVisible(False)
        self.weighed.emit(weight_g)

    def _forget(self) -> None:
        self.held, self._held_folders = None, ()
        self._told.tell()
        self._marks.tell()
        self._fault.setVisible(False)
        self._show_weight(there=False)

    def _show_weight(self, *, there: bool) -> None:
        self.weight.setVisible(there)
        self._weight_label.setVisible(there)

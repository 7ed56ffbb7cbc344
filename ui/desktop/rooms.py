"""Rooms whose work the command line does for now, each said in a sentence."""

from PySide6.QtWidgets import QWidget

from ui.desktop import theme
from ui.desktop.parts import column, label


class _Said(QWidget):
    """A room that says what does its work."""

    def __init__(self, title: str, *sentences: str) -> None:
        super().__init__()
        parts = [label(title, "title"), *(label(words) for words in sentences)]
        inside = column(*parts, margin=3 * theme.UNIT)
        inside.addStretch(1)
        self.setLayout(inside)


class ClubRoom(_Said):
    """Bundles."""

    def __init__(self) -> None:
        super().__init__(
            "Club",
            "A run's folder is whole by itself: pack it and send it. Whoever gets it "
            "reads it with 'gramwatt findings FOLDER' and 'gramwatt report FOLDER'.",
        )

"""What was packed: the file, what its runs rest on, and the picture for a chat."""

from pathlib import Path

from PySide6.QtCore import QByteArray, Qt
from PySide6.QtGui import QGuiApplication, QImage, QPixmap, QResizeEvent
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget
from typing_extensions import override

from daq.errors import GramwattError
from daq.fresh_file import write_fresh
from ui.desktop import theme
from ui.desktop.asking import asking_name
from ui.desktop.curves_shown import open_outside
from ui.desktop.flow import Flow
from ui.desktop.model.clubs import PackedTold
from ui.desktop.model.packs import size_words
from ui.desktop.parts import button, column, label, rule
from ui.report.words import counted


class Picture(QLabel):
    """A picture as wide as there is room, and never wider than it is."""

    def __init__(self) -> None:
        super().__init__()
        self._whole = QPixmap()
        self.setMinimumSize(theme.scaled(160), theme.scaled(90))
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.setAccessibleName("The picture for a chat")

    def show_picture(self, data: bytes) -> None:
        """Show a PNG file's bytes."""
        self._whole = QPixmap()
        self._whole.loadFromData(QByteArray(data), "PNG")
        self._fit()

    @override
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        if self._whole.isNull() or not self.width():
            return
        ratio = self.devicePixelRatioF()
        wide = min(round(self.width() * ratio), self._whole.width())
        smooth = Qt.TransformationMode.SmoothTransformation
        fitted = self._whole.scaledToWidth(wide, smooth)
        fitted.setDevicePixelRatio(ratio)
        self.setPixmap(fitted)
        self.setFixedHeight(round(fitted.height() / ratio))


class PackedPanel(QWidget):
    """What was packed, with the picture for a chat."""

    def __init__(self) -> None:
        super().__init__()
        self._told: PackedTold | None = None
        self._head = label("Packed", "head")
        self._what = label("")
        self._what.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._rests = label("", "small")
        self.picture = Picture()
        self.copy = button("Copy picture", name="Copy the picture for a chat")
        self.save = button("Save picture …", name="Save the picture for a chat")
        self.folder = button("Show folder", name="Show the folder of the bundle")
        self._said = label("", "muted")
        self.setLayout(
            column(
                rule(),
                self._head,
                self._what,
                Flow(self.copy, self.save, self.folder),
                self._said,
                self.picture,
                self._rests,
            )
        )
        self.copy.clicked.connect(self._copy)
        self.save.clicked.connect(self._ask_name)
        self.folder.clicked.connect(self._open)
        self.setVisible(False)

    def show_packed(self, told: PackedTold | None) -> None:
        """Show what came of it; None for nothing."""
        self._told = told
        self.setVisible(told is not None)
        self._tell("")
        if told is None:
            return
        signed = f"signed with your key ({told.digits})" if told.digits else "unsigned"
        size = size_words(told.size)
        self._what.setText(
            f"{told.path}\n{counted(len(told.runs), 'run')}, {size}, {signed}"
        )
        self._rests.setText(
            "\n".join(f"{name} rests on: {words}." for name, words in told.runs.items())
        )
        self.picture.show_picture(told.picture)

    def _tell(self, words: str) -> None:
        self._said.setText(words)
        self._said.setVisible(bool(words))

    def _copy(self) -> None:
        if self._told is not None:
            image = QImage.fromData(self._told.picture)
            QGuiApplication.clipboard().setImage(image)
            self._tell("The picture is on the clipboard.")

    def _ask_name(self) -> None:
        if self._told is not None:
            name = self._told.path.with_suffix(".png")
            dialog = asking_name(self, "Save picture", "Pictures (*.png)", name)
            dialog.fileSelected.connect(lambda name: self.save_picture(Path(name)))
            dialog.show()

    def save_picture(self, path: Path) -> None:
        """Write the picture."""
        if self._told is None:
            return
        try:
            write_fresh(path, self._told.picture)
        except GramwattError as fault:
            self._tell(str(fault))
        else:
            self._tell(f"Written: {path}")

    def _open(self) -> None:
        if self._told is not None and not open_outside(self._told.path.parent):
            self._tell(f"Nothing here opens it by itself; it is {self._told.path}.")

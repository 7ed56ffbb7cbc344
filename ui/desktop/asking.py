"""Dialogs that ask for a file or folder: of our own drawing, and blocking nothing."""

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog, QWidget


def asking(parent: QWidget, title: str, mode: QFileDialog.FileMode) -> QFileDialog:
    """A dialog that has still to be told what to do with the answer, and to be shown.

    One that the same part asked with before goes.
    """
    for before in parent.findChildren(QFileDialog):
        before.close()
    dialog = QFileDialog(parent, title)
    dialog.setOption(QFileDialog.Option.DontUseNativeDialog)
    dialog.setOption(QFileDialog.Option.DontConfirmOverwrite)
    dialog.setFileMode(mode)
    dialog.setModal(False)
    dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    return dialog


def asking_name(
    parent: QWidget, title: str, kinds: str, suggested: Path
) -> QFileDialog:
    """The same for a new file.

    Args:
        parent: what asks.
        title: of the dialog.
        kinds: as Qt writes them, such as ``Pictures (*.png)``.
        suggested: a folder and a name to begin with.
    """
    dialog = asking(parent, title, QFileDialog.FileMode.AnyFile)
    dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
    dialog.setNameFilter(kinds)
    dialog.setDefaultSuffix(suggested.suffix.lstrip("."))
    if suggested.parent.is_dir():
        dialog.setDirectory(str(suggested.parent))
    dialog.selectFile(suggested.name)
    return dialog

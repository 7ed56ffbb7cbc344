"""The library of runs and their curves (placeholder while it is being written)."""

from PySide6.QtWidgets import QWidget

from ui.desktop.model.memory import Memory


class CurvesRoom(QWidget):
    """The room."""

    def __init__(self, memory: Memory) -> None:
        super().__init__()
        self._memory = memory

    def refresh(self) -> None:
        """Look again."""

    def choose(self, folder: str) -> None:
        """Choose a run."""

    def dress(self) -> None:
        """Colours."""

    def close_jobs(self) -> None:
        """End what runs."""

"""What is remembered from one start to the next: sizes, ports, folders, articles.

One JSON file in the platform's configuration folder, written whole and renamed. What
cannot be read is forgotten, what cannot be written is lost; neither stops anybody.
"""

import json
from pathlib import Path
from typing import Final

from daq.places import config_folder

NAME: Final = "window.json"
MOST_BYTES: Final = 1_000_000


class Memory:
    """Plain values by name."""

    def __init__(self, folder: Path | None = None) -> None:
        self._path = (folder or config_folder()) / NAME
        self._values = self._read()

    def _read(self) -> dict[str, object]:
        try:
            with self._path.open("rb") as file:
                read = json.loads(file.read(MOST_BYTES))
        except (OSError, ValueError, RecursionError):
            return {}
        return read if isinstance(read, dict) else {}

    def set(self, name: str, value: object) -> None:
        """Remember a plain value."""
        self._values[name] = value

    def whole(self, name: str, otherwise: int) -> int:
        """A whole number, or what is to be taken where there is none."""
        value = self._values.get(name)
        is_whole = isinstance(value, int) and not isinstance(value, bool)
        return value if is_whole and isinstance(value, int) else otherwise

    def text(self, name: str, otherwise: str = "") -> str:
        """A text, or what is to be taken where there is none."""
        value = self._values.get(name)
        return value if isinstance(value, str) else otherwise

    def texts(self, name: str) -> list[str]:
        """A list of texts; empty where there is none."""
        value = self._values.get(name)
        items = value if isinstance(value, list) else []
        return [item for item in items if isinstance(item, str)]

    def push(self, name: str, text: str, most: int = 12) -> None:
        """Put a text first in a list, once, and keep the list short."""
        others = [item for item in self.texts(name) if item != text]
        self._values[name] = [text, *others][:most]

    def save(self) -> None:
        """Write it; the folder is made where there is none."""
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            fresh = self._path.with_suffix(".new")
            fresh.write_text(json.dumps(self._values, indent=1), encoding="utf-8")
            fresh.replace(self._path)
        except (OSError, TypeError, ValueError):
            pass  # nobody loses more than the size of a window

"""Folders of runs that a person knows, and how a folder is called in a short line."""

import os
from pathlib import Path

from ui.desktop.model.memory import Memory


def absolute(name: str) -> Path:
    """A path from the root; links in it stay links."""
    return Path(os.path.abspath(name))  # noqa: PTH100 - resolve() would follow them


def own_runs(memory: Memory) -> Path:
    """Where a person's runs go."""
    return absolute(memory.text("runs", "runs"))


def known_folders(memory: Memory) -> list[Path]:
    """The person's own folder of runs first, then others that they looked at."""
    names = [memory.text("runs", "runs"), *memory.texts("libraries")]
    return list(dict.fromkeys(absolute(name) for name in names))


def short_path(name: str) -> str:
    """The end of a path, enough to know it by."""
    path, home = Path(name), Path.home()
    parent = path.parent
    if parent == home or home in parent.parents:
        parent = Path("~", *parent.relative_to(home).parts)
    return f"{path.name} ({parent})" if path.name else name


def folders_chosen(memory: Memory, chosen: object) -> list[Path]:
    """Where runs are looked for: in the folder that is chosen, or in all known.

    Args:
        memory: of the window.
        chosen: the folder's name; "" or None for all.
    """
    name = str(chosen or "")
    return [absolute(name)] if name else known_folders(memory)

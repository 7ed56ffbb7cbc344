"""Protocol files for tests: a shipped one with some of its text changed."""

from importlib import resources
from pathlib import Path


def changed(folder: Path, name: str, *changes: tuple[str, str]) -> Path:
    """A shipped protocol as a person's own file, each old text replaced once."""
    shipped = resources.files("protocols.catalogue").joinpath(f"{name}.toml")
    text = shipped.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path

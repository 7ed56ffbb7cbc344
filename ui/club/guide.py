"""The club's guide to a round robin, as it is shipped."""

from importlib.resources import files

NAME = "round-robin.md"


def guide() -> str:
    """The whole text, Markdown."""
    return files("ui.club").joinpath(NAME).read_text(encoding="utf-8")

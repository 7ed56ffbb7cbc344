"""Text for terminals of eighty columns."""

import textwrap

WIDTH = 80


def wrapped(text: str, *, indent: int = 0, hang: int | None = None) -> str:
    """Text in lines of at most ``WIDTH`` characters."""
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent if hang is None else hang),
        break_on_hyphens=False,
        break_long_words=False,
    )


def labelled(label: str, text: str, *, width: int = 11) -> str:
    """A label in a column of its own, and text that wraps beside it."""
    width = max(width, len(label) + 1)
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=f"{label:<{width}}",
        subsequent_indent=" " * width,
        break_on_hyphens=False,
        break_long_words=False,  # a path stays in one piece
    )

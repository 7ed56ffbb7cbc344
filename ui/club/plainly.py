"""A stranger's text on one line, as a terminal may show it: no codes, not endless."""

from typing import Final

from ui.typeset import visible

MOST: Final = 300


def plainly(text: str, most: int = MOST) -> str:
    """The text with what cannot be seen shown as a question mark, and cut."""
    cut = text if len(text) <= most else text[: most - 3] + "..."
    return "".join(c if c.isprintable() else "?" for c in visible(cut))

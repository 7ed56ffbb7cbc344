"""A stranger's text as a terminal may show it: no control codes, not endless."""

from typing import Final

MOST: Final = 300
#: Characters that turn text around or hide in it.
_HIDDEN: Final = {*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F}


def plainly(text: str, most: int = MOST) -> str:
    """The text with what cannot be seen shown as a question mark, and cut."""
    cut = text if len(text) <= most else text[: most - 3] + "..."
    return "".join(c if c.isprintable() and ord(c) not in _HIDDEN else "?" for c in cut)

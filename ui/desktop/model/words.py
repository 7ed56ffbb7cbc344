"""Text that others wrote, made fit for one line of a window.

A folder may come from a stranger: what would break a line, hide itself or turn the
reading direction of what follows is taken out. Nothing here judges what a text says.
"""

import unicodedata
from typing import Final

LINE: Final = 200  # characters
MORE: Final = "…"


def one_line(text: object, most: int = LINE) -> str:
    """A text as one line, cut where it is too long; "" for what is no text."""
    if not isinstance(text, str):
        return ""
    head = text[: 8 * most]  # what lies beyond is cut anyway
    plain = head.isascii() and head.isprintable()  # as nearly all of them are
    kept = " ".join((head if plain else _readable(head)).split())
    return kept if len(kept) <= most else kept[: most - 1].rstrip() + MORE


def _readable(text: str) -> str:
    """A text without what cannot be seen."""
    return "".join(
        " " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c
        for c in unicodedata.normalize("NFC", text)
        if unicodedata.category(c) not in ("Cf", "Cs", "Co", "Cn")
    )


def several_lines(text: object, most: int) -> str:
    """A text whose lines are kept, each as ``one_line``; "" for what is no text."""
    if not isinstance(text, str):
        return ""
    lines = [one_line(line, most) for line in text[: 8 * most].splitlines()]
    return "\n".join(lines).strip()[:most].rstrip()


def folded(text: str) -> str:
    """A text as it is looked for: no matter how it is spelt in capitals."""
    return unicodedata.normalize("NFKC", text).casefold()

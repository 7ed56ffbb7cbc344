"""Text for terminals of eighty columns."""

import os
import textwrap

from ui.typeset import FIRM, firm, visible

WIDTH = 80


def filled(text: str, width: int, first: str, others: str) -> str:
    """Text in lines, never broken between a figure and its unit."""
    lines = textwrap.fill(
        firm(visible(text)),  # names may be a stranger's
        width,
        initial_indent=first,
        subsequent_indent=others,
        break_on_hyphens=False,
        break_long_words=False,  # a path stays in one piece
    )
    return lines.replace(FIRM, " ")


def wrapped(text: str, *, indent: int = 0, hang: int | None = None) -> str:
    """Text in lines of at most ``WIDTH`` characters."""
    others = " " * (indent if hang is None else hang)
    return filled(text, WIDTH, " " * indent, others)


def labelled(label: str, text: str, *, width: int = 11) -> str:
    """A label in a column of its own, and text that wraps beside it."""
    width = max(width, len(label) + 1)
    return beside(f"{label:<{width}}", text)


def beside(lead: str, text: str) -> str:
    """Text that wraps beside what leads it."""
    # A line that fills the last column may wrap once more.
    return filled(text, WIDTH - 1, lead, " " * len(lead))


def sentence(text: str) -> str:
    """The same with a capital at its head."""
    return f"{text[:1].upper()}{text[1:]}"


def framed(text: str, *, color: bool = False) -> str:
    """Text in a frame as wide as the terminal, for what must not be overlooked.

    Args:
        text: what is dangerous, and what to do.
        color: white on red as well, as IEC 60073 has danger; never that alone. Left
            out where the environment asks for none with NO_COLOR.
    """
    inner = WIDTH - 6
    lines = textwrap.wrap(text, inner, break_on_hyphens=False)
    frame = ["!" * WIDTH, *(f"!! {line:<{inner}} !!" for line in lines), "!" * WIDTH]
    if color and not os.environ.get("NO_COLOR"):
        frame = [f"\x1b[1;97;41m{line}\x1b[0m" for line in frame]
    return "\n".join(frame)

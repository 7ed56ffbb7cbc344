"""Figures that stay in one line with their unit, wherever text is shown."""

import re
from typing import Final

#: What belongs to the figure before it: 1.4 %, 270 gf, 0.58 g/W, 450 mAh.
_FIGURE: Final = re.compile(
    r"(?<=\d) (?=(?:%|g/W|gf|kg|g|mg|rpm|min|ms|s|mAh|mV|milliohm|[VAWNJC])(?:\W|$))"
)
FIRM: Final = "\N{NO-BREAK SPACE}"


def firm(text: str) -> str:
    """The same with a space that does not break between a figure and its unit."""
    return _FIGURE.sub(FIRM, text)


#: Characters that turn text around or hide in it.
_HIDDEN: Final = {*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F}


def visible(text: str) -> str:
    """The same with a question mark for what a terminal would obey and not show."""
    if text.isprintable() and text.isascii():
        return text
    return "".join(
        c if (c.isprintable() or c.isspace()) and ord(c) not in _HIDDEN else "?"
        for c in text
    )

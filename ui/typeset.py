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

"""Printed numbers, and why something printed is none.

Stricter than ``float``: no underscores, no words, no digits of other scripts, and
nothing that looks as if its end were missing. A number has the grammar of RFC 8259
section 6, with a plus sign, leading zeros and a bare ``.5`` allowed beside it since
stands print those.
"""

import math
import re
from dataclasses import dataclass
from enum import StrEnum

_NUMBER = re.compile(
    r"[+-]?(?:[0-9]+(?P<mark>[.,])(?P<digits>[0-9]+)|[0-9]+|[.,](?P<bare>[0-9]+))"
    r"(?P<power>[eE][+-]?[0-9]+)?"
)
_BEGUN = re.compile(r"(?:[+-]?(?:[0-9]+[.,]?|[.,])?|[+-]?[0-9]*[.,]?[0-9]*[eE][+-]?)")
_NOT_FINITE = re.compile(
    r"[+-]?(?:1\.#(?:inf|ind|qnan)\w*|nan|nan\([\w ]*\)|inf|infinity|ovf)",
    re.IGNORECASE,
)


class NoNumber(StrEnum):
    """Why something is no number that may be used."""

    NOT_A_NUMBER = "not a number"
    DECIMAL_MARK = "another decimal mark than described"
    NOT_FINITE = "not finite"
    CUT_SHORT = "cut short"


@dataclass(frozen=True, slots=True)
class Printed:
    """One number as it was printed.

    Attributes:
        value: what it says; finite.
        decimals: how many digits stand after its decimal mark, less its power of ten.
    """

    value: float
    decimals: int


def read_number(text: str, decimal: str = ".") -> Printed | NoNumber:
    """A printed number.

    Args:
        text: what stands between two separators, blanks around it taken off.
        decimal: the decimal mark described, ``.`` or ``,``.

    Returns:
        The number, or why it is none.
    """
    found = _NUMBER.fullmatch(text)
    if found is None:
        return _why_not(text)
    if (decimal == "," and "." in text) or (decimal == "." and "," in text):
        return NoNumber.DECIMAL_MARK
    value = float(text.replace(",", "."))
    if not math.isfinite(value):
        return NoNumber.NOT_FINITE
    digits = found["digits"] or found["bare"] or ""
    power = _power(found["power"])
    return Printed(value, max(0, len(digits) - power))


def _power(text: str | None) -> int:
    """The power of ten, kept within what changes anything."""
    return min(max(int(text[1:]), -400), 400) if text else 0


def _why_not(text: str) -> NoNumber:
    if _NOT_FINITE.fullmatch(text):
        return NoNumber.NOT_FINITE
    if _BEGUN.fullmatch(text):
        return NoNumber.CUT_SHORT
    return NoNumber.NOT_A_NUMBER

"""Numbers that people type, and numbers that they read, in the trade's units."""

import math
from typing import Final

from daq.errors import InputFault
from protocols.limits import to_trade

DIGITS: Final = {"gf": 1, "A": 2, "V": 2, "mV": 2, "rpm": 0, "µs": 0, "°C": 0}
BLANK: Final = "–"  # noqa: RUF001 - an en dash is what a table has for nothing


def typed_number(text: str, what: str, low: float, high: float) -> float:
    """A number as a person typed it: a decimal comma is as good as a point.

    Raises:
        InputFault: it is none, or outside its range.
    """
    plain = text.strip().replace("\u2212", "-").replace("\u00a0", "")
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or "_" in plain:
        raise InputFault(f'{what} is "{text.strip()}"; it must be a number.')
    if not low <= value <= high:
        raise InputFault(f"{what} is {plain}; it must be {low:g} to {high:g}.")
    return value


def figure(channel: str, value_si: float) -> tuple[str, str]:
    """A reading for people: figure and unit; a dash where there is none."""
    shown, unit = to_trade(channel, value_si)
    if channel == "pulse":
        shown, unit = 1e6 * value_si, "µs"
    elif channel == "power":
        unit = "W"
    unit = "°C" if unit == "degC" else unit
    if math.isnan(shown):
        return BLANK, unit
    if math.isinf(shown):
        return "beyond range", unit
    digits = DIGITS.get(unit, 1)
    # No minus before a zero.
    return f"{round(shown, digits) + 0.0:.{digits}f}", unit


def clock(seconds: float) -> str:
    """A time for people: tenths below a minute, then minutes and seconds."""
    if not math.isfinite(seconds):
        return BLANK
    seconds = max(0.0, seconds)
    if seconds < 60:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest:02d} s"

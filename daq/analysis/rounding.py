"""How results are rounded, in one place.

The rule: an uncertainty is given with two significant digits, and the value and
the limits of its interval to the same decimal place (GUM, JCGM 100:2008,
7.2.6). The uncertainty that sets the place is the half-width of the interval
that is printed. Nothing is computed with rounded figures.
"""

import math

#: Significant digits where a figure comes without an uncertainty.
BARE_DIGITS = 3


def decimals(uncertainty: float) -> int | None:
    """Decimal places that leave two significant digits of an uncertainty.

    Returns:
        Places after the point; negative means tens, hundreds and so on. None
        when there is no uncertainty to go by.
    """
    if not (math.isfinite(uncertainty) and uncertainty > 0):
        return None
    places = 1 - math.floor(math.log10(uncertainty))
    # 0.0996 has two digits as 0.10, not as 0.100.
    if round(uncertainty, places) >= 10.0 ** (2 - places):
        places -= 1
    return places


def figure(value: float, uncertainty: float | None = None) -> str:
    """A value as text, to the place that its uncertainty allows."""
    if not math.isfinite(value):
        return "unknown"
    places = None if uncertainty is None else decimals(uncertainty)
    if places is None:
        if value == 0:
            return "0"
        places = BARE_DIGITS - 1 - math.floor(math.log10(abs(value)))
    shown = round(value, places) + 0.0  # no minus zero
    return f"{shown:.{max(places, 0)}f}"


def with_interval(
    value: float, low: float, high: float, unit: str, coverage: float
) -> str:
    """A value with its interval, as ``251.3 gf (95 % interval 246.1 to 256.5 gf)``."""
    half = (high - low) / 2
    after = f" {unit}" if unit else ""
    return (
        f"{figure(value, half)}{after} ({100 * coverage:g} % interval "
        f"{figure(low, half)} to {figure(high, half)}{after})"
    )

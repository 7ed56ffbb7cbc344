"""How results are rounded, in one place.

The rule: an uncertainty is given with two significant digits, and the value and
the limits of its interval to the same decimal place (GUM, JCGM 100:2008,
7.2.6). The uncertainty that sets the place is the half-width of the interval
that is printed. A figure that is told in passing, without its interval, must not
claim a digit that its uncertainty eats: it follows the rule of the Particle Data
Group (Review of Particle Physics, Introduction, 5.3), which keeps one digit of an
uncertainty from 3.55 upwards. Nothing is computed with rounded figures. A minus
is a true minus sign: this is text for people.
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
    places = None if uncertainty is None else decimals(uncertainty)
    return _to_place(value, places)


def in_passing(value: float, uncertainty: float) -> str:
    """A value told without its interval, by the rule of the Particle Data Group.

    With the three highest digits of the uncertainty from 100 to 354 two of them
    are kept, from 355 to 949 one, and 950 to 999 become 1000, of which two are.
    """
    places = decimals(uncertainty)
    if places is not None:
        three = round(uncertainty * 10.0 ** (places + 1))
        if three >= 355:
            places -= 1
    return _to_place(value, places)


def _to_place(value: float, places: int | None) -> str:
    if not math.isfinite(value):
        return "unknown"
    if places is None:
        if value == 0:
            return "0"
        places = BARE_DIGITS - 1 - math.floor(math.log10(abs(value)))
    shown = round(value, places) + 0.0  # no minus zero
    return f"{shown:.{max(places, 0)}f}".replace("-", "\N{MINUS SIGN}")


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

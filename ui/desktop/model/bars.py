"""A reading against its limits: where it stands in a bar, and in a word.

The bar runs from zero, or from its floor, to its limit and a little beyond, so that
the limit itself can be seen. A reading that nobody has is no reading at zero.
"""

import math
from dataclasses import dataclass
from enum import Enum
from typing import Final

from protocols.limits import Limit

NEAR_SHARE: Final = 0.85
BEYOND_SHARE: Final = 1.1  # of the limit: where the bar ends


class Standing(Enum):
    """How a reading stands to its limits."""

    UNKNOWN = "not known"
    INSIDE = "inside"
    NEAR = "near its limit"
    BEYOND = "beyond its limit"


@dataclass(frozen=True, slots=True)
class Bar:
    """What to draw.

    Attributes:
        filled: share of the bar that is filled, 0 to 1; NaN for none.
        low_mark: where the low limit stands, 0 to 1; NaN where there is none.
        high_mark: where the high limit stands; NaN where there is none.
        standing: in a word.
    """

    filled: float
    low_mark: float
    high_mark: float
    standing: Standing


def bar_of(value: float, limit: Limit | None, *, full: float = math.nan) -> Bar:
    """A reading in SI against its limit, in SI.

    Args:
        value: NaN where nobody knows it.
        limit: None where there is none.
        full: where a bar without a high limit ends; NaN where nobody knows.
    """
    low = limit.low if limit else -math.inf
    high = limit.high if limit else math.inf
    end = BEYOND_SHARE * high if math.isfinite(high) else full
    floor = low if math.isfinite(low) and low > 0 else 0.0
    begin = floor - (end - floor) * 0.25 if floor > 0 and math.isfinite(end) else 0.0
    if not math.isfinite(end) or end <= begin:
        return Bar(math.nan, math.nan, math.nan, _standing(value, low, high))

    def place(x: float) -> float:
        return min(max((x - begin) / (end - begin), 0.0), 1.0)

    filled = math.nan
    if not math.isnan(value):
        filled = place(min(max(value, begin), end))
    return Bar(
        filled=filled,
        low_mark=place(low) if floor > 0 else math.nan,
        high_mark=place(high) if math.isfinite(high) else math.nan,
        standing=_standing(value, low, high),
    )


def _standing(value: float, low: float, high: float) -> Standing:
    if math.isnan(value):
        return Standing.UNKNOWN
    if not low <= value <= high:
        return Standing.BEYOND
    near_high = math.isfinite(high) and high > 0 and value >= NEAR_SHARE * high
    # A floor is near in the last sixth between it and the ceiling.
    near_low = (
        low > 0
        and math.isfinite(high)
        and value <= low + (1 - NEAR_SHARE) * (high - low)
    )
    both = math.isfinite(low) and low > 0 and math.isfinite(high)
    if near_low or (near_high and not both):
        return Standing.NEAR
    return Standing.INSIDE

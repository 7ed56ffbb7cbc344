"""Check: every guarded reading is inside its limit, and is a number.

The stand checks the same limits in its own time and acts first; this is the
second net, for a stand that does not.
"""

import math

from protocols.guard.trip import Trip
from protocols.limits import Limit, brief, to_trade

NAME = "limit"


class ReadingCheck:
    """One limit, fed with one channel's readings."""

    def __init__(self, limit: Limit) -> None:
        self.limit = limit
        self._outside = 0

    def take(self, value: float, _now_s: float) -> Trip | None:
        """Judge one reading, SI; NaN is outside."""
        if self.limit.allows(value):
            self._outside = 0
            return None
        self._outside += 1
        if self._outside < self.limit.persistence:
            return None
        return self._trip(value)

    def _trip(self, value: float) -> Trip:
        limit = self.limit
        if not math.isfinite(value):
            what = "gave no number" if math.isnan(value) else "is off its scale"
            return Trip(
                check=NAME,
                cause=f"{limit.channel} {what}.",
                clears="readings of it are numbers again",
                advice=f"Look at the {limit.channel} sensor and its wiring.",
            )
        side = "above" if value > limit.high else "below"
        bound = limit.high if value > limit.high else limit.low
        shown, unit = to_trade(limit.channel, value)
        allowed, _ = to_trade(limit.channel, bound)
        return Trip(
            check=NAME,
            cause=(
                f"{limit.channel} was {brief(shown)} {unit}, {side} its limit of "
                f"{brief(allowed)} {unit} ({limit.source})."
            ),
            clears=f"{limit.channel} reads inside its limit",
            advice=self.advice(value),
        )

    def advice(self, value: float) -> str:
        """What a reading outside the limit usually means."""
        side = "above" if value > self.limit.high else "below"
        channel = self.limit.channel
        return ADVICE.get((channel, side), f"Look at the {channel} sensor.")


ADVICE = {
    ("current", "above"): (
        "A stalled or rubbing motor, too large a propeller or a short; if the plan "
        "really needs this current, the named part is too small for it."
    ),
    ("current", "below"): "The current sensor is wired backwards or not connected.",
    ("voltage", "below"): (
        "The pack is empty, cold, worn or has too few cells for this article."
    ),
    ("voltage", "above"): "The pack has more cells than the article says.",
    ("thrust", "above"): "The load cell is near its range: use a larger one.",
    ("thrust", "below"): "The propeller or the cell pulls the wrong way round.",
    ("speed", "above"): "The propeller may be off, or the pole count is wrong.",
}

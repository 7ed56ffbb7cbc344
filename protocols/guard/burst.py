"""Check: no part is loaded above its continuous rating for longer than it may.

Counts the square of the current above the continuous one: I squared t, as drives
limit their motors' peak current and as fuses are told apart by the energy that melts
them. A part rated for I_short over t_short may take (I_short^2 - I_cont^2) t_short;
below the continuous current the count runs down again, never below zero.

Common practice, no source. It is what a first-order thermal relay (IEC 60255-149,
from memory) comes to for loads short against its time constant: the two agree at
the rated point, above it this one acts earlier, below it the relay does.

Ramps down at the budget, within one reading, and cuts well beyond it.
"""

import math

from protocols.guard.integral import step
from protocols.guard.trip import Action, Trip
from protocols.limits import brief
from protocols.rules import Burst

NAME = "burst"
CUT_SHARE = 1.25


class BurstCheck:
    """One part's count."""

    def __init__(self, burst: Burst) -> None:
        self._burst = burst
        self._continuous_a2 = burst.continuous_a**2
        self._budget_a2s = burst.budget_a2s
        self._used_a2s = 0.0
        self._before_a2 = self._before_s = math.inf

    @property
    def used_share(self) -> float:
        """How much of the budget is used; 1 is all of it."""
        return self._used_a2s / self._budget_a2s

    def current(self, current_a: float, now_s: float) -> Trip | None:
        """A reading of the current; one that is no number is a gap."""
        if math.isfinite(current_a):
            square_a2 = current_a * current_a
            elapsed_s = now_s - self._before_s
            if elapsed_s > 0:  # the first reading begins it
                heat_a2s = step(self._before_a2, square_a2, elapsed_s)
                above_a2s = heat_a2s - self._continuous_a2 * elapsed_s
                self._used_a2s = max(0.0, self._used_a2s + above_a2s)
            self._before_a2, self._before_s = square_a2, now_s
        if self._used_a2s < self._budget_a2s:
            return None
        beyond = self._used_a2s >= CUT_SHARE * self._budget_a2s
        return self._trip(Action.CUT if beyond else Action.RAMP_DOWN)

    def _trip(self, action: Action) -> Trip:
        burst = self._burst
        return Trip(
            check=NAME,
            cause=(
                f"The {burst.part}'s time above {brief(burst.continuous_a)} A is used "
                f"up: {100 * self.used_share:.0f} % of {brief(burst.short_a)} A for "
                f"{brief(burst.short_s)} s ({burst.source})."
            ),
            clears=f"the {burst.part} has cooled below its continuous rating",
            advice=(
                f"Let the {burst.part} cool and feel for heat with the supply off; "
                "use a shorter burst or a larger part."
            ),
            action=action,
        )

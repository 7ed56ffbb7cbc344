"""Check: the motor turns, and goes on turning, while it is driven.

A rotor that is blocked, or out of step with its ESC, turns the pack's power into
heat in the winding. Seen by the rpm that is missing well after the throttle rose,
by rpm that collapses at held throttle, or by current that doubles there. An ESC that
lets go of its motor there is out of step too, and may begin again at any moment: its
current and its rpm fall together. Acts within some readings; at the start after half
a second to one.

A speed that falls with the voltage is the supply's doing and is left to the
voltage's limit.
"""

import math

from protocols.guard.now import Lasting, Now
from protocols.guard.steady import Steady
from protocols.guard.trip import Trip
from protocols.limits import brief, to_trade
from protocols.rules import Rules

NAME = "stalled"
# Motors are started at a few percent: at this any of them should turn.
STARTED_FRAC = 0.15
# Of the no-load speed at this throttle; a loaded rotor turns at two thirds or more.
STARTED_SHARE = 0.25
# Where Kv or voltage are unknown: 600 rpm.
STARTED_RAD_S = 62.8
COLLAPSE_SHARE = 0.6
OVERLOAD_SHARE = 1.8
# No more than surely come before what was is led away, however slow the stand.
READINGS = 4
LET_GO_SHARE = 0.5
SLOWER_SHARE = 0.97


class StalledCheck:
    """Speed and current against what they should be, and against what they were."""

    def __init__(self, rest_a: float, rules: Rules, now: Now, steady: Steady) -> None:
        """Begin.

        Args:
            rest_a: the most that the current may read at rest.
            rules: for the speed a volt.
            now: what is known of this moment.
            steady: what the readings were while the throttle was held.
        """
        self._rest_a = rest_a
        self._speed_per_volt = rules.speed_per_volt_rad_s
        self._now = now
        self._steady = steady
        self._blocked = Lasting(READINGS, 0.1)
        self._collapsed = Lasting(3, 0.03)
        self._overloaded = Lasting(READINGS, 0.1)
        self._undriven = Lasting(READINGS, 0.05)

    def speed(self, speed_rad_s: float, now_s: float) -> Trip | None:
        """A reading of the speed; one that is no number shows nothing."""
        steady = self._steady
        fell = speed_rad_s < COLLAPSE_SHARE * steady.speed.was
        fell = fell and not steady.supply_failed(now_s)
        if self._collapsed.take(so=fell, now_s=now_s):
            before, unit = to_trade("speed", steady.speed.was)
            after, _ = to_trade("speed", speed_rad_s)
            return _trip(
                f"At held throttle the speed fell from {brief(before)} to "
                f"{brief(after)} {unit} while the current was "
                f"{self._current_words(now_s)}"
            )
        flows = self._now.value("current", now_s) > self._rest_a
        stands = flows and speed_rad_s < self._least_rad_s(now_s)
        if self._blocked.take(so=stands, now_s=now_s):
            after, unit = to_trade("speed", speed_rad_s)
            percent = 100 * self._now.throttle_frac
            return _trip(
                f"At {percent:.0f} % throttle and {self._current_words(now_s)} the "
                f"motor turns at {brief(after)} {unit} only"
            )
        return None

    def current(self, current_a: float, now_s: float) -> Trip | None:
        """A reading of the current."""
        was, was_a = self._steady.current, self._steady.current.was
        more = was.is_of_now and current_a > OVERLOAD_SHARE * was_a + self._rest_a
        if self._overloaded.take(so=more, now_s=now_s):
            return _trip(
                f"At held throttle the current rose from {brief(was_a)} to "
                f"{brief(current_a)} A"
            )
        if self._undriven.take(so=self._lets_go(current_a, now_s), now_s=now_s):
            return _trip(
                f"At held throttle the current fell from {brief(was_a)} to "
                f"{brief(current_a)} A and the speed with it: the ESC stopped driving"
            )
        return None

    def _lets_go(self, current_a: float, now_s: float) -> bool:
        """Whether current and speed fall, the voltage does not and nobody asked."""
        steady = self._steady
        return (
            current_a < LET_GO_SHARE * steady.current.was - self._rest_a / 2
            and steady.speed.fell(SLOWER_SHARE, now_s)
            and not steady.supply_failed(now_s)
        )

    def _least_rad_s(self, now_s: float) -> float:
        """What a motor that was started turns at least; NaN when it was not."""
        throttle_frac = self._now.fast.lowest
        if throttle_frac < STARTED_FRAC:
            return math.nan
        voltage_v = self._now.value("voltage", now_s)
        if self._speed_per_volt is None or math.isnan(voltage_v):
            return STARTED_RAD_S
        return STARTED_SHARE * self._speed_per_volt * voltage_v * throttle_frac

    def _current_words(self, now_s: float) -> str:
        current_a = self._now.value("current", now_s)
        return "unknown" if math.isnan(current_a) else f"{brief(current_a)} A"


def _trip(cause: str) -> Trip:
    return Trip(
        check=NAME,
        cause=f"{cause}.",
        clears="the motor stands still and turns freely by hand",
        advice=(
            "With the supply off turn the motor by hand: does anything rub or block? "
            "Then look at its three wires, the ESC's timing and the rpm sensor."
        ),
    )

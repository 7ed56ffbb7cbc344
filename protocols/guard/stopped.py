"""Whether the motor stopped, by current and speed: yes, no, or not known.

For the time after a stop, when the guard's checks are silent: make one when the stop
is sent (in ``STOPPING``), feed it every reading of current and speed until the run
ends (in ``LINGERING`` too), and ask ``verdict``. True: nothing drives the motor and,
as far as anyone can see, it stands. False: it is still driven, or does not slow down;
a stop that was "confirmed" by words was not one. None: too early, or nobody can tell.

``follows`` uses the same whenever the throttle is at zero. It must never take a
missing reading for a motor at rest.
"""

import math
from collections.abc import Sequence

from protocols.guard.now import COAST_S, FRESH_S, REST_SPEED_RAD_S, Coasting, Lasting
from protocols.limits import Limit

# What a current sensor may read with the motor off, after its zero was taken: hall
# sensors remember a large current a little. Common practice, no source.
REST_CURRENT_A = 0.15
REST_CURRENT_SHARE = 0.02
# An ESC may take this long to let go; bytes are on their way meanwhile.
LET_GO_S = 0.5
# Without a speed: time to run out after the current has gone.
RUN_OUT_S = 1.0
_READINGS = 5
_LASTING_S = 0.15


def rest_current_a(limits: Sequence[Limit]) -> float:
    """The most a current sensor may read with the motor off."""
    highs_a = [limit.high for limit in limits if limit.channel == "current"]
    known_a = [REST_CURRENT_SHARE * a for a in highs_a if math.isfinite(a)]
    return max([REST_CURRENT_A, *known_a])


class StoppedCheck:
    """One stop, looked at."""

    def __init__(self, rest_a: float, since_s: float) -> None:
        """Begin.

        Args:
            rest_a: the most that the current may read at rest, ``rest_current_a``.
            since_s: when the throttle went to zero.
        """
        self._rest_a = rest_a
        self._since_s = since_s
        self._coasting = Coasting()
        self._driven = Lasting(_READINGS, _LASTING_S)
        self._quiet = Lasting(_READINGS, _LASTING_S)
        self._out = Lasting(_READINGS, RUN_OUT_S)
        self._is_driven = self._is_quiet = self._is_out = self._is_stuck = False
        self.current_a = self.speed_rad_s = math.nan
        self._current_s = self._speed_s = -math.inf

    def reading(self, channel: str, value: float, now_s: float) -> None:
        """A reading, SI; only finite ones of current and speed count."""
        if not math.isfinite(value):
            return
        if channel == "current":
            self.current_a, self._current_s = value, now_s
            flows = value > self._rest_a
            late = now_s - self._since_s >= LET_GO_S
            self._is_driven = self._driven.take(so=flows and late, now_s=now_s)
            self._is_quiet = self._quiet.take(so=not flows, now_s=now_s)
            self._is_out = self._out.take(so=not flows, now_s=now_s)
        elif channel == "speed":
            self.speed_rad_s, self._speed_s = value, now_s
            self._coasting.take(value, now_s)
            late = now_s - self._since_s >= LET_GO_S + COAST_S
            turns = value > REST_SPEED_RAD_S
            self._is_stuck = late and turns and not self._coasting.slows(now_s)

    def verdict(self, now_s: float) -> bool | None:
        """Whether it stopped: yes, no, or None while nobody can tell."""
        current_known = now_s - self._current_s <= FRESH_S
        speed_known = now_s - self._speed_s <= FRESH_S
        if (current_known and self._is_driven) or (speed_known and self._is_stuck):
            return False
        if not (current_known and self._is_quiet):
            return None
        if speed_known:
            return True if self.speed_rad_s <= REST_SPEED_RAD_S else None
        # An rpm sensor that was heard and is silent says nothing either way.
        return True if self._is_out and self._speed_s == -math.inf else None

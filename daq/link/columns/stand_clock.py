"""A clock that a stand prints: unwrapped, and believed only as far as it is one.

Each stamp is judged against the time its line arrived. One that steps back, runs far
ahead or does not keep pace is refused; the clock is taken up again where a few lines
agree with each other, as after a reset, and continued so that time never steps back.
"""

from collections import deque
from enum import StrEnum

from daq.link.columns.description import StandTime

# Lines wait in drivers and come together: so much more than arrival says is no jump.
AHEAD_S = 2.0
# Over as long as this a clock in the described unit keeps pace within a factor of 2.
PACE_S = 2.0
PACE_MAX = 2.0
AGREEING = 3  # lines that must agree before a clock that jumped is believed again


class ClockFault(StrEnum):
    """Why a stamp is not believed."""

    BACK = "the clock jumped back"
    AHEAD = "the clock jumped ahead"
    PACE = "the clock does not keep pace with arrival; is its unit right?"
    BEYOND = "the clock is outside what was described"


class StandClock:
    """Printed stamps to seconds that never step back.

    Attributes:
        restarts: how often it was taken up again after a jump.
    """

    def __init__(self, time: StandTime) -> None:
        self.restarts = 0
        self._unit_s = time.unit_s
        wrap = time.wraps_at
        self._wrap_s = None if wrap is None else wrap * time.unit_s
        self._last: tuple[float, float] | None = None  # stand's and host's time
        self._pace = (0.0, 0.0)  # the same, where the pace is taken from
        self._offset_s = 0.0  # from the stand's time to what is told
        self._doubted: deque[tuple[float, float]] = deque(maxlen=AGREEING)

    def read(self, printed: float, host_s: float) -> float | ClockFault:
        """Seconds for a printed stamp whose line arrived at ``host_s``."""
        stamp_s = printed * self._unit_s
        if not 0 <= stamp_s < (1e12 if self._wrap_s is None else self._wrap_s):
            return ClockFault.BEYOND
        if self._last is None:
            self._last = self._pace = (stamp_s, host_s)
            return stamp_s
        now_s, fault = self._judge(stamp_s, host_s, self._last)
        fault = fault or self._off_pace(now_s, host_s)
        if fault:
            return self._doubt(stamp_s, host_s, fault)
        self._doubted.clear()
        self._last = (now_s, host_s)
        return now_s + self._offset_s

    def _judge(
        self, stamp_s: float, host_s: float, last: tuple[float, float]
    ) -> tuple[float, ClockFault | None]:
        """The stamp unwrapped, and what is wrong with its step from ``last``."""
        last_s, last_host_s = last
        passed_s = max(0.0, host_s - last_host_s)
        if self._wrap_s is not None:
            expected_s = last_s + passed_s
            turns = round((expected_s - stamp_s) / self._wrap_s)
            stamp_s += turns * self._wrap_s
        if stamp_s < last_s:
            return stamp_s, ClockFault.BACK
        if stamp_s - last_s > passed_s + AHEAD_S:
            return stamp_s, ClockFault.AHEAD
        return stamp_s, None

    def _off_pace(self, now_s: float, host_s: float) -> ClockFault | None:
        """Judged over ``PACE_S`` at least, and then over the next such stretch."""
        began_s, began_host_s = self._pace
        host_passed_s, passed_s = host_s - began_host_s, now_s - began_s
        if host_passed_s < PACE_S:
            # So much more than that cannot be lines that waited.
            fast = passed_s > PACE_MAX * PACE_S + AHEAD_S
            return ClockFault.PACE if fast else None
        if not host_passed_s / PACE_MAX <= passed_s <= host_passed_s * PACE_MAX:
            return ClockFault.PACE
        self._pace = (now_s, host_s)
        return None

    def _doubt(
        self, stamp_s: float, host_s: float, fault: ClockFault
    ) -> float | ClockFault:
        """Refuse the stamp, unless the ones refused before agree with it."""
        if fault is ClockFault.PACE:
            return fault  # taking it up again would hide a wrong unit
        before = self._doubted[-1] if self._doubted else None
        if before is not None and self._judge(stamp_s, host_s, before)[1]:
            self._doubted.clear()
        self._doubted.append((stamp_s, host_s))
        if len(self._doubted) < AGREEING or self._last is None:
            return fault
        return self._take_up(stamp_s, host_s, self._last)

    def _take_up(
        self, stamp_s: float, host_s: float, last: tuple[float, float]
    ) -> float:
        """Go on from the last believed moment by the host's time."""
        told_s = last[0] + self._offset_s + max(0.0, host_s - last[1])
        self._offset_s = told_s - stamp_s
        self._last = self._pace = (stamp_s, host_s)
        self._doubted.clear()
        self.restarts += 1
        return told_s

"""What current, voltage and speed were a moment ago, while the throttle was held.

For checks that look for a sudden change that nobody asked for. "A moment ago" is a
mean over a whole slice of time that ended at least a slice ago, so that a change does
not hide in what it is compared with.
"""

import math

from protocols.guard.now import Now

SLICE_S = 0.15
SLICE_READINGS = 3
# A throttle that moved by less than this lately counts as held.
HELD_FRAC = 0.06
# Below this an ESC may do as it likes: deadband, start-up. Common practice.
LOWEST_FRAC = 0.08
# Throttles no further apart than this count as the same.
SAME_FRAC = 0.04


class Past:
    """One channel's mean a moment ago.

    Attributes:
        was: that mean, SI; NaN while there is none.
    """

    def __init__(self, channel: str, now: Now) -> None:
        self._channel = channel
        self._now = now
        self._sum = 0.0
        self._count = 0
        self._since_s = 0.0
        self._next = self.was = math.nan
        self._next_frac = self._was_frac = math.inf

    def take(self, value: float, now_s: float) -> None:
        """Take a reading; only a finite one at held throttle counts. Never trips."""
        if not held(self._now):
            self._count, self._sum = 0, 0.0
            return
        if not math.isfinite(value):
            return
        if self._count == 0:
            self._since_s = now_s
        self._sum += value
        self._count += 1
        if self._count >= SLICE_READINGS and now_s - self._since_s >= SLICE_S:
            self.was, self._was_frac = self._next, self._next_frac
            self._next = self._sum / self._count
            self._next_frac = self._now.throttle_frac
            self._count, self._sum = 0, 0.0

    def setpoint(self, throttle_frac: float) -> None:
        """That throttle was sent: below its own, what was says nothing any more."""
        if throttle_frac < self._was_frac - SAME_FRAC:
            self.was = math.nan
        if throttle_frac < self._next_frac - SAME_FRAC:
            self._next, self._count, self._sum = math.nan, 0, 0.0

    @property
    def is_of_now(self) -> bool:
        """Whether it was at the throttle of now; else it was at a lower one."""
        return self._now.throttle_frac <= self._was_frac + SAME_FRAC

    def fresh(self, now_s: float) -> float:
        """The newest reading; NaN where there is no fresh one."""
        return self._now.value(self._channel, now_s)

    def fell(self, share: float, now_s: float) -> bool:
        """Whether the newest reading is below this share of what it was."""
        return self.fresh(now_s) < share * self.was


def held(now: Now) -> bool:
    """Whether the throttle was held, above where a motor starts."""
    recent = now.fast
    return recent.lowest >= LOWEST_FRAC and recent.highest - recent.lowest <= HELD_FRAC


class Steady:
    """The three channels that show at once what a motor does.

    Attributes:
        current: amperes.
        voltage: volts.
        speed: radians a second.
    """

    def __init__(self, now: Now) -> None:
        self.current = Past("current", now)
        self.voltage = Past("voltage", now)
        self.speed = Past("speed", now)

    def setpoint(self, throttle_frac: float) -> None:
        """That throttle was sent."""
        self.current.setpoint(throttle_frac)
        self.voltage.setpoint(throttle_frac)
        self.speed.setpoint(throttle_frac)

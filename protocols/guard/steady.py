"""What current, voltage and speed were a moment ago, while the throttle was held.

For checks that look for a sudden change that nobody asked for. "A moment ago" is a
mean over a whole slice of time that ended at least a slice ago, so that a change does
not hide in what it is compared with.
"""

import math

from protocols.guard.now import Now, Recent

# After a move the readings have this long, to twice that, to settle: what is looked
# for is far larger than what they lack then.
SETTLE_S = 0.15
SLICE_S = 0.1
SLICE_READINGS = 3
# A throttle that moved by less than this lately counts as held.
HELD_FRAC = 0.02
# Below this an ESC may do as it likes: deadband, start-up. Common practice.
LOWEST_FRAC = 0.08
# Throttles this close count as the same.
SAME_SHARE = 0.98
SUPPLY_SHARE = 0.8
SUPPLY_S = 0.5


class Past:
    """One channel's mean a moment ago.

    Attributes:
        was: that mean, SI; NaN while there is none.
        was_frac: the throttle that it was at; that of now, or a lower one.
    """

    def __init__(self, channel: str, now: Now, recent: Recent) -> None:
        self._channel = channel
        self._now = now
        self._recent = recent
        self._sum = 0.0
        self._count = 0
        self._since_s = 0.0
        self._next = self.was = math.nan
        self._next_frac = self.was_frac = self._top_frac = 0.0

    def take(self, value: float, now_s: float) -> None:
        """Take a reading; only a finite one at held throttle counts. Never trips."""
        recent = self._recent
        moves = recent.highest - recent.lowest > HELD_FRAC
        if moves or recent.lowest < LOWEST_FRAC:
            self._count, self._sum = 0, 0.0
            return
        if not math.isfinite(value):
            return
        if self._count == 0:
            self._since_s = now_s
        self._sum += value
        self._count += 1
        if self._count >= SLICE_READINGS and now_s - self._since_s >= SLICE_S:
            self.was, self.was_frac = self._next, self._next_frac
            self._next = self._sum / self._count
            self._next_frac = self._now.throttle_frac
            self._count, self._sum = 0, 0.0

    def setpoint(self, throttle_frac: float) -> None:
        """That throttle was sent: once it falls, what was says nothing any more."""
        if throttle_frac >= SAME_SHARE * self._top_frac:
            self._top_frac = max(self._top_frac, throttle_frac)
            return
        self._top_frac = throttle_frac
        self.was = self._next = math.nan
        self.was_frac = self._next_frac = 0.0
        self._count, self._sum = 0, 0.0

    @property
    def is_of_now(self) -> bool:
        """Whether it was at the throttle of now; else it was at a lower one."""
        return SAME_SHARE * self._now.throttle_frac <= self.was_frac

    @property
    def due(self) -> float:
        """The most that a speed has become since: it goes with the throttle at most."""
        if self.was_frac <= 0:
            return math.nan
        return self.was * max(1.0, self._now.throttle_frac / self.was_frac)

    def fresh(self, now_s: float) -> float:
        """The newest reading; NaN where there is no fresh one."""
        return self._now.value(self._channel, now_s)

    def fell(self, share: float, now_s: float) -> bool:
        """Whether the newest reading is below this share of what it was."""
        return self.fresh(now_s) < share * self.was


class Steady:
    """The three channels that show at once what a motor does.

    Attributes:
        current: amperes.
        voltage: volts.
        speed: radians a second.
    """

    def __init__(self, now: Now, since_s: float) -> None:
        self._recent = Recent(SETTLE_S, since_s)
        self._failed_s = -math.inf
        self.current = Past("current", now, self._recent)
        self.voltage = Past("voltage", now, self._recent)
        self.speed = Past("speed", now, self._recent)

    def setpoint(self, throttle_frac: float, now_s: float) -> None:
        """That throttle was sent."""
        self._recent.take(throttle_frac, now_s)
        self.current.setpoint(throttle_frac)
        self.voltage.setpoint(throttle_frac)
        self.speed.setpoint(throttle_frac)

    def supply_failed(self, now_s: float) -> bool:
        """Whether the voltage fell lately, and not because more current flows.

        What current and speed do then is the supply's doing: a plug that lets go, a
        pack that cuts out. The voltage's limit is the check for that.
        """
        more_flows = self.current.fresh(now_s) > self.current.was
        if self.voltage.fell(SUPPLY_SHARE, now_s) and not more_flows:
            self._failed_s = now_s
        return now_s - self._failed_s < SUPPLY_S

"""What several checks need to know of this moment: throttle sent, readings heard.

The only state that checks share; the guard keeps it, they only read it. Readings
reach a host some time after the throttle that caused them, and a motor takes time
to follow: so the throttle is known as the range it was in lately, not as a point.
"""

import math

# Adapters hold bytes for up to 16 ms, a busy machine longer, an ESC may take its
# time, a rotor needs tens of milliseconds: after this, readings belong to a throttle.
# Common practice, no source.
FAST_S = 0.4
# A load-cell converter's filter delays it by up to four conversions, ten a second
# at the slowest.
SLOW_S = 0.6
# A reading older than this says nothing of now.
FRESH_S = 0.2
# 300 rpm: below it, rpm sensors say nothing reliable and propellers little.
REST_SPEED_RAD_S = 31.4
# A rotor that coasts loses this share of its speed in that time: a propeller's drag
# takes half in a tenth of a second, friction alone stops the largest in seconds.
COAST_SHARE = 0.1
COAST_S = 0.5
SMOOTHING = 0.125
SMOOTHING_S = 0.1


class Recent:
    """Lowest and highest throttle over the last while: one span at least, two at most.

    Attributes:
        lowest: the least throttle in force lately, 0 to 1.
        highest: the most.
    """

    def __init__(self, span_s: float, since_s: float) -> None:
        self._span_s = span_s
        self._turn_s = since_s + span_s
        self._last = 0.0
        self._old_low = self._old_high = self._new_low = self._new_high = 0.0
        self.lowest = self.highest = 0.0

    def take(self, throttle_frac: float, now_s: float) -> None:
        """That throttle is in force from now on."""
        if now_s >= self._turn_s:
            self._old_low, self._old_high = self._new_low, self._new_high
            self._new_low = self._new_high = self._last  # in force until now
            self._turn_s = now_s + self._span_s
        self._last = throttle_frac
        self._new_low = min(self._new_low, throttle_frac)
        self._new_high = max(self._new_high, throttle_frac)
        self.lowest = min(self._old_low, self._new_low)
        self.highest = max(self._old_high, self._new_high)


class Smooth:
    """A reading smoothed over the last eight, over no more than a tenth of a second.

    Attributes:
        value: the smoothed reading; NaN before the first.
    """

    def __init__(self) -> None:
        self.value = math.nan
        self._before_s = 0.0

    def take(self, value: float, now_s: float) -> float:
        """Take a finite reading; returns the smoothed one."""
        if math.isnan(self.value):
            self.value = value
        share = min(1.0, max(SMOOTHING, (now_s - self._before_s) / SMOOTHING_S))
        self.value += share * (value - self.value)
        self._before_s = now_s
        return self.value

    def forget(self) -> None:
        """Begin again with the next reading."""
        self.value = math.nan


class Lasting:
    """Whether something is so for some time and some readings: one may be a glitch.

    What takes time in readings alone would be over at once when a held-up line
    delivers many of them together; what takes time alone would rest on one.
    """

    def __init__(self, readings: int, duration_s: float) -> None:
        self._readings = readings
        self._duration_s = duration_s
        self._count = 0
        self._since_s = 0.0

    def take(self, *, so: bool, now_s: float) -> bool:
        """Whether it has been so for long enough, this reading included."""
        if not so:
            self._count = 0
            return False
        if self._count == 0:
            self._since_s = now_s
        self._count += 1
        return (
            self._count >= self._readings and now_s - self._since_s >= self._duration_s
        )


class Coasting:
    """Whether a speed is on its way down."""

    def __init__(self) -> None:
        self._smooth = Smooth()
        self._mark_rad_s = 0.0
        self._fell_s = -math.inf

    def take(self, speed_rad_s: float, now_s: float) -> None:
        """A finite reading of the speed."""
        speed_rad_s = self._smooth.take(speed_rad_s, now_s)
        if speed_rad_s > self._mark_rad_s:
            self._mark_rad_s = speed_rad_s
        elif speed_rad_s < (1 - COAST_SHARE) * self._mark_rad_s:
            if self._mark_rad_s > REST_SPEED_RAD_S:
                self._fell_s = now_s
            self._mark_rad_s = speed_rad_s

    def slows(self, now_s: float) -> bool:
        """Whether it lost enough over the last while."""
        return now_s - self._fell_s < COAST_S


class Now:
    """This moment, as far as it is known.

    Attributes:
        throttle_frac: as last sent, 0 to 1.
        ran: the throttle has been above zero.
        fast: the throttle's range as current and speed show it.
        slow: the throttle's range as a load cell shows it.
        coasting: whether the speed is on its way down.
    """

    def __init__(self, since_s: float) -> None:
        self.throttle_frac = 0.0
        self.ran = False
        self.fast = Recent(FAST_S, since_s)
        self.slow = Recent(SLOW_S, since_s)
        self.coasting = Coasting()
        self._values: dict[str, float] = {}
        self._heard_s: dict[str, float] = {}

    def setpoint(self, throttle_frac: float, now_s: float) -> None:
        """That throttle was sent."""
        self.throttle_frac = throttle_frac
        if throttle_frac > 0:
            self.ran = True
        self.fast.take(throttle_frac, now_s)
        self.slow.take(throttle_frac, now_s)

    def heard(self, channel: str, value: float, now_s: float) -> None:
        """A finite reading came."""
        self._values[channel] = value
        self._heard_s[channel] = now_s
        if channel == "speed":
            self.coasting.take(value, now_s)

    def value(self, channel: str, now_s: float) -> float:
        """The newest reading of a channel, SI; NaN where there is no fresh one."""
        if now_s - self._heard_s.get(channel, -math.inf) <= FRESH_S:
            return self._values[channel]
        return math.nan

    def ever(self, channel: str) -> bool:
        """Whether the channel was ever heard."""
        return channel in self._values

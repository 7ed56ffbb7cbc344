"""Device microseconds to seconds that never wrap, and those to host time.

Pure: times are arguments. The device counts microseconds in 32 bits and passes
zero every 71.6 minutes; bytes arrive after an unknown, varying delay. The map
between the two clocks is the lower envelope of arrival delay: nothing arrives
before it was sent, and now and then something arrives with little delay.
"""

WRAP_US = 1 << 32
HALF_US = 1 << 31
MICROSECOND_S = 1e-6


class DeviceClock:
    """Unwraps device time, using host time to bridge long silences.

    ``unwrap`` takes frames in the order they arrived; two streams may step
    back a little against each other. A restarted device needs a new instance.
    """

    def __init__(self) -> None:
        self._last_us: int | None = None
        self._last_host_s = 0.0

    def unwrap(self, time_us: int, host_s: float) -> float:
        """Device seconds for a 32-bit stamp that arrived at ``host_s``.

        Right as long as the two clocks differ by less than half a wrap (35
        minutes) since the frame before, silence included.
        """
        if self._last_us is None:
            unwrapped = time_us
        else:
            expected = self._last_us
            if host_s != self._last_host_s:
                expected += int((host_s - self._last_host_s) * 1e6)
            unwrapped = expected + (time_us - expected + HALF_US) % WRAP_US - HALF_US
        self._last_us = unwrapped
        self._last_host_s = host_s
        return unwrapped * MICROSECOND_S


class ArrivalMap:
    """Host time at which something with a device time happened.

    Keeps the least arrival delay of the present and of the previous window,
    so that crystals that drift apart are followed: with 100 ppm and 5 s
    windows the map is off by at most 1 ms.
    """

    def __init__(self, window_s: float = 5.0) -> None:
        self._window_s = window_s
        self._window_end_s: float | None = None
        self._least_s = 0.0
        self._previous_s = 0.0

    def observe(self, device_s: float, host_s: float) -> None:
        """Take note that a stamp ``device_s`` arrived at ``host_s``."""
        offset = host_s - device_s
        if self._window_end_s is None:
            self._least_s = self._previous_s = offset
            self._window_end_s = host_s + self._window_s
        elif host_s >= self._window_end_s:
            self._previous_s = self._least_s
            self._least_s = offset
            self._window_end_s = host_s + self._window_s
        elif offset < self._least_s:
            self._least_s = offset

    @property
    def known(self) -> bool:
        """Whether anything was observed yet."""
        return self._window_end_s is not None

    @property
    def offset_s(self) -> float:
        """Host time minus device time, as well as is known."""
        return min(self._least_s, self._previous_s)

    def to_host(self, device_s: float) -> float:
        """Host time of a device time; only meaningful once ``known``."""
        return device_s + self.offset_s

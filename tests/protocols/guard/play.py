"""Timelines for one check: throttle and readings that are held for a while."""

import math
from collections.abc import Callable, Mapping, Sequence

from protocols.guard.now import Now
from protocols.guard.trip import Trip

Take = Callable[[float, float], Trip | None]
Value = float | Callable[[float], float]


class Play:
    """A check, and the time that passes for it.

    Attributes:
        now: what the guard would know.
        now_s: the time.
        took_s: how long after the last ``hold`` began it tripped.
    """

    def __init__(
        self,
        now: Now,
        takes: Mapping[str, Take],
        setpoints: Sequence[Callable[[float, float], None]] = (),
        *,
        rate_hz: float = 100.0,
    ) -> None:
        self.now = now
        self.now_s = 0.0
        self.took_s = math.inf
        self._takes = takes
        self._setpoints = setpoints
        self._step_s = 1.0 / rate_hz

    def hold(
        self, duration_s: float, throttle_frac: float, **values: Value
    ) -> Trip | None:
        """Hold a throttle while readings come; the first trip ends it.

        Args:
            duration_s: how long.
            throttle_frac: the throttle sent meanwhile, at each step.
            values: readings by channel, SI: a number, or one of seconds since now.
        """
        return self.ramp(duration_s, throttle_frac, throttle_frac, **values)

    def ramp(
        self, duration_s: float, start_frac: float, end_frac: float, **values: Value
    ) -> Trip | None:
        """The same with a throttle that moves in a straight line."""
        begun_s = self.now_s
        steps = round(duration_s / self._step_s)
        for step in range(steps):
            into_s = (step + 1) * self._step_s
            self.now_s = begun_s + into_s
            share = (step + 1) / steps
            frac = start_frac + (end_frac - start_frac) * share
            self.now.setpoint(frac, self.now_s)
            for tell in self._setpoints:
                tell(frac, self.now_s)
            trip = self._read(values, into_s)
            if trip is not None:
                self.took_s = into_s
                return trip
        return None

    def _read(self, values: Mapping[str, Value], into_s: float) -> Trip | None:
        for channel, given in values.items():
            value = given(into_s) if callable(given) else given
            if math.isfinite(value):
                self.now.heard(channel, value, self.now_s)
            if channel in self._takes:
                trip = self._takes[channel](value, self.now_s)
                if trip is not None:
                    return trip
        return None


def sees(trip: Trip | None) -> Trip:
    """The trip, which has to be there."""
    assert trip is not None
    return trip

"""All checks together: a reading, a beat or a moment in, at most one trip out.

Pure and small: no report is a trip, a number that is none is a trip, and a
channel that has a limit but never speaks is a trip. It must never decide what
to do about it; ``protocols.control`` does.
"""

import math
from collections.abc import Sequence

from protocols.guard.beat import BeatCheck
from protocols.guard.link import LinkCheck
from protocols.guard.readings import ReadingCheck
from protocols.guard.silence import SilenceCheck
from protocols.guard.trip import Trip
from protocols.limits import Limit
from protocols.rules import Rules


class Guard:
    """The host's guard over one armed spell; made anew at each arming."""

    def __init__(self, limits: Sequence[Limit], rules: Rules, now_s: float) -> None:
        self._rules = rules
        self._link = LinkCheck(now_s)
        self._readings: dict[str, ReadingCheck] = {}
        self._silences: dict[str, SilenceCheck] = {}
        for limit in limits:
            self._readings[limit.channel] = ReadingCheck(limit)
            self._silences[limit.channel] = SilenceCheck(limit, now_s)
        self._beat = BeatCheck(now_s)
        self._lapses: tuple[SilenceCheck | BeatCheck, ...] = (
            *self._silences.values(),
            self._beat,
        )

    def reading(self, channel: str, value: float, now_s: float) -> Trip | None:
        """Judge one reading of one channel, SI, arrived at ``now_s``."""
        check = self._readings.get(channel)
        if check is None:
            return None
        if math.isfinite(value):  # NaN is no sign of life
            self._silences[channel].heard(now_s)
        return check.take(value)

    def setpoint(self, throttle_frac: float, now_s: float) -> None:
        """That throttle was sent."""

    def link(self, whole: int, lost: int, now_s: float) -> Trip | None:
        """Frames understood, and frames missing or damaged, since last told."""
        return self._link.take(whole, lost, now_s)

    def beat(self, now_s: float) -> None:
        """The client is there."""
        self._beat.heard(now_s)

    def judge(self, now_s: float) -> Trip | None:
        """What the passing of time alone has brought about."""
        for check in self._lapses:
            trip = check.judge(now_s)
            if trip is not None:
                return trip
        return None

    @property
    def deadline_s(self) -> float:
        """When ``judge`` would trip if nothing more were heard."""
        return min(check.deadline_s for check in self._lapses)

"""Check: every guarded channel is heard from often enough.

A cable half out, a converter that hangs or a stand that stalls all look like
this. Not yet heard counts as silent from the moment the check began, where the
channel has a limit; one that has none is missed once it was heard.
"""

import math

from protocols.guard.trip import Trip
from protocols.limits import Limit

NAME = "silence"
# Bytes may wait this long in adapters and queues on top of a channel's own age:
# USB adapters hold them for up to 16 ms, a busy machine longer (common practice).
LINK_ALLOWANCE_S = 0.1
# For channels without a limit, which would say.
USUAL_AGE_S = 0.5


class SilenceCheck:
    """One channel's maximum age, in host time."""

    def __init__(self, channel: str, max_age_s: float, since_s: float) -> None:
        """Begin.

        Args:
            channel: its name.
            max_age_s: the longest silence of its own.
            since_s: from when silence counts; infinity until it is first heard.
        """
        self.channel = channel
        self._allowed_s = max_age_s + LINK_ALLOWANCE_S
        self._heard_s = since_s

    @classmethod
    def of(cls, limit: Limit, since_s: float) -> "SilenceCheck":
        """For a channel that has a limit."""
        return cls(limit.channel, limit.max_age_s, since_s)

    @classmethod
    def once_heard(cls, channel: str) -> "SilenceCheck":
        """For a channel that has none."""
        return cls(channel, USUAL_AGE_S, math.inf)

    def heard(self, now_s: float) -> None:
        """A reading of the channel came."""
        self._heard_s = now_s

    @property
    def deadline_s(self) -> float:
        """When it trips unless heard before."""
        return self._heard_s + self._allowed_s

    def judge(self, now_s: float) -> Trip | None:
        """Whether the channel has been silent for too long."""
        if now_s < self.deadline_s:
            return None
        silent_ms = (now_s - self._heard_s) * 1e3
        return Trip(
            check=NAME,
            cause=f"{self.channel} has been silent for {silent_ms:.0f} ms.",
            clears=f"{self.channel} is heard again",
            advice="Look at the cable, the sensor's wiring and the stand's power.",
        )

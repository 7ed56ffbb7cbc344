"""Check: every guarded channel is heard from often enough.

A cable half out, a converter that hangs or a stand that stalls all look like
this. Not yet heard counts as silent from the moment the check began.
"""

from protocols.guard.trip import Trip
from protocols.limits import Limit

NAME = "silence"
# Bytes may wait this long in adapters and queues on top of a channel's own age:
# USB adapters hold them for up to 16 ms, a busy machine longer (common practice).
LINK_ALLOWANCE_S = 0.1


class SilenceCheck:
    """One limit's maximum age, in host time."""

    def __init__(self, limit: Limit, since_s: float) -> None:
        self.channel = limit.channel
        self._allowed_s = limit.max_age_s + LINK_ALLOWANCE_S
        self._heard_s = since_s

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

"""Check: whoever watches the run is still there.

The window and the command line are on a lease too: they beat from their own
event loop, and silence means that nobody could press stop.
"""

from protocols.guard.trip import Trip

NAME = "beat"
PATIENCE_S = 0.7


class BeatCheck:
    """The client's beat."""

    def __init__(self, since_s: float) -> None:
        self._heard_s = since_s

    def heard(self, now_s: float) -> None:
        """The client beat."""
        self._heard_s = now_s

    @property
    def deadline_s(self) -> float:
        """When it trips unless heard before."""
        return self._heard_s + PATIENCE_S

    def judge(self, now_s: float) -> Trip | None:
        """Whether the client has been silent for too long."""
        if now_s < self.deadline_s:
            return None
        silent_ms = (now_s - self._heard_s) * 1e3
        return Trip(
            check=NAME,
            cause=f"The program before the person was silent for {silent_ms:.0f} ms.",
            clears="the program runs again",
            advice="It hung, was suspended or was killed: is the machine well?",
        )

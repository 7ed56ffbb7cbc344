"""Check: few frames of the last second were lost or damaged.

A connector that is about to let go, a cable beside a motor lead and a baud rate
that almost fits show as damage long before the line is dead. Nothing at all is not
judged here: ``silence`` does that.

The second is kept in tenths, so that the memory is bounded; the window is between
0.9 s and 1 s long. An outage of its own is over when it has slid out of the window:
it takes longer than the window for a poor link to be called poor. Common practice,
no source: a sound cable loses nothing.
"""

from protocols.guard.trip import Action, Trip

NAME = "link"
POOR_SHARE = 0.05
POOR_FOR_S = 1.5
BAD_SHARE = 0.25
SLICE_S = 0.1
SLICES = 10
# Fewer than these say nothing about a share.
FRAMES_MIN = 20


class LinkCheck:
    """Share of frames lost or damaged in a sliding second."""

    def __init__(self, since_s: float) -> None:
        self._whole = [0] * SLICES
        self._lost = [0] * SLICES
        self._slice = 0
        self._slice_end_s = since_s
        self._poor_since_s: float | None = None

    def take(self, whole: int, lost: int, now_s: float) -> Trip | None:
        """Frames understood, and frames missing or damaged, since last told."""
        self._slide(now_s)
        self._whole[self._slice] += whole
        self._lost[self._slice] += lost
        lost = sum(self._lost)
        frames = sum(self._whole) + lost
        share = lost / frames if frames >= FRAMES_MIN else 0.0
        if share > BAD_SHARE:
            return _trip(share, Action.CUT)
        if not share > POOR_SHARE:
            self._poor_since_s = None
        elif self._poor_since_s is None:
            self._poor_since_s = now_s
        elif now_s - self._poor_since_s >= POOR_FOR_S:
            return _trip(share, Action.RAMP_DOWN)
        return None

    def _slide(self, now_s: float) -> None:
        """Begin as many new tenths as have passed, a window at most."""
        for _ in range(SLICES):
            if now_s < self._slice_end_s:
                return
            self._slice = (self._slice + 1) % SLICES
            self._whole[self._slice] = self._lost[self._slice] = 0
            self._slice_end_s += SLICE_S
        self._slice_end_s = max(self._slice_end_s, now_s)


def _trip(share: float, action: Action) -> Trip:
    return Trip(
        check=NAME,
        cause=(
            f"{100 * share:.0f} % of the frames of the last second were lost or "
            "damaged."
        ),
        clears=f"less than {100 * POOR_SHARE:.0f} % are lost",
        advice=(
            "Look at the cable and its connectors, keep it away from the motor's "
            "leads, and look at the baud rate."
        ),
        action=action,
    )

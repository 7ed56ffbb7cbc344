"""What was heard of a stand: newest readings, the last hour, and the link's health.

Fed with happenings of a conversation, whoever holds it: the port that is watched while
nothing turns, or the record of a spin while it grows. No clock, no port.
"""

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from daq.link import session as s
from daq.link.conversation import Conversation
from daq.link.messages import ChannelPage, State
from ui.desktop.model.glimpses import Glimpses
from ui.desktop.model.tape import Tape

RATE_OVER_S: Final = 2.0
# A reading older than this is not shown as the present one.
FRESH_S: Final = 0.5


@dataclass(slots=True)
class _Rate:
    """How often something came lately."""

    times_s: deque[float] = field(default_factory=deque)

    def came(self, now_s: float, number: int = 1) -> None:
        self.times_s.extend([now_s] * number)
        self._drop(now_s)

    def hz(self, now_s: float) -> float:
        """Per second over the last while; 0 where nothing came."""
        self._drop(now_s)
        return len(self.times_s) / RATE_OVER_S

    def _drop(self, now_s: float) -> None:
        while self.times_s and self.times_s[0] < now_s - RATE_OVER_S:
            self.times_s.popleft()


@dataclass(frozen=True, slots=True)
class Reading:
    """A channel now.

    Attributes:
        value: SI, its zero taken off; NaN where nothing fresh is known.
        age_s: since it came; infinite where it never did.
    """

    value: float
    age_s: float


class Heard:
    """Everything that was heard of one stand.

    Attributes:
        stand: who is there; None before it said so.
        state: as last told.
        latch: number of the event that latched it, 0 for none.
        tapes: the last hour of each channel, by name, SI, zero taken off.
        zeros: what each channel read at rest, SI; shown readings begin there.
        restarts: how often it began again.
        glimpses: its fast captures.
    """

    def __init__(self) -> None:
        self.stand: s.Stand | None = None
        self.state = State.UNKNOWN
        self.latch = 0
        self.tapes: dict[str, Tape] = {}
        self.zeros: dict[str, float] = {}
        self.restarts = 0
        self.glimpses = Glimpses()
        self._rates: dict[int, _Rate] = {}
        self._whole = self._lost = 0
        self._lost_lately, self._whole_lately = _Rate(), _Rate()
        self._offset_s: float | None = None

    def take(self, happening: s.Happening, now_s: float) -> None:
        """One thing that the stand said, or that became of it."""
        if isinstance(happening, s.Sampled):
            self._sampled(happening, now_s)
        elif isinstance(happening, s.StateTold):
            self.state = happening.message.state
            self.latch = happening.message.latch
        elif isinstance(happening, s.BurstTold):
            self.glimpses.take(happening)
        elif isinstance(happening, s.Identified):
            self._identified(happening.stand)
        elif isinstance(happening, s.Restarted):
            self.restarts += 1
            self.state = State.UNKNOWN
            self._offset_s = None

    def judge(self, session: Conversation, now_s: float) -> None:
        """Take note of what got through and what did not since last asked."""
        health = session.health
        lost = health.lost + health.malformed + session.drops
        whole_new = max(0, health.frames - self._whole)
        lost_new = max(0, lost - self._lost)
        self._whole, self._lost = health.frames, lost
        self._whole_lately.came(now_s, whole_new)
        self._lost_lately.came(now_s, lost_new)

    def _identified(self, stand: s.Stand) -> None:
        same = self.stand is not None and [c.name for c in stand.channels] == [
            c.name for c in self.stand.channels
        ]
        self.stand = stand
        self.glimpses.know(stand.channels)
        if not same:
            self.tapes = {page.name: Tape() for page in stand.channels}
            self._rates = {}

    def _sampled(self, sampled: s.Sampled, now_s: float) -> None:
        # Samples that come together belong to different moments: the stand's clock
        # sets them apart, the first of a boot says by how much it differs from ours.
        if self._offset_s is None or abs(sampled.device_s + self._offset_s - now_s) > 1:
            self._offset_s = now_s - sampled.device_s
        at_s = sampled.device_s + self._offset_s
        for page, count in zip(sampled.layout.channels, sampled.counts, strict=True):
            tape = self.tapes.get(page.name)
            if tape is None:
                tape = self.tapes.setdefault(page.name, Tape())
            tape.add(at_s, page.to_si(count) - self.zeros.get(page.name, 0.0))
        self._rates.setdefault(sampled.stream, _Rate()).came(now_s)

    # ------------------------------------------------------------------ what is shown

    def reading(self, channel: str, now_s: float) -> Reading:
        """A channel now; NaN where the newest reading is too old to be the present."""
        tape = self.tapes.get(channel)
        if tape is None or tape.newest_s == -math.inf:
            return Reading(math.nan, math.inf)
        age_s = max(0.0, now_s - tape.newest_s)
        return Reading(tape.newest if age_s <= FRESH_S else math.nan, age_s)

    @property
    def channels(self) -> tuple[ChannelPage, ...]:
        """What the stand measures; nothing before it said so."""
        return self.stand.channels if self.stand else ()

    def rate_hz(self, channel: str, now_s: float) -> float:
        """How often a channel came lately."""
        for layout in self.stand.layouts if self.stand else ():
            if any(page.name == channel for page in layout.channels):
                rate = self._rates.get(layout.page.index)
                return rate.hz(now_s) if rate else 0.0
        return 0.0

    def nominal_hz(self, channel: str) -> float:
        """How often it should; 0 where nobody knows."""
        for layout in self.stand.layouts if self.stand else ():
            if any(page.name == channel for page in layout.channels):
                return 1e6 / layout.page.period_us
        return 0.0

    def lost_share(self, now_s: float) -> float:
        """Share of frames or lines lost or damaged lately; NaN where nothing came."""
        whole = self._whole_lately.hz(now_s)
        lost = self._lost_lately.hz(now_s)
        return lost / (whole + lost) if whole + lost else math.nan

    @property
    def totals(self) -> tuple[int, int]:
        """Frames or lines understood, and lost or damaged, since it was opened."""
        return self._whole, self._lost

    def zero(self, means: Mapping[str, float]) -> None:
        """Show readings from where these rested from now on."""
        self.zeros = dict(means)

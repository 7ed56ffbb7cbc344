"""What a run looks like while it goes: a plain model fed from its record.

Hears the stand's bytes through the same session code as the keeper did, and
keeps the newest readings in SI, zeroed as the keeper zeroed them. No terminal,
no Qt, no clock: records in, values out.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from daq.link import session as s
from daq.link.conversation import Conversation
from daq.link.messages import State
from daq.records.wirelog import Kind, Record
from protocols.goal import Goal
from protocols.plan import Plan
from ui.extent import Extent, extent


@dataclass(slots=True)
class LiveRun:
    """The newest state of a run.

    Attributes:
        plan: what is being walked.
        session: what the stand said.
        listener: also told of everything that it said, with the time.
        notes: decisions that nobody took yet, oldest first.
        readings: newest value of each channel, SI, zeroed.
        zeros: what each channel read at rest, SI.
        segment: the newest segment note.
        outcome: the outcome note, once it has come.
        now_s: host time of the newest record.
        began_s: host time when the walk began; NaN before.
        cut_s: host time when it was cut; NaN while it was not.
        tried: a part of the proof was begun, so that there is something to tell.
        captures: what each fast capture is of, by its number.
        walk: seconds since the walk began and throttle, wherever the record tells it.
    """

    plan: Plan
    session: Conversation = field(default_factory=s.Session)
    listener: Callable[[s.Happening, float], None] | None = None
    notes: list[Mapping[str, object]] = field(default_factory=list)
    readings: dict[str, float] = field(default_factory=dict)
    zeros: dict[str, float] = field(default_factory=dict)
    segment: Mapping[str, object] | None = None
    outcome: Mapping[str, object] | None = None
    now_s: float = math.nan
    began_s: float = math.nan
    cut_s: float = math.nan
    tried: bool = False
    captures: dict[int, str] = field(default_factory=dict)
    walk: list[tuple[float, float]] = field(default_factory=list)
    _left_out_s: float = 0.0
    _hold_frac: float = math.nan
    _told: State = State.LOCKED

    def take(self, record: Record) -> None:
        """One more record of the run."""
        first = math.isnan(self.now_s)
        self.now_s = record.time_ns * 1e-9
        if first:
            self.session.identify(self.now_s)
        if record.kind is Kind.BYTES_IN:
            for happening in self.session.receive(record.data, self.now_s):
                if self.listener is not None:
                    self.listener(happening, self.now_s)
                if isinstance(happening, s.Sampled):
                    self._sampled(happening)
        elif record.kind is Kind.NOTE:
            self._noted(record.json())

    def _sampled(self, sampled: s.Sampled) -> None:
        pages = sampled.layout.channels
        for page, count in zip(pages, sampled.counts, strict=True):
            zero = self.zeros.get(page.name, 0.0)
            self.readings[page.name] = page.to_si(count) - zero

    def _noted(self, note: Mapping[str, object]) -> None:
        self.notes.append(note)
        kind = note.get("note")
        if kind == "zeroed":
            self._zeroed(note.get("means"))
        elif kind in ("armed", "began"):
            self.began_s = self.now_s
        elif kind in ("trip", "stop") and math.isnan(self.cut_s):
            self.cut_s = self.now_s
        elif kind == "proof":
            self.tried = True
        elif kind == "told":
            self._told = State.__members__.get(str(note.get("state")), State.UNKNOWN)
        elif kind == "segment":
            self.segment = note
            self.walk.append((self.walked_s, self.throttle_frac))
        elif kind == "capture" and isinstance(number := note.get("number"), int):
            self.captures[number] = str(note.get("label"))
        elif kind in ("holding", "held"):
            self._held(note, over=kind == "held")
        elif kind == "outcome":
            self.outcome = note

    def _held(self, note: Mapping[str, object], *, over: bool) -> None:
        """What a hold has come to, or ended with: the plan goes on after it."""
        frac, index = note.get("throttle_frac"), (self.segment or {}).get("index")
        if not isinstance(frac, float) or not isinstance(index, int):
            return
        self._hold_frac = frac
        self.walk.append((self.walked_s, frac))
        if over and index + 1 < len(self.plan.segments):
            self._left_out_s += self.plan.start_of(index + 1) - self.elapsed_s

    def _zeroed(self, means: object) -> None:
        """Thrust and current are shown from where they rested."""
        if isinstance(means, Mapping):
            for name in ("thrust", "current", "current-high"):
                value = means.get("current" if name != "thrust" else name)
                if isinstance(value, float):
                    self.zeros[name] = value

    def taken_notes(self) -> list[Mapping[str, object]]:
        """The notes since last asked."""
        taken, self.notes = self.notes, []
        return taken

    @property
    def state(self) -> State:
        """The interlock's state as last told, by the stand or in its place."""
        return self._told if self.session.stands_in else self.session.state

    @property
    def walked_s(self) -> float:
        """Seconds since the plan began, as they passed; 0 before."""
        if math.isnan(self.began_s):
            return 0.0
        end_s = self.now_s if math.isnan(self.cut_s) else self.cut_s
        return end_s - self.began_s

    @property
    def elapsed_s(self) -> float:
        """Seconds into the plan, what a hold left out counted; 0 before it began."""
        return min(self.walked_s + self._left_out_s, self.plan.duration_s)

    @property
    def whole_s(self) -> float:
        """How long the whole of it takes; at most so long where a hold is to come."""
        return self.plan.duration_s - self._left_out_s

    @property
    def open_ended(self) -> bool:
        """Whether a hold is yet to end, so that nobody knows when this does."""
        index = (self.segment or {}).get("index")
        first = index if isinstance(index, int) else 0
        over = self.outcome is not None or not math.isnan(self.cut_s)
        ahead = self.plan.segments[max(first, 0) :]
        return not over and any(segment.goal is not None for segment in ahead)

    @property
    def left_s(self) -> float:
        """Seconds of plan left; at most so many while a thrust is held."""
        return self.plan.duration_s - self.elapsed_s

    @property
    def holding(self) -> Goal | None:
        """What is held now; None while nothing is."""
        index = (self.segment or {}).get("index")
        over = self.outcome is not None or not math.isnan(self.cut_s)
        if (
            over
            or not isinstance(index, int)
            or not 0 <= index < len(self.plan.segments)
        ):
            return None
        return self.plan.segments[index].goal

    @property
    def hold_left_s(self) -> float:
        """The longest that a thrust is held on; 0 while none is."""
        index = (self.segment or {}).get("index")
        if self.holding is None or not isinstance(index, int):
            return 0.0
        return max(0.0, self.plan.start_of(index + 1) - self.elapsed_s)

    def left_words(self) -> str:
        """What is left of the plan: nobody knows how long a hold lasts."""
        goal = self.holding
        if goal is None:
            most = " at most" if self.open_ended else ""
            return f"{self.left_s:5.1f} s left{most}"
        left_s = self.hold_left_s
        longest = f"{left_s / 60:.1f} min" if left_s >= 60 else f"{left_s:.0f} s"
        return f"until {goal.floor_v:.4g} V or {longest}"

    @property
    def throttle_frac(self) -> float:
        """The setpoint of this moment; zero once it was cut, and on the way there."""
        over = self.outcome is not None or not math.isnan(self.cut_s)
        if math.isnan(self.began_s) or over:
            return 0.0
        if self.holding is not None and not math.isnan(self._hold_frac):
            return self._hold_frac
        return self._as_walked(self.plan.setpoint_at(self.elapsed_s))

    def _as_walked(self, planned_frac: float) -> float:
        """After a hold the way down begins where that ended."""
        index = (self.segment or {}).get("index")
        if not isinstance(index, int) or index < 1 or math.isnan(self._hold_frac):
            return planned_frac
        before = self.plan.segments[index - 1]
        if before.goal is None:
            return planned_frac
        return planned_frac * self._hold_frac / before.end_frac

    @property
    def extent(self) -> Extent | None:
        """How far the plan was walked; None before it began."""
        index = (self.segment or {}).get("index")
        if math.isnan(self.began_s) or not isinstance(index, int):
            return None
        return extent(self.plan, index, self.elapsed_s)

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
        elif kind == "outcome":
            self.outcome = note

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
    def elapsed_s(self) -> float:
        """Seconds into the plan; 0 before it began."""
        if math.isnan(self.began_s):
            return 0.0
        end_s = self.now_s if math.isnan(self.cut_s) else self.cut_s
        return min(end_s - self.began_s, self.plan.duration_s)

    @property
    def left_s(self) -> float:
        """Seconds of plan left."""
        return self.plan.duration_s - self.elapsed_s

    @property
    def throttle_frac(self) -> float:
        """The setpoint of this moment; zero once it was cut, and on the way there."""
        over = self.outcome is not None or not math.isnan(self.cut_s)
        if math.isnan(self.began_s) or over:
            return 0.0
        return self.plan.setpoint_at(self.elapsed_s)

    @property
    def extent(self) -> Extent | None:
        """How far the plan was walked; None before it began."""
        index = (self.segment or {}).get("index")
        if math.isnan(self.began_s) or not isinstance(index, int):
            return None
        return extent(self.plan, index, self.elapsed_s)

"""The plan as it was walked, with the throttle at both ends of every stretch.

Where a run was cut, a stretch that was moving ended short of where it led: the plan
in the record says how far it had come. Nothing here reads a sample.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from daq.errors import InputFault
from ui.cut import cut_of

if TYPE_CHECKING:
    from daq.records.read import Hold, Run
    from protocols.plan import Plan, Segment


@dataclass(frozen=True, slots=True)
class Stretch:
    """One segment of the plan as it was walked, on the stand's clock.

    Attributes:
        hold: the segment as noted, with start and end.
        from_frac: throttle at its start.
        to_frac: throttle at its end, wherever it was cut.
        rate_frac_s: how fast throttle moved; 0 where it was held.
    """

    hold: Hold
    from_frac: float
    to_frac: float
    rate_frac_s: float

    def throttle_at(self, device_s: float) -> float:
        """Throttle at a moment within it."""
        moved_frac = self.rate_frac_s * (device_s - self.hold.start_s)
        low_frac, high_frac = sorted((self.from_frac, self.to_frac))
        return min(max(self.from_frac + moved_frac, low_frac), high_frac)


def plan_of(run: Run) -> Plan | None:
    """The plan that was to be walked; None where the record has none to be read."""
    from protocols.plan import Plan

    task = run.header.get("task")
    try:
        return Plan.from_dict(task["plan"]) if isinstance(task, dict) else None
    except (InputFault, KeyError):
        return None


def stretches_of(run: Run) -> list[Stretch]:
    """Every segment that was begun, in order.

    Raises:
        RecordFault: a note of the walk is damaged.
    """
    plan = plan_of(run)
    marks = [decision.note for decision in run.notes("segment")]
    holds = _cut_short(run, run.holds())
    found: list[Stretch] = []
    before_frac = 0.0
    for number, (mark, hold) in enumerate(zip(marks, holds, strict=True), start=1):
        segment = _segment(plan, mark.get("index"), hold)
        may_be_cut = number == len(holds)
        stretch = _stretch(hold, segment, before_frac, may_be_cut=may_be_cut)
        before_frac = stretch.to_frac
        found.append(stretch)
    return found


def _cut_short(run: Run, holds: list[Hold]) -> list[Hold]:
    """The same, none of them beyond where the walk was cut."""
    cut = cut_of(run)
    if cut is None:
        return holds
    return [replace(h, end_s=max(h.start_s, min(h.end_s, cut.at_s))) for h in holds]


def _segment(plan: Plan | None, index: object, hold: Hold) -> Segment | None:
    """The segment that a note speaks of, if the plan agrees with the note."""
    if plan is None or not isinstance(index, int):
        return None
    if not 0 <= index < len(plan.segments):
        return None
    segment = plan.segments[index]
    planned = (segment.kind, segment.leg, segment.step, segment.end_frac)
    said = (hold.kind, hold.leg, hold.step, hold.throttle_frac)
    return segment if planned == said else None


def _stretch(
    hold: Hold, segment: Segment | None, before_frac: float, *, may_be_cut: bool
) -> Stretch:
    """One stretch, by the plan's slope or else by its ends alone."""
    if segment is None:
        moves = hold.kind in ("ramp", "glide", "punch")
        from_frac = before_frac if moves else hold.throttle_frac
        lasted_s = hold.end_s - hold.start_s
        moved_frac = hold.throttle_frac - from_frac
        rate_frac_s = moved_frac / lasted_s if lasted_s > 0 else 0.0
        return Stretch(hold, from_frac, hold.throttle_frac, rate_frac_s)
    rate_frac_s = (segment.end_frac - segment.start_frac) / segment.duration_s
    # Two clocks never agree to the last digit: only the last one can be short.
    lasted_s = hold.end_s - hold.start_s if may_be_cut else segment.duration_s
    to_frac = segment.setpoint_at(lasted_s)
    return Stretch(hold, segment.start_frac, to_frac, rate_frac_s)

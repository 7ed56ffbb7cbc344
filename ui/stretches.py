"""The plan as it was walked, with the throttle at both ends of every stretch.

Where a run was cut, a stretch that was moving ended short of where it led: the plan
in the record says how far it had come. Nothing here reads a sample.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from daq.errors import InputFault
from ui.cut import cut_of, device_s

# A note at the end of a hold and the end itself are the same moment.
SAME_S = 1e-3

if TYPE_CHECKING:
    from daq.analysis.emptied import HeldGoal
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
        walk: of a hold, which goes where it must: times and throttles as the record
            tells them, rising times; empty for all else.
    """

    hold: Hold
    from_frac: float
    to_frac: float
    rate_frac_s: float
    walk: tuple[tuple[float, float], ...] = ()

    def throttle_at(self, device_s: float) -> float:
        """Throttle at a moment within it."""
        if self.walk:
            return _between(self.walk, device_s)
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
        if hold.kind == "hold":
            stretch = _held(hold, before_frac, run)
        else:
            stretch = _stretch(hold, segment, before_frac, may_be_cut=may_be_cut)
        if found and found[-1].hold.kind == "hold":
            stretch = _from(stretch, before_frac)
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


def held_goal(run: Run) -> HeldGoal | None:
    """What thrust was to be held, and how that ended; None where none was."""
    from daq.analysis.emptied import HeldGoal

    plan = plan_of(run)
    holds = [hold for hold in run.holds() if hold.kind == "hold"]
    if plan is None or not plan.goals or not holds:
        return None
    goal = plan.goals[0]
    lasted_s = holds[0].end_s - holds[0].start_s
    for decision in run.notes("held"):
        reached_s = _known(decision.note.get("reached_s"))
        told_s = _known(decision.note.get("lasted_s"))
        return HeldGoal(
            goal.thrust_n,
            goal.floor_v,
            str(decision.note.get("end")),
            reached_s,
            lasted_s if told_s is None else told_s,
        )
    return HeldGoal(goal.thrust_n, goal.floor_v, "", None, lasted_s)


def _known(value: object) -> float | None:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if number else None  # type: ignore[arg-type]


def _held(hold: Hold, before_frac: float, run: Run) -> Stretch:
    """A hold, by what the record tells of it from moment to moment."""
    walk = [(hold.start_s, before_frac)]
    for decision in run.decisions:
        at_s, frac = device_s(decision), decision.note.get("throttle_frac")
        told = decision.note.get("note") in ("holding", "held")
        if not told or at_s is None or not isinstance(frac, float):
            continue
        if walk[-1][0] < at_s <= hold.end_s + SAME_S:
            walk.append((at_s, frac))
    return Stretch(hold, before_frac, walk[-1][1], 0.0, tuple(walk))


def _from(stretch: Stretch, before_frac: float) -> Stretch:
    """The way down from a hold: planned from its highest, walked from its end."""
    if stretch.from_frac <= 0:
        return stretch
    share = before_frac / stretch.from_frac
    return replace(
        stretch,
        from_frac=before_frac,
        to_frac=share * stretch.to_frac,
        rate_frac_s=share * stretch.rate_frac_s,
    )


def _between(walk: tuple[tuple[float, float], ...], device_s: float) -> float:
    """A throttle between those that are known."""
    for (start_s, start), (end_s, end) in pairwise(walk):
        if device_s < end_s:
            share = max(0.0, (device_s - start_s) / (end_s - start_s))
            return start + share * (end - start)
    return walk[-1][1]


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

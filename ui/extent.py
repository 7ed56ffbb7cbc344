"""How far a run came: what of its plan was walked and what of it was measured.

Read off plan and notes. Nothing here says how a run ended or why; those are facts of
their own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ui.stretches import plan_of, stretches_of

if TYPE_CHECKING:
    from daq.records.read import Run
    from protocols.plan import Kind, Plan


@dataclass(frozen=True, slots=True)
class Extent:
    """How far a plan was walked.

    Attributes:
        walked_s: how long.
        planned_s: how long all of it takes.
        parts: of each kind that is walked for its data: how many were walked to
            their end, and how many there are.
        highest_frac: the highest throttle of those that were; 0 where none was.
        planned_frac: the highest of all.
    """

    walked_s: float
    planned_s: float
    parts: tuple[tuple[Kind, int, int], ...]
    highest_frac: float
    planned_frac: float

    @property
    def whole(self) -> bool:
        """Whether everything that was to be measured was walked to its end."""
        return all(done == due for _, done, due in self.parts)

    def measured(self) -> str:
        """A clause: 3 of 11 dwells to their end, up to 50 % throttle."""
        counts = " and ".join(
            f"{done} of {due} {kind if due == 1 else f'{kind}s'}"
            for kind, done, due in self.parts
        )
        clause = f"{counts} to {'its' if self._one() else 'their'} end"
        if self.highest_frac < self.planned_frac and self.highest_frac > 0:
            clause += (
                f", up to {100 * self.highest_frac:g} % throttle where "
                f"{100 * self.planned_frac:g} % was planned"
            )
        return clause

    def _one(self) -> bool:
        return sum(due for _, _, due in self.parts) == 1

    def words(self) -> str:
        """A sentence."""
        return (
            f"The plan was walked for {self.walked_s:.1f} of {self.planned_s:.1f} s: "
            f"{self.measured()}."
        )


def extent(plan: Plan, reached: int, walked_s: float) -> Extent:
    """How far a plan was walked.

    Args:
        plan: the plan.
        reached: index of the segment that it came to; their number at its end.
        walked_s: how long it was walked.
    """
    data = [s for s in plan.segments if s.is_data]
    done = [s for s in plan.segments[:reached] if s.is_data]
    kinds = dict.fromkeys(s.kind for s in data)
    return Extent(
        walked_s=min(walked_s, plan.duration_s),
        planned_s=plan.duration_s,
        parts=tuple(
            (kind, sum(s.kind == kind for s in done), sum(s.kind == kind for s in data))
            for kind in kinds
        ),
        highest_frac=max((s.max_frac for s in done), default=0.0),
        planned_frac=max((s.max_frac for s in data), default=0.0),
    )


def extent_of(run: Run) -> Extent | None:
    """How far a run came; None where its plan cannot be read, or was not walked."""
    plan = plan_of(run)
    begun = [d.note.get("index") for d in run.notes("segment")]
    indices = [i for i in begun if isinstance(i, int) and not isinstance(i, bool)]
    if plan is None or not indices or not 0 <= max(indices) < len(plan.segments):
        return None
    walk = stretches_of(run)
    start_s, end_s = walk[0].hold.start_s, walk[-1].hold.end_s
    if any(run.notes("walked")):
        return extent(plan, len(plan.segments), plan.duration_s)
    return extent(plan, max(indices), max(0.0, end_s - start_s))

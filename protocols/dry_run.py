"""A plan walked on paper: what each segment of it is expected to take.

Every figure is an estimate, each moment settled. It must never pass for a
measurement.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from daq.records.shelf import Article
from protocols.estimate import (
    Drive,
    Point,
    operating_point,
    surge_current_a,
    thrust_n,
)
from protocols.goal import Goal
from protocols.held_on_paper import HeldOnPaper, held_on_paper
from protocols.plan import Plan, Segment

# Even number of strips for Simpson's rule over a segment that moves.
STRIPS = 64


@dataclass(frozen=True, slots=True)
class Row:
    """What one segment of the plan is expected to take.

    Attributes:
        start_s: from the start of the plan.
        segment: the segment.
        mean_current_a: over the segment.
        peak: state at its highest throttle.
        end: state at its end.
        energy_j: out of the source.
        charge_c: out of the source.
        peak_thrust_n: at its highest throttle; None without a thrust coefficient.
        surge_a: most current while the motor speeds up after a punch, a bound; None
            for everything but a punch upwards.
        held: what a hold is expected to be; its peak is that of the highest throttle
            that it may use. None for everything else.
    """

    start_s: float
    segment: Segment
    mean_current_a: float
    peak: Point
    end: Point
    energy_j: float
    charge_c: float
    peak_thrust_n: float | None
    surge_a: float | None
    held: HeldOnPaper | None = None

    @property
    def lasts_s(self) -> float:
        """How long it is expected to take."""
        return self.segment.duration_s if self.held is None else self.held.lasts_s

    @property
    def end_frac(self) -> float:
        """Throttle that it is expected to end with, on a full pack."""
        return self.segment.end_frac if self.held is None else self.held.throttle_frac

    @property
    def peak_s(self) -> float:
        """When its highest throttle is first reached, from the start of the plan."""
        if self.segment.end_frac > self.segment.start_frac:
            return self.start_s + self.segment.duration_s
        return self.start_s

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {
            "start_s": self.start_s,
            **self.segment.to_dict(),
            "mean_current_a": self.mean_current_a,
            "peak": self.peak.to_dict(),
            "end": self.end.to_dict(),
            "peak_thrust_n": self.peak_thrust_n,
            "energy_j": self.energy_j,
            "charge_c": self.charge_c,
            "surge_a": self.surge_a,
            "lasts_s": self.lasts_s,
        }


def walk_on_paper(plan: Plan, drive: Drive, article: Article) -> tuple[Row, ...]:
    """Each segment of a plan, integrated.

    Args:
        plan: what will be walked.
        drive: the article in the figures of the estimate.
        article: the article, for its thrust.
    """
    return tuple(
        _row(plan.start_of(index), segment, drive, article)
        for index, segment in enumerate(plan.segments)
    )


def _row(start_s: float, segment: Segment, drive: Drive, article: Article) -> Row:
    if segment.goal is not None:
        return _held(start_s, segment, segment.goal, drive, article)
    charge_c = _integral(segment, lambda point: point.current_a, drive)
    peak = operating_point(drive, segment.max_frac)
    is_punch = segment.kind == "punch" and segment.end_frac > segment.start_frac
    return Row(
        start_s=start_s,
        segment=segment,
        mean_current_a=charge_c / segment.duration_s,
        peak=peak,
        end=operating_point(drive, segment.end_frac),
        energy_j=_integral(segment, lambda point: point.power_w, drive),
        charge_c=charge_c,
        peak_thrust_n=thrust_n(peak.speed_rad_s, article) if drive.load_nm_s2 else 0.0,
        surge_a=surge_current_a(drive, segment.start_frac, segment.end_frac)
        if is_punch
        else None,
    )


def _held(
    start_s: float, segment: Segment, goal: Goal, drive: Drive, article: Article
) -> Row:
    """A hold: what it is expected to take, and the most that it may."""
    held = held_on_paper(segment, goal, drive, article)
    peak = operating_point(drive, segment.max_frac)
    return Row(
        start_s=start_s,
        segment=segment,
        mean_current_a=held.current_a,
        peak=peak,
        end=operating_point(drive, held.throttle_frac),
        energy_j=held.power_w * held.lasts_s,
        charge_c=held.current_a * held.lasts_s,
        peak_thrust_n=thrust_n(peak.speed_rad_s, article),
        surge_a=None,
        held=held,
    )


def _integral(
    segment: Segment, quantity: Callable[[Point], float], drive: Drive
) -> float:
    """A quantity over the time of a segment, by Simpson's rule where it moves."""
    if segment.start_frac == segment.end_frac:
        held = quantity(operating_point(drive, segment.end_frac))
        return held * segment.duration_s
    strip_s = segment.duration_s / STRIPS
    values = [
        quantity(operating_point(drive, segment.setpoint_at(strip * strip_s)))
        for strip in range(STRIPS + 1)
    ]
    ends, odd, even = values[0] + values[-1], values[1::2], values[2:-1:2]
    return strip_s / 3 * (ends + 4 * math.fsum(odd) + 2 * math.fsum(even))

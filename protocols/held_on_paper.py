"""A hold on paper: the throttle that a thrust will take, and how long it will last.

Estimates, as everything here before a motor turned. It must never pass for a
measurement, and never stand in for the highest throttle that the limits are for.
"""

from dataclasses import dataclass
from typing import Final

from daq.records.shelf import Article, Pack
from protocols.estimate import Drive, operating_point, thrust_n
from protocols.goal import Goal
from protocols.plan import Segment

# Under the light load of one motor nearly all of the printed charge comes out before
# the floor (common practice, no source).
HELD_SHARE: Final = 0.95
# To a part in a million of full throttle.
HALVINGS: Final = 20


@dataclass(frozen=True, slots=True)
class HeldOnPaper:
    """What a hold is expected to be.

    Attributes:
        throttle_frac: that gives the thrust on a full pack; the planned start where
            the article has no thrust coefficient to tell.
        current_a: mean, from the full pack to its floor.
        power_w: out of the source.
        lasts_s: until the pack is down; the longest where that comes first.
    """

    throttle_frac: float
    current_a: float
    power_w: float
    lasts_s: float


def held_on_paper(
    segment: Segment, goal: Goal, drive: Drive, article: Article
) -> HeldOnPaper:
    """Estimate a hold.

    Args:
        segment: the hold.
        goal: what it keeps up.
        drive: the article in the figures of the estimate.
        article: the article, for its thrust and its pack.
    """
    throttle_frac = _throttle_for(segment, goal, drive, article)
    point = operating_point(drive, throttle_frac)
    # The same power at a voltage that falls to the floor.
    mean_v = 0.5 * (point.voltage_v + min(goal.floor_v, point.voltage_v))
    current_a = point.power_w / mean_v
    lasts_s = segment.duration_s
    if isinstance(article.source, Pack) and current_a > 0:
        lasts_s = min(lasts_s, HELD_SHARE * article.source.capacity_c / current_a)
    return HeldOnPaper(throttle_frac, current_a, point.power_w, lasts_s)


def _throttle_for(
    segment: Segment, goal: Goal, drive: Drive, article: Article
) -> float:
    """The throttle that gives the thrust, within what the hold may use."""
    low_frac, high_frac = goal.lowest_frac, goal.highest_frac
    for _ in range(HALVINGS):
        middle_frac = 0.5 * (low_frac + high_frac)
        given_n = thrust_n(operating_point(drive, middle_frac).speed_rad_s, article)
        if given_n is None:
            return segment.start_frac
        if given_n < goal.thrust_n:
            low_frac = middle_frac
        else:
            high_frac = middle_frac
    return high_frac

"""Punch-outs: from cruise to high throttle as fast as a thumb, for a moment.

Shows the peak of current, the dip of voltage and how fast thrust follows. What
is read in the burst is a burst: this module must never call it a level.
"""

from typing import Annotated, Literal

from pydantic import Field, model_validator
from typing_extensions import override

from protocols.plan import (
    MAX_PUNCH_FRAC_PER_S,
    MAX_RAMP_FRAC_PER_S,
    Segment,
)
from protocols.recipe_parts import (
    DwellS,
    LevelPercent,
    RampPercentPerS,
    Recipe,
    Repeats,
    Rests,
    SettleS,
    need_rest_between,
    repeated,
    repeats_told,
    rest,
)

# A punch of less is a step between two levels of a staircase.
MIN_SPAN_PERCENT = 10.0
# Longer than this at high throttle is a dwell, and heats like one.
MAX_BURST_S = 5.0


class Punch(Recipe):
    """Cruise, a burst at high throttle, cruise again, and a chop to zero.

    Attributes:
        cruise_percent: held before and after the burst.
        punch_percent: held during it.
        ramp_percent_per_s: how fast throttle gets from zero to cruise.
        punch_percent_per_s: how fast it moves from there on; a stand's own limit on
            slopes and the ESC's may be lower.
        settle_s: held at cruise before readings count, each time.
        cruise_s: held at cruise while they count.
        punch_s: how long the burst lasts.
        repeats: how many bursts.
        rest_s: how long the motor stands still, and when.
    """

    kind: Literal["punch"]
    cruise_percent: LevelPercent
    punch_percent: LevelPercent
    ramp_percent_per_s: RampPercentPerS
    punch_percent_per_s: Annotated[
        float, Field(gt=100 * MAX_RAMP_FRAC_PER_S, le=100 * MAX_PUNCH_FRAC_PER_S)
    ]
    settle_s: SettleS
    cruise_s: DwellS
    punch_s: Annotated[float, Field(ge=0.2, le=MAX_BURST_S)]
    repeats: Repeats = 1
    rest_s: Rests

    @model_validator(mode="after")
    def _has_a_step(self) -> "Punch":
        if self.punch_percent - self.cruise_percent < MIN_SPAN_PERCENT:
            raise ValueError(
                f"punch_percent is {self.punch_percent:g}; it must be at least "
                f"{MIN_SPAN_PERCENT:g} above cruise_percent"
            )
        need_rest_between(self.repeats, self.rest_s.between)
        return self

    @override
    def segments(self) -> list[Segment]:
        """Each burst starts from rest and ends in it."""
        low_frac, high_frac = self.cruise_percent / 100, self.punch_percent / 100
        fast_frac_s = self.punch_percent_per_s / 100
        up_s = low_frac / (self.ramp_percent_per_s / 100)
        jump_s = (high_frac - low_frac) / fast_frac_s
        chop_s = low_frac / fast_frac_s
        once = [
            Segment("ramp", "up", 0, 0.0, low_frac, up_s),
            Segment("settle", "up", 0, low_frac, low_frac, self.settle_s),
            Segment("dwell", "up", 0, low_frac, low_frac, self.cruise_s),
            Segment("punch", "up", 1, low_frac, high_frac, jump_s),
            Segment("burst", "up", 1, high_frac, high_frac, self.punch_s),
            Segment("punch", "down", 0, high_frac, low_frac, jump_s),
            Segment("settle", "down", 0, low_frac, low_frac, self.settle_s),
            Segment("dwell", "down", 0, low_frac, low_frac, self.cruise_s),
            Segment("punch", "rest", -1, low_frac, 0.0, chop_s),
        ]
        return [
            rest(self.rest_s.before),
            *repeated(once, self.repeats, self.rest_s.between),
            rest(self.rest_s.after),
        ]

    @override
    def told(self) -> list[str]:
        """What it does, in order, a sentence each."""
        return [
            f"Rests for {self.rest_s.before:g} s, the motor off.",
            f"Cruises at {self.cruise_percent:g} %: settles for {self.settle_s:g} s "
            f"and is read for {self.cruise_s:g} s.",
            f"Punches to {self.punch_percent:g} % at {self.punch_percent_per_s:g} % a "
            f"second and holds it for {self.punch_s:g} s.",
            f"Drops back to {self.cruise_percent:g} % as fast, settles and reads "
            "again, and chops the throttle to zero.",
            *repeats_told(self.repeats, self.rest_s.between),
            f"Rests for {self.rest_s.after:g} s. Each rest is a zero.",
        ]

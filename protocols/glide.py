"""Glides: throttle moved slowly and evenly, up and back, read as it moves.

A glide shows a relation without gaps and what differs between the ways. It holds
no level, so this module must never call any of it a dwell.
"""

from typing import Annotated, Literal

from pydantic import Field, model_validator
from typing_extensions import override

from protocols.plan import MAX_GLIDE_FRAC_PER_S, Segment
from protocols.recipe_parts import (
    LevelPercent,
    RampPercentPerS,
    Recipe,
    Repeats,
    Rests,
    SettleS,
    need_rest_between,
    ramp_to_rest,
    repeated,
    repeats_told,
    rest,
)

# A glide over less than this is a level held badly.
MIN_SPAN_PERCENT = 10.0


class Glide(Recipe):
    """Throttle from low to high and back, slowly and evenly.

    Attributes:
        low_percent: where the glide starts and ends.
        high_percent: where it turns.
        percent_per_s: how fast it moves.
        ramp_percent_per_s: how fast throttle gets from zero to low and back.
        settle_s: held at low before it starts and at high before it turns, so that
            the motor follows evenly from the first reading on.
        repeats: how often it goes up and back.
        rest_s: how long the motor stands still, and when.
    """

    kind: Literal["glide"]
    low_percent: LevelPercent
    high_percent: LevelPercent
    percent_per_s: Annotated[float, Field(ge=0.2, le=100 * MAX_GLIDE_FRAC_PER_S)]
    ramp_percent_per_s: RampPercentPerS
    settle_s: SettleS
    repeats: Repeats = 1
    rest_s: Rests

    @model_validator(mode="after")
    def _has_a_span(self) -> "Glide":
        if self.high_percent - self.low_percent < MIN_SPAN_PERCENT:
            raise ValueError(
                f"high_percent is {self.high_percent:g}; it must be at least "
                f"{MIN_SPAN_PERCENT:g} above low_percent"
            )
        need_rest_between(self.repeats, self.rest_s.between)
        return self

    @override
    def segments(self) -> list[Segment]:
        """Each glide starts from rest and returns to it."""
        rate_frac_s = self.ramp_percent_per_s / 100
        low_frac, high_frac = self.low_percent / 100, self.high_percent / 100
        glide_s = (self.high_percent - self.low_percent) / self.percent_per_s
        once = [
            Segment("ramp", "up", 0, 0.0, low_frac, low_frac / rate_frac_s),
            Segment("settle", "up", 0, low_frac, low_frac, self.settle_s),
            Segment("glide", "up", 1, low_frac, high_frac, glide_s),
            Segment("settle", "up", 1, high_frac, high_frac, self.settle_s),
            Segment("glide", "down", 0, high_frac, low_frac, glide_s),
            ramp_to_rest(low_frac, rate_frac_s),
        ]
        return [
            rest(self.rest_s.before),
            *repeated(once, self.repeats, self.rest_s.between),
            rest(self.rest_s.after),
        ]

    @override
    def told(self) -> list[str]:
        """What it does, in order, a sentence each."""
        glide_s = (self.high_percent - self.low_percent) / self.percent_per_s
        return [
            f"Rests for {self.rest_s.before:g} s, the motor off.",
            f"Glides from {self.low_percent:g} to {self.high_percent:g} % at "
            f"{self.percent_per_s:g} % a second, {glide_s:.3g} s, waits there for "
            f"{self.settle_s:g} s and glides back, reading as it moves.",
            *repeats_told(self.repeats, self.rest_s.between),
            f"Rests for {self.rest_s.after:g} s. Each rest is a zero.",
        ]

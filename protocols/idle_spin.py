"""Idle spins: the motor without its propeller, slowly, for its no-load current.

Nothing brakes a bare motor but its own friction, so throttle and speed are both
capped. This module must never make a plan that could be walked unawares with a
bound on speed looser than the file's.
"""

from typing import Annotated, Literal

from pydantic import Field, model_validator
from typing_extensions import override

from daq import units
from daq.records.shelf import Article
from protocols.plan import MAX_BARE_FRAC, Leg, Plan, Segment
from protocols.recipe_parts import (
    DwellS,
    Levels,
    RampPercentPerS,
    Recipe,
    Rests,
    SettleS,
    level_count,
    percents,
    rest,
)
from protocols.staircase import walk

PROPELLER_OFF = "propeller off"
MAX_BARE_PERCENT = 100 * MAX_BARE_FRAC


class IdleSpin(Recipe):
    """A low staircase with the propeller taken off.

    Attributes:
        propeller: the word "off", written by whoever takes it off.
        levels_percent: throttle of each level, rising.
        up_and_down: walk the levels down again after a rest.
        max_rpm: the bound on speed that this plan brings along.
        ramp_percent_per_s: how fast throttle moves between levels.
        settle_s: held at each level before readings count.
        dwell_s: held at each level while readings count.
        rest_s: how long the motor stands still, and when.
    """

    kind: Literal["idle-spin"]
    propeller: Literal["off"]
    levels_percent: Levels
    up_and_down: bool
    max_rpm: Annotated[float, Field(ge=1000, le=200_000)]
    ramp_percent_per_s: RampPercentPerS
    settle_s: SettleS
    dwell_s: DwellS
    rest_s: Rests

    @model_validator(mode="after")
    def _stays_low(self) -> "IdleSpin":
        top = self.levels_percent[-1]
        if top > MAX_BARE_PERCENT:
            raise ValueError(
                f"levels_percent goes to {top:g}; without a propeller it must stay at "
                f"or below {MAX_BARE_PERCENT:g}"
            )
        if self.up_and_down and self.rest_s.between is None:
            raise ValueError("rest_s.between is missing; up_and_down needs it")
        if not self.up_and_down and self.rest_s.between is not None:
            raise ValueError(
                "rest_s.between has no meaning without up_and_down; take it out"
            )
        return self

    @override
    def segments(self) -> list[Segment]:
        """Each leg starts from rest and returns to it."""
        levels = [(i, p / 100) for i, p in enumerate(self.levels_percent)]
        made = [rest(self.rest_s.before), *self._leg("up", levels)]
        if self.rest_s.between is not None:
            made += [rest(self.rest_s.between), *self._leg("down", levels[::-1])]
        return [*made, rest(self.rest_s.after)]

    def _leg(self, leg: Leg, levels: list[tuple[int, float]]) -> list[Segment]:
        return walk(
            leg,
            levels,
            rate_frac_s=self.ramp_percent_per_s / 100,
            settle_s=self.settle_s,
            dwell_s=self.dwell_s,
        )

    @override
    def plan(self, article: Article | None = None) -> Plan:
        """The timeline, marked as one without propeller and capped in speed."""
        return Plan(
            protocol=self.name,
            title=self._title_that_warns(),
            segments=tuple(self.segments_for(article)),
            lease_s=self.lease_ms / 1000,
            propeller_off=True,
            speed_cap_rad_s=units.rpm_to_rad_s(self.max_rpm),
        )

    def _title_that_warns(self) -> str:
        """The title, which every screen shows, with the words that matter."""
        warned = PROPELLER_OFF in self.title.lower()
        return self.title if warned else f"{self.title} ({PROPELLER_OFF})"

    @override
    def told(self) -> list[str]:
        """What it does, in order, a sentence each."""
        said = [
            "Take the propeller off first: this is for a bare motor.",
            f"Rests for {self.rest_s.before:g} s, the motor off.",
            f"Walks {level_count(len(self.levels_percent))} up, "
            f"{percents(self.levels_percent)}: throttle moves at "
            f"{self.ramp_percent_per_s:g} % a second; each settles for "
            f"{self.settle_s:g} s and is read for {self.dwell_s:g} s.",
        ]
        if self.rest_s.between is not None:
            said.append(
                f"Rests for {self.rest_s.between:g} s, then walks the same levels down."
            )
        return [
            *said,
            f"Rests for {self.rest_s.after:g} s. Each rest is a zero.",
            f"Trips above {self.max_rpm:g} rpm, whatever the propeller could bear.",
        ]

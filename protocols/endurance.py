"""Endurance: a thrust held until the pack is down to its floor under load.

Needs to know what is tested: the pack for its floor, the aircraft for its hover. This
module must never plan an end at a voltage where the guard would trip, nor below what
the article allows its cells.
"""

from typing import Annotated, Final, Literal

from pydantic import Field, model_validator
from typing_extensions import override

from daq import units
from daq.errors import InputFault
from daq.records.shelf import Article, Pack
from protocols.goal import Goal
from protocols.limits import brief
from protocols.plan import MAX_HOLD_FRAC_PER_S, Segment
from protocols.recipe_parts import (
    LevelPercent,
    RampPercentPerS,
    Recipe,
    Rests,
    need_rest_between,
    rest,
)

HOVER: Final = "hover"
# So far above the lowest that a cell may sag to the hold ends by itself: the last
# volts go fast, and the voltage's limit must never be what ends it.
END_MARGIN_CELL_V: Final = 0.05
# Less is no hold, and longer no pack of this trade lasts.
MIN_LONGEST_S: Final = 30.0
MAX_LONGEST_S: Final = 7200.0
_ROUNDING_V: Final = 1e-9

CellV = Annotated[float, Field(ge=2.5, le=4.0)]
ThrustGf = Annotated[float, Field(gt=0, le=20_000)]


class Endurance(Recipe):
    """A thrust held to the floor.

    Attributes:
        thrust_gf: what is held; "hover" for all-up weight over motors.
        floor_cell_v: where it ends, in volt a cell under load; without it a little
            above the lowest that the article's pack may sag to.
        start_percent: throttle that the hold begins with.
        lowest_percent: the least throttle that it may use.
        highest_percent: the most.
        ramp_percent_per_s: how fast throttle gets to the start and, at the end, down.
        longest_s: when it ends in any case.
        rest_s: how long the motor stands still, and when.
    """

    kind: Literal["endurance"]
    thrust_gf: ThrustGf | Literal["hover"]
    floor_cell_v: CellV | None = None
    start_percent: LevelPercent
    lowest_percent: LevelPercent
    highest_percent: LevelPercent
    ramp_percent_per_s: RampPercentPerS
    longest_s: Annotated[float, Field(ge=MIN_LONGEST_S, le=MAX_LONGEST_S)]
    rest_s: Rests

    @model_validator(mode="after")
    def _has_room(self) -> "Endurance":
        low, start, high = self.lowest_percent, self.start_percent, self.highest_percent
        if not low <= start < high:
            raise ValueError(
                f"start_percent is {start:g}; it must be from lowest_percent to below "
                "highest_percent"
            )
        least_s = (high - start) / (100 * MAX_HOLD_FRAC_PER_S)
        if self.longest_s < least_s:
            raise ValueError(
                f"longest_s is {self.longest_s:g}; from start_percent to "
                f"highest_percent alone takes {least_s:g} s"
            )
        need_rest_between(1, self.rest_s.between)
        return self

    @override
    def segments(self) -> list[Segment]:
        """Nothing is known without an article.

        Raises:
            InputFault: always.
        """
        return self.segments_for(None)

    @override
    def segments_for(self, article: Article | None) -> list[Segment]:
        """Up to the start, the hold, down, and a rest in which the pack recovers.

        Raises:
            InputFault: the article does not say what is held, or to where.
        """
        goal = self._goal(article)
        start_frac, high_frac = self.start_percent / 100, goal.highest_frac
        rate_frac_s = self.ramp_percent_per_s / 100
        up_s, down_s = start_frac / rate_frac_s, high_frac / rate_frac_s
        longest_s = self.longest_s
        return [
            rest(self.rest_s.before),
            Segment("ramp", "hold", 0, 0.0, start_frac, up_s),
            Segment("hold", "hold", 0, start_frac, high_frac, longest_s, goal),
            Segment("ramp", "rest", -1, high_frac, 0.0, down_s),
            rest(self.rest_s.after),
        ]

    @override
    def lasts(self) -> str:
        """So many minutes at most: nobody knows how long the pack lasts."""
        return f"{self.longest_s / 60:.3g} min at most"

    @override
    def told(self) -> list[str]:
        """What it does, in order, a sentence each."""
        held = "the thrust of one motor in hover (all-up weight over motors)"
        if self.thrust_gf != HOVER:
            held = f"{self.thrust_gf:g} gf"
        floor = f"{self.floor_cell_v or 0:g} V a cell"
        if self.floor_cell_v is None:
            floor = (
                f"{END_MARGIN_CELL_V:g} V a cell above the lowest that the pack may "
                "sag to"
            )
        return [
            f"Rests for {self.rest_s.before:g} s, the motor off.",
            f"Goes up to {self.start_percent:g} % throttle.",
            f"Holds {held}: the throttle follows slowly, by at most "
            f"{100 * MAX_HOLD_FRAC_PER_S:g} % a second upwards, from "
            f"{self.lowest_percent:g} to {self.highest_percent:g} %.",
            f"Ends when the bus voltage under load is down to {floor}, when "
            f"{self.highest_percent:g} % no longer gives the thrust, or after "
            f"{self.longest_s / 60:.3g} min.",
            f"Goes down and rests for {self.rest_s.after:g} s, in which the pack "
            "recovers. Each rest is a zero.",
        ]

    def _goal(self, article: Article | None) -> Goal:
        """What is held, and to where.

        Raises:
            InputFault: the article does not say.
        """
        if article is None:
            raise InputFault(
                f"the protocol {self.name} goes by its article's pack and aircraft; "
                "say what is tested."
            )
        if article.pack is None:
            raise InputFault(
                f"the protocol {self.name} empties a pack, and the article "
                f"{article.name} is fed by a supply."
            )
        return Goal(
            thrust_n=self._thrust_n(article),
            lowest_frac=self.lowest_percent / 100,
            highest_frac=self.highest_percent / 100,
            floor_v=article.pack.cells * self._floor_cell_v(article.pack),
        )

    def _thrust_n(self, article: Article) -> float:
        if self.thrust_gf != HOVER:
            return units.gf_to_n(float(self.thrust_gf))
        flown = article.aircraft
        if flown is None or flown.all_up_n is None:
            raise InputFault(
                f"the protocol {self.name} holds the thrust of hover, all-up weight "
                f"over motors, and the article {article.name} has no "
                "aircraft.all_up_g: add it, or state thrust_gf in a copy of the "
                "protocol."
            )
        return flown.all_up_n / flown.motors

    def _floor_cell_v(self, pack: Pack) -> float:
        least_v = pack.min_cell_v + END_MARGIN_CELL_V
        if self.floor_cell_v is None:
            return least_v
        if self.floor_cell_v < least_v - _ROUNDING_V:
            raise InputFault(
                f"the protocol {self.name} ends at {brief(self.floor_cell_v)} V a "
                f"cell, and the article's cells may sag to {brief(pack.min_cell_v)} V "
                f"(pack.min_cell_v), where the guard trips: let it end at "
                f"{brief(least_v)} V or above."
            )
        return self.floor_cell_v

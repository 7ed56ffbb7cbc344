"""A load switched by hand: nothing is armed, nothing turns, steps come from a person.

For currents that one motor on the stand never draws: a resistor bank, a lamp, an
electronic load across the bus, up to what a whole aircraft takes. The plan only says
when; what was on, and for how long, is seen in the current.
"""

from typing import Annotated, Literal

from pydantic import Field
from typing_extensions import override

from daq.records.shelf import Article
from protocols.plan import Leg, Plan, Segment
from protocols.recipe_parts import Recipe, RestS, Rests, rest

HOLD_S = Annotated[float, Field(ge=3, le=120)]


class LoadByHand(Recipe):
    """Loads that a person switches on and off, each for a while.

    Attributes:
        loads: how many different ones, the smallest first.
        up_and_down: the same again from the largest to the smallest.
        on_s: how long each is left on.
        long_s: how long the largest is left on once more at the end, to see what it
            warms; None for not at all.
        rest_s: how long nothing flows; ``between`` is after each load.
    """

    kind: Literal["load-by-hand"]
    loads: Annotated[int, Field(ge=1, le=12)]
    up_and_down: bool
    on_s: HOLD_S
    long_s: Annotated[float, Field(ge=15, le=300)] | None = None
    rest_s: Rests

    @property
    def _off_s(self) -> RestS:
        return (
            self.rest_s.before if self.rest_s.between is None else self.rest_s.between
        )

    @override
    def segments(self) -> list[Segment]:
        """Each load between two rests."""
        made = [rest(self.rest_s.before)]
        legs: tuple[Leg, ...] = ("up", "down") if self.up_and_down else ("up",)
        steps = range(self.loads)
        walked = [
            (leg, step, self.on_s)
            for leg in legs
            for step in (steps if leg == "up" else reversed(steps))
        ]
        if self.long_s is not None:
            walked.append((legs[-1], self.loads - 1, self.long_s))
        for number, (leg, step, on_s) in enumerate(walked, start=1):
            made.append(Segment("load", leg, step, 0.0, 0.0, on_s))
            made.append(
                rest(self._off_s if number < len(walked) else self.rest_s.after)
            )
        return made

    @override
    def plan(self, article: Article | None = None) -> Plan:
        """The timeline, marked as one that arms nothing."""
        return Plan(
            protocol=self.name,
            title=self.title,
            segments=tuple(self.segments_for(article)),
            lease_s=self.lease_ms / 1000,
            by_hand=True,
        )

    @override
    def told(self) -> list[str]:
        """What is done, in order, a sentence each."""
        said = [
            "Nothing is armed and nothing turns: you switch a load across the bus, "
            "behind plug and current sensor, on and off when it says so.",
            f"Rests for {self.rest_s.before:g} s, the load off.",
            f"Asks for {self.loads} loads, the smallest first, each on for "
            f"{self.on_s:g} s and off for {self._off_s:g} s after it.",
        ]
        if self.up_and_down:
            said.append("Asks for the same again, the largest first.")
        if self.long_s is not None:
            said.append(
                f"Asks for the largest once more, for {self.long_s:g} s, to see what "
                "gets warm."
            )
        said.append(
            f"Rests for {self.rest_s.after:g} s. What counts is what the current shows "
            "to have been on; each time without it is a zero."
        )
        return said

"""What all protocol files share: their head, the ranges of figures, small words.

Each kind of protocol has a module of its own, with the table that a person
writes, its expansion into a plan and its description in sentences. This module
must never know one of them.
"""

from abc import abstractmethod
from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, field_validator

from daq.records.shelf import Article
from daq.typed_toml import Table
from protocols.plan import MAX_LEASE_S, MAX_RAMP_FRAC_PER_S, MIN_LEASE_S, Plan, Segment

FORMAT = 1
MAX_RAMP_PERCENT_PER_S = 100 * MAX_RAMP_FRAC_PER_S
# A rest is also a zero of the load cell: the propeller must have stopped and the
# converter settled. Common practice, no source.
MIN_REST_S = 2.0
# An armed stand that is not spun for 30 s locks by itself, which ends the run.
MAX_REST_S = 25.0
# Levels closer than this are one level, within what an ESC makes of it.
MIN_LEVEL_PERCENT = 1.0
_NAME_CHARACTERS = frozenset("abcdefghijklmnopqrstuvwxyz0123456789-")


def _levels_rise(levels: tuple[float, ...]) -> tuple[float, ...]:
    if any(after - before < MIN_LEVEL_PERCENT for before, after in pairwise(levels)):
        raise ValueError(
            f"each level must lie at least {MIN_LEVEL_PERCENT:g} above the one "
            "before; the way down and the order are keys of their own"
        )
    return levels


def _stays_armed(rest_s: float) -> float:
    if rest_s > MAX_REST_S:
        raise ValueError(
            "an armed stand that stands still for half a minute locks by itself, so "
            f"{MAX_REST_S:g} is the most"
        )
    return rest_s


LevelPercent = Annotated[float, Field(ge=MIN_LEVEL_PERCENT, le=100)]
Levels = Annotated[
    tuple[LevelPercent, ...],
    Field(strict=False, min_length=1, max_length=50),
    AfterValidator(_levels_rise),
]
RampPercentPerS = Annotated[float, Field(ge=1, le=MAX_RAMP_PERCENT_PER_S)]
RestS = Annotated[float, Field(ge=MIN_REST_S), AfterValidator(_stays_armed)]
SettleS = Annotated[float, Field(ge=0.1, le=60)]
DwellS = Annotated[float, Field(ge=0.2, le=300)]
Repeats = Annotated[int, Field(ge=1, le=20)]
Level = tuple[int, float]


class Rests(Table):
    """How long the motor stands still, in seconds; each rest is a zero.

    Attributes:
        before: ahead of the first part.
        between: between one part and the next.
        after: behind the last part.
    """

    before: RestS
    between: RestS | None = None
    after: RestS


class Recipe(Table):
    """What every protocol file begins with.

    Attributes:
        format: version of this layout.
        name: short, for folders: lower-case letters, digits and hyphens.
        title: what a person calls it.
        why: what it is good for.
        lease_ms: how long a throttle command holds unless renewed.
    """

    format: Literal[1]
    name: Annotated[str, Field(min_length=1, max_length=40)]
    title: Annotated[str, Field(min_length=1, max_length=80)]
    why: Annotated[str, Field(min_length=1, max_length=1000)]
    lease_ms: Annotated[
        int, Field(ge=round(1000 * MIN_LEASE_S), le=round(1000 * MAX_LEASE_S))
    ] = 200

    @field_validator("name")
    @classmethod
    def _fits_a_folder(cls, name: str) -> str:
        if not set(name) <= _NAME_CHARACTERS:
            raise ValueError("it may hold lower-case letters, digits and hyphens only")
        return name

    @abstractmethod
    def segments(self) -> list[Segment]:
        """The recipe laid out in time."""

    def segments_for(self, article: Article | None) -> list[Segment]:
        """The same, for a recipe that goes by what is tested.

        Raises:
            InputFault: it needs an article, or one that says more.
        """
        del article
        return self.segments()

    @abstractmethod
    def told(self) -> list[str]:
        """What it does, in order, a sentence each."""

    def plan(self, article: Article | None = None) -> Plan:
        """The timeline that a keeper walks.

        Args:
            article: what is tested, for a recipe that goes by it.

        Raises:
            InputFault: it would not be a safe one, to which a recipe that was read does
                not lead; or it needs an article, or one that says more.
        """
        return Plan(
            protocol=self.name,
            title=self.title,
            segments=tuple(self.segments_for(article)),
            lease_s=self.lease_ms / 1000,
        )

    def lasts(self) -> str:
        """How long it takes, in words."""
        return f"{self.plan().duration_s:.0f} s"


def rest(duration_s: float) -> Segment:
    """The motor off."""
    return Segment("rest", "rest", -1, 0.0, 0.0, duration_s)


def ramp_to_rest(from_frac: float, rate_frac_s: float) -> Segment:
    """Down to zero throttle; it belongs to the rest that it leads to."""
    return Segment("ramp", "rest", -1, from_frac, 0.0, from_frac / rate_frac_s)


def in_words(words: Sequence[str]) -> str:
    """A list as a person says it."""
    if len(words) <= 1:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def percents(levels: Sequence[float]) -> str:
    """Levels as a person says them: 20, 35 and 50 %."""
    return f"{in_words([f'{level:g}' for level in levels])} %"


def level_count(count: int) -> str:
    """A number of levels in words."""
    return "one level" if count == 1 else f"{count} levels"


def need_rest_between(repeats: int, between_s: float | None) -> None:
    """Refuse repeats without a rest between them, and a rest without repeats.

    Raises:
        ValueError: naming the key.
    """
    if repeats > 1 and between_s is None:
        raise ValueError("rest_s.between is missing; repeats need a rest between them")
    if repeats == 1 and between_s is not None:
        raise ValueError("rest_s.between has no meaning without repeats; take it out")


def repeated(
    once: list[Segment], repeats: int, between_s: float | None
) -> list[Segment]:
    """The same stretch so many times, with a rest between."""
    made = list(once)
    for _ in range(repeats - 1):
        if between_s is not None:
            made.append(rest(between_s))
        made += once
    return made


def repeats_told(repeats: int, between_s: float | None) -> list[str]:
    """How often, in a sentence; nothing for once."""
    if repeats == 1:
        return []
    times = "twice" if repeats == 2 else f"{repeats} times"
    return [f"Does so {times}, with rests of {between_s or 0:g} s between."]

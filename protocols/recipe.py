"""Protocol files: the recipe a person writes, and its expansion into a plan.

A file speaks in percent of full throttle, as people do; a plan in fractions. This
module reads files, so the keeper never imports it: it is handed the plan.
"""

from difflib import get_close_matches
from importlib import resources
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from daq.errors import InputFault
from daq.typed_toml import Table, read_typed
from protocols.plan import MAX_LEASE_S, MAX_RAMP_FRAC_PER_S, MIN_LEASE_S, Plan, Segment

FORMAT = 1
MAX_RAMP_PERCENT_PER_S = 100 * MAX_RAMP_FRAC_PER_S
# A rest is also a zero of the load cell: the propeller must have stopped and the
# converter settled. Common practice, no source.
MIN_REST_S = 2.0
_NAME_CHARACTERS = frozenset("abcdefghijklmnopqrstuvwxyz0123456789-")

# Levels closer than this are one level, within what an ESC makes of it.
MIN_LEVEL_PERCENT = 1.0

LevelPercent = Annotated[float, Field(ge=MIN_LEVEL_PERCENT, le=100)]
RestS = Annotated[float, Field(ge=MIN_REST_S, le=600)]


class Rests(Table):
    """How long the motor stands still, in seconds; each rest is a zero.

    Attributes:
        before: ahead of the first leg.
        between: between the way up and the way down.
        after: behind the last leg.
    """

    before: RestS
    between: RestS | None = None
    after: RestS


class Recipe(Table):
    """A staircase: levels of throttle, up, and down again if wanted.

    Attributes:
        format: version of this layout.
        name: short, for folders: lower-case letters, digits and hyphens.
        title: what a person calls it.
        why: what it is good for.
        kind: only staircases so far.
        levels_percent: throttle of each level, rising.
        up_and_down: walk the levels down again after a rest.
        ramp_percent_per_s: how fast throttle moves between levels.
        settle_s: held at each level before readings count.
        dwell_s: held at each level while readings count.
        lease_ms: how long a throttle command holds unless renewed.
        rest_s: how long the motor stands still, and when.
    """

    format: Literal[1]
    name: Annotated[str, Field(min_length=1, max_length=40)]
    title: Annotated[str, Field(min_length=1, max_length=80)]
    why: Annotated[str, Field(min_length=1, max_length=1000)]
    kind: Literal["staircase"]
    levels_percent: Annotated[
        tuple[LevelPercent, ...], Field(strict=False, min_length=1, max_length=50)
    ]
    up_and_down: bool
    ramp_percent_per_s: Annotated[float, Field(ge=1, le=MAX_RAMP_PERCENT_PER_S)]
    settle_s: Annotated[float, Field(ge=0.1, le=60)]
    dwell_s: Annotated[float, Field(ge=0.2, le=300)]
    lease_ms: Annotated[
        int, Field(ge=round(1000 * MIN_LEASE_S), le=round(1000 * MAX_LEASE_S))
    ] = 200
    rest_s: Rests

    @field_validator("name")
    @classmethod
    def _fits_a_folder(cls, name: str) -> str:
        if not set(name) <= _NAME_CHARACTERS:
            raise ValueError("it may hold lower-case letters, digits and hyphens only")
        return name

    @field_validator("levels_percent")
    @classmethod
    def _levels_rise(cls, levels: tuple[float, ...]) -> tuple[float, ...]:
        if any(
            after - before < MIN_LEVEL_PERCENT for before, after in pairwise(levels)
        ):
            raise ValueError(
                f"each level must lie at least {MIN_LEVEL_PERCENT:g} above the one "
                "before; up_and_down adds the way down"
            )
        return levels

    @model_validator(mode="after")
    def _rest_between_legs(self) -> "Recipe":
        if self.up_and_down and self.rest_s.between is None:
            raise ValueError(
                "rest_s.between is missing; up_and_down needs a rest between its legs"
            )
        if not self.up_and_down and self.rest_s.between is not None:
            raise ValueError(
                "rest_s.between has no meaning without up_and_down; take it out"
            )
        return self


def catalogue_names() -> tuple[str, ...]:
    """The protocols that come with gramwatt, by name."""
    shipped = resources.files("protocols.catalogue").iterdir()
    return tuple(
        sorted(
            file.name.removesuffix(".toml")
            for file in shipped
            if file.name.endswith(".toml")
        )
    )


def load_recipe(source: Path | str) -> Recipe:
    """Read a protocol, shipped or a person's own.

    Args:
        source: a name from the catalogue, or a path: a ``Path``, or text that ends in
            ``.toml`` or holds a slash.

    Raises:
        InputFault: no such name or file, or what is wrong in it, by file and key.
    """
    if isinstance(source, Path) or _looks_like_a_path(source):
        return read_typed(Path(source), Recipe)
    names = catalogue_names()
    if source not in names:
        near = get_close_matches(source, names, n=1)
        hint = f" Did you mean {near[0]}?" if near else ""
        raise InputFault(
            f'the catalogue has no protocol "{source}", only {" and ".join(names)}; '
            f"a file of your own is named with its ending .toml.{hint}"
        )
    return read_typed(
        resources.files("protocols.catalogue").joinpath(f"{source}.toml"), Recipe
    )


def _looks_like_a_path(source: str) -> bool:
    return source.endswith(".toml") or "/" in source or "\\" in source


def expand(recipe: Recipe) -> Plan:
    """Lay a recipe out in time.

    Each leg starts from rest and returns to it, so the highest level is held twice
    where the recipe goes up and down.

    Raises:
        InputFault: the plan would not be a safe one; a recipe that was read does not
            lead there.
    """
    levels = [percent / 100 for percent in recipe.levels_percent]
    up = list(enumerate(levels))
    segments = [_rest(recipe.rest_s.before), *_leg(recipe, "up", up)]
    if recipe.up_and_down and recipe.rest_s.between is not None:
        segments.append(_rest(recipe.rest_s.between))
        segments += _leg(recipe, "down", up[::-1])
    segments.append(_rest(recipe.rest_s.after))
    return Plan(
        protocol=recipe.name,
        title=recipe.title,
        segments=tuple(segments),
        lease_s=recipe.lease_ms / 1000,
    )


def _rest(duration_s: float) -> Segment:
    return Segment("rest", "rest", -1, 0.0, 0.0, duration_s)


def _leg(
    recipe: Recipe, leg: Literal["up", "down"], stops: list[tuple[int, float]]
) -> list[Segment]:
    """One walk over the levels, from zero throttle and back to it."""
    rate_frac_s = recipe.ramp_percent_per_s / 100
    segments = []
    at_frac = 0.0
    for step, level_frac in stops:
        ramp_s = abs(level_frac - at_frac) / rate_frac_s
        segments += [
            Segment("ramp", leg, step, at_frac, level_frac, ramp_s),
            Segment("settle", leg, step, level_frac, level_frac, recipe.settle_s),
            Segment("dwell", leg, step, level_frac, level_frac, recipe.dwell_s),
        ]
        at_frac = level_frac
    segments.append(Segment("ramp", "rest", -1, at_frac, 0.0, at_frac / rate_frac_s))
    return segments

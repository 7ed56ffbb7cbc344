"""Staircases: levels of throttle, each held until it has settled, then read.

Rising, and down again if wanted, or in an order drawn from a seed. This module
must never let what warms the motor up pass for a measurement.
"""

import hashlib
from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field, model_validator
from typing_extensions import override

from daq.typed_toml import Table
from protocols.plan import Leg, Segment
from protocols.recipe_parts import (
    DwellS,
    Level,
    LevelPercent,
    Levels,
    RampPercentPerS,
    Recipe,
    RestS,
    Rests,
    SettleS,
    level_count,
    percents,
    ramp_to_rest,
    rest,
)

_RISING: tuple[Leg, ...] = ("up", "down")
_SHUFFLED: tuple[Leg, ...] = ("first", "second")


class StaircaseRests(Rests):
    """How long the motor stands still, in seconds; each rest is a zero.

    Attributes:
        each: between one level and the next, for motors that warm up within
            seconds; without it throttle goes straight from level to level.
    """

    each: RestS | None = None


class WarmUp(Table):
    """A hold before the first level, so that the motor starts warm.

    Attributes:
        throttle_percent: throttle of it.
        duration_s: how long.
        rest_s: how long the motor stands still after it; without it throttle goes
            straight to the first level.
    """

    throttle_percent: LevelPercent
    duration_s: Annotated[float, Field(ge=1, le=300)]
    rest_s: RestS | None = None


class Soak(Table):
    """A hold behind the last level, read as it goes: it shows what warms.

    Attributes:
        throttle_percent: throttle of it.
        duration_s: how long.
        rest_s: how long the motor stands still before it.
    """

    throttle_percent: LevelPercent
    duration_s: Annotated[float, Field(ge=10, le=300)]
    rest_s: RestS


class Staircase(Recipe):
    """Levels of throttle, up, and down again if wanted, or in shuffled order.

    Attributes:
        levels_percent: throttle of each level, rising.
        order: rising, or shuffled: with what warms, sags or drifts during the run
            spread over all levels instead of piled on the last.
        up_and_down: for a rising one: walk the levels down again after a rest.
        seed: for a shuffled one: which order.
        passes: for a shuffled one: how often each level is visited; every pass has
            an order of its own.
        warm_up: what is held before the first level.
        soak: what is held behind the last one, after a rest.
        ramp_percent_per_s: how fast throttle moves between levels.
        settle_s: held at each level before readings count.
        dwell_s: held at each level while readings count.
        rest_s: how long the motor stands still, and when.
    """

    kind: Literal["staircase"]
    levels_percent: Levels
    order: Literal["rising", "shuffled"] = "rising"
    up_and_down: bool | None = None
    seed: Annotated[int, Field(ge=0, le=2**32 - 1)] | None = None
    passes: Annotated[int, Field(ge=1, le=2)] | None = None
    warm_up: WarmUp | None = None
    soak: Soak | None = None
    ramp_percent_per_s: RampPercentPerS
    settle_s: SettleS
    dwell_s: DwellS
    rest_s: StaircaseRests

    @model_validator(mode="after")
    def _keys_go_together(self) -> "Staircase":
        if self.order == "rising":
            self._need({"up_and_down": self.up_and_down}, "a rising staircase")
            self._refuse({"seed": self.seed, "passes": self.passes}, "a rising one")
        else:
            wanted = {"seed": self.seed, "passes": self.passes}
            self._need(wanted, "a shuffled staircase")
            self._refuse({"up_and_down": self.up_and_down}, "a shuffled one")
        return self

    @staticmethod
    def _need(keys: Mapping[str, object], what: str) -> None:
        for key, value in keys.items():
            if value is None:
                raise ValueError(f"{key} is missing; {what} needs it")

    @staticmethod
    def _refuse(keys: Mapping[str, object], what: str) -> None:
        for key, value in keys.items():
            if value is not None:
                raise ValueError(f"{key} has no meaning in {what}; take it out")

    @model_validator(mode="after")
    def _rest_between_legs(self) -> "Staircase":
        if self._leg_count > 1 and self.rest_s.between is None:
            need = "up_and_down" if self.order == "rising" else "a second pass"
            raise ValueError(
                f"rest_s.between is missing; {need} needs a rest between its legs"
            )
        if self._leg_count == 1 and self.rest_s.between is not None:
            need = "up_and_down" if self.order == "rising" else "a second pass"
            raise ValueError(
                f"rest_s.between has no meaning without {need}; take it out"
            )
        return self

    @property
    def _leg_count(self) -> int:
        return 2 if self.up_and_down else self.passes or 1

    def legs(self) -> list[tuple[Leg, list[Level]]]:
        """Each leg with the levels in the order of the walk, index and fraction."""
        levels = [(i, p / 100) for i, p in enumerate(self.levels_percent)]
        if self.seed is not None:
            return [
                (leg, shuffled(levels, self.seed, number))
                for number, leg in enumerate(_SHUFFLED[: self._leg_count], start=1)
            ]
        return [
            (leg, levels if leg == "up" else levels[::-1])
            for leg in _RISING[: self._leg_count]
        ]

    @override
    def segments(self) -> list[Segment]:
        """Each leg starts from rest (or the warm-up) and returns to rest."""
        rate_frac_s = self.ramp_percent_per_s / 100
        made = [rest(self.rest_s.before)]
        at_frac = 0.0
        if self.warm_up is not None:
            made += _warm(self.warm_up, rate_frac_s)
            at_frac = made[-1].end_frac
        for number, (leg, levels) in enumerate(self.legs()):
            if number and self.rest_s.between is not None:
                made.append(rest(self.rest_s.between))
            made += walk(
                leg,
                levels,
                rate_frac_s=rate_frac_s,
                settle_s=self.settle_s,
                dwell_s=self.dwell_s,
                each_s=self.rest_s.each,
                from_frac=at_frac,
            )
            at_frac = 0.0
        if self.soak is not None:
            made += [rest(self.soak.rest_s), *_soaked(self.soak, rate_frac_s)]
        return [*made, rest(self.rest_s.after)]

    @override
    def told(self) -> list[str]:
        """What it does, in order, a sentence each."""
        said = [f"Rests for {self.rest_s.before:g} s, the motor off."]
        if self.warm_up is not None:
            said.append(_warm_words(self.warm_up))
        said += self._legs_told()
        if self.soak is not None:
            said.append(
                f"Rests for {self.soak.rest_s:g} s, then holds "
                f"{self.soak.throttle_percent:g} % for {self.soak.duration_s:g} s and "
                "reads what that does as it gets warm."
            )
        said.append(f"Rests for {self.rest_s.after:g} s. Each rest is a zero.")
        return said

    def _legs_told(self) -> list[str]:
        each = self.rest_s.each
        moves = f"throttle moves at {self.ramp_percent_per_s:g} % a second"
        if each is not None:
            moves += f", back to zero for {each:g} s after each"
        holds = f"settles for {self.settle_s:g} s and is read for {self.dwell_s:g} s"
        between = f"Rests for {self.rest_s.between or 0:g} s, then"
        count = level_count(len(self.levels_percent))
        if self.seed is None:
            said = [
                f"Walks {count} up, {percents(self.levels_percent)}: {moves}; each "
                f"{holds}."
            ]
            if self.up_and_down:
                said.append(f"{between} walks the same levels down.")
            return said
        first, *more = (
            percents([100 * frac for _, frac in levels]) for _, levels in self.legs()
        )
        said = [
            f"Walks {count} in the order that seed {self.seed} gives, {first}: "
            f"{moves}; each {holds}."
        ]
        said += [f"{between} walks them in another order, {order}." for order in more]
        return said


def shuffled(levels: list[Level], seed: int, number: int) -> list[Level]:
    """Levels in the order that a seed gives, the same in every version.

    Sorted by the SHA-256 (FIPS 180-4) of the ASCII text ``SEED/PASS/STEP``, all
    decimal, passes counted from 1 and steps from 0, the lowest level being 0.

    Args:
        levels: index and throttle of each.
        seed: which order.
        number: of the pass, from 1.
    """
    return sorted(
        levels,
        key=lambda level: hashlib.sha256(
            f"{seed}/{number}/{level[0]}".encode("ascii")
        ).digest(),
    )


def walk(
    leg: Leg,
    levels: list[Level],
    *,
    rate_frac_s: float,
    settle_s: float,
    dwell_s: float,
    each_s: float | None = None,
    from_frac: float = 0.0,
) -> list[Segment]:
    """One walk over levels, and back to zero throttle.

    Args:
        leg: its name.
        levels: index and throttle of each, in the order of the walk.
        rate_frac_s: how fast throttle moves.
        settle_s: held before readings count.
        dwell_s: held while they count.
        each_s: a rest between neighbours; None for none.
        from_frac: throttle it starts from.
    """
    made: list[Segment] = []
    at_frac = from_frac
    for step, level_frac in levels:
        if made and each_s is not None:
            made += [ramp_to_rest(at_frac, rate_frac_s), rest(each_s)]
            at_frac = 0.0
        if level_frac != at_frac:
            ramp_s = abs(level_frac - at_frac) / rate_frac_s
            made.append(Segment("ramp", leg, step, at_frac, level_frac, ramp_s))
        made += [
            Segment("settle", leg, step, level_frac, level_frac, settle_s),
            Segment("dwell", leg, step, level_frac, level_frac, dwell_s),
        ]
        at_frac = level_frac
    return [*made, ramp_to_rest(at_frac, rate_frac_s)]


def _warm(warm_up: WarmUp, rate_frac_s: float) -> list[Segment]:
    level_frac = warm_up.throttle_percent / 100
    made = _held("warm", level_frac, warm_up.duration_s, rate_frac_s)
    if warm_up.rest_s is not None:
        made += [ramp_to_rest(level_frac, rate_frac_s), rest(warm_up.rest_s)]
    return made


def _soaked(soak: Soak, rate_frac_s: float) -> list[Segment]:
    level_frac = soak.throttle_percent / 100
    made = _held("soak", level_frac, soak.duration_s, rate_frac_s)
    return [*made, ramp_to_rest(level_frac, rate_frac_s)]


def _held(
    leg: Literal["warm", "soak"],
    level_frac: float,
    duration_s: float,
    rate_frac_s: float,
) -> list[Segment]:
    """From rest to a throttle that is held, in a leg of its own."""
    ramp_s = level_frac / rate_frac_s
    return [
        Segment("ramp", leg, 0, 0.0, level_frac, ramp_s),
        Segment(leg, leg, 0, level_frac, level_frac, duration_s),
    ]


def _warm_words(warm_up: WarmUp) -> str:
    said = (
        f"Warms the motor up at {warm_up.throttle_percent:g} % for "
        f"{warm_up.duration_s:g} s, which is never used"
    )
    if warm_up.rest_s is None:
        return f"{said}, and goes on from there."
    return f"{said}, then rests for {warm_up.rest_s:g} s."

"""A plan: a protocol expanded into one timeline of throttle over time.

The keeper walks what it is handed, so a ``Plan`` that exists has been checked
whole: it starts and ends at zero throttle, never jumps, never moves faster than
its kind of segment may, and every number in it is finite. This module must never
read a clock or a file, nor import anything beyond the standard library.

Where no source is named, a figure here is common practice and has none.
"""

import math
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import accumulate, pairwise
from typing import Literal, TypeGuard, get_args

from daq.errors import InputFault
from protocols import captures, plain
from protocols.captures import CaptureAsk
from protocols.goal import Goal

FORMAT = 1
# From zero to full in half a second. Faster is a punch-out: another measurement.
MAX_RAMP_FRAC_PER_S = 2.0
# A punch-out: from zero to full in a tenth of a second, about what a thumb does and
# as long as a small motor takes to follow. Only a punch may move so fast.
MAX_PUNCH_FRAC_PER_S = 10.0
# A glide is read while it moves: a motor and a converter that follow a tenth of a
# second late are then at most a hundredth of full throttle behind.
MAX_GLIDE_FRAC_PER_S = 0.1
# A hold raises the throttle by itself: so slowly that a person sees it coming and
# that a load cell which follows late is never far behind.
MAX_HOLD_FRAC_PER_S = 0.02
# Without a propeller. A loaded motor reaches 60 to 85 % of Kv times voltage at full
# throttle; unloaded it reaches about the throttle's share of it, so that at 30 %
# bell, magnets and bearings turn slower than they do every day. No-load current
# goes nearly straight with speed: nothing more is learned above.
MAX_BARE_FRAC = 0.3
# The shortest and the longest lease that the link carries.
MIN_LEASE_S = 0.05
MAX_LEASE_S = 0.5
# A rounding error in a duration may make a ramp look this much steeper.
_ROUNDING = 1e-9

Kind = Literal[
    "rest",
    "ramp",
    "settle",
    "dwell",
    "warm",
    "glide",
    "punch",
    "burst",
    "soak",
    "hold",
    "load",
]
Leg = Literal["up", "down", "first", "second", "warm", "soak", "hold", "rest"]
# How fast the kinds that move the throttle may move it; all others hold it.
_FASTEST_FRAC_PER_S: Mapping[Kind, float] = {
    "ramp": MAX_RAMP_FRAC_PER_S,
    "punch": MAX_PUNCH_FRAC_PER_S,
    "glide": MAX_GLIDE_FRAC_PER_S,
    "hold": MAX_HOLD_FRAC_PER_S,
}
# What a plan is walked for; everything else only leads there.
# Held for themselves, in a leg of the same name.
_APART = ("warm", "soak", "hold")
_DATA: tuple[Kind, ...] = ("dwell", "glide", "burst", "soak", "hold", "load")


def _is_kind(word: str) -> TypeGuard[Kind]:
    return word in get_args(Kind)


def _is_leg(word: str) -> TypeGuard[Leg]:
    return word in get_args(Leg)


@dataclass(frozen=True, slots=True)
class Segment:
    """One stretch of a plan, throttle held or moved in a straight line.

    A ramp or a punch belongs to what it leads to: the one that ends a leg leads to
    rest.

    Attributes:
        kind: rest (motor off), ramp, settle (held, not yet used), dwell (held, used),
            warm (held to warm up, never used), glide (moved slowly, used as it
            moves), punch (moved as fast as a thumb does), burst (held for a moment
            after a punch, used as a burst and never as a level), soak (held for long,
            used as it goes), hold (a thrust is held, the throttle moves as it takes),
            load (motor off, a load switched on by hand).
        leg: up, down, first or second (of levels in shuffled order), warm, soak, hold,
            or rest.
        step: index of the level in its leg, lowest first; -1 at rest.
        start_frac: throttle at the start, 0 to 1.
        end_frac: throttle at the end, 0 to 1; of a hold the highest that it may use,
            since nobody knows where it will end.
        duration_s: how long it takes, above zero; of a hold the longest.
        goal: what a hold keeps up; None for everything else.

    Raises:
        InputFault: these figures describe no possible segment.
    """

    kind: Kind
    leg: Leg
    step: int
    start_frac: float
    end_frac: float
    duration_s: float
    goal: Goal | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.duration_s) and self.duration_s > 0):
            raise InputFault(
                f"a {self.kind} lasts {self.duration_s} s; it must be above zero."
            )
        for throttle_frac in (self.start_frac, self.end_frac):
            if not (math.isfinite(throttle_frac) and 0 <= throttle_frac <= 1):
                raise InputFault(
                    f"a {self.kind} holds a throttle of {throttle_frac}; "
                    "it must be from 0 to 1."
                )
        self._check_place()
        self._check_slope()
        self._check_goal()

    def _check_place(self) -> None:
        if (self.leg == "rest") != (self.step == -1) or self.step < -1:
            raise InputFault(
                f"a {self.kind} in leg {self.leg} has step {self.step}; "
                "a rest has step -1 and a level counts from 0."
            )
        leads_on = self.kind in ("ramp", "punch")
        if not leads_on and (self.kind == "rest") != (self.leg == "rest"):
            raise InputFault(f"a {self.kind} cannot be in leg {self.leg}.")
        apart = self.leg in _APART or self.kind in _APART
        if self.kind != "ramp" and apart and self.kind != self.leg:
            raise InputFault(f"a {self.kind} cannot be in leg {self.leg}.")

    def _check_slope(self) -> None:
        still = self.kind in ("rest", "load")
        if still and (self.start_frac, self.end_frac) != (0, 0):
            raise InputFault(f"a {self.kind} must hold a throttle of zero.")
        fastest_frac_s = _FASTEST_FRAC_PER_S.get(self.kind, 0.0)
        if not fastest_frac_s and self.start_frac != self.end_frac:
            raise InputFault(
                f"a {self.kind} moves from {self.start_frac} to {self.end_frac}; "
                "only a ramp, a glide, a punch or a hold may move the throttle."
            )
        moved_frac = abs(self.end_frac - self.start_frac)
        if moved_frac > fastest_frac_s * self.duration_s * (1 + _ROUNDING):
            raise InputFault(
                f"a {self.kind} moves the throttle by {100 * moved_frac:g} % in "
                f"{self.duration_s:g} s; at most "
                f"{100 * fastest_frac_s:g} % a second is allowed."
            )

    def _check_goal(self) -> None:
        if (self.kind == "hold") != (self.goal is not None):
            raise InputFault(
                f"a {self.kind} {'lacks its' if self.goal is None else 'has a'} goal."
            )
        if self.goal is None:
            return
        if self.end_frac != self.goal.highest_frac:
            raise InputFault("a hold must be planned up to its highest throttle.")
        if not self.start_frac >= self.goal.lowest_frac:
            raise InputFault("a hold begins below its lowest throttle.")

    @property
    def is_data(self) -> bool:
        """Whether it is what the plan is walked for."""
        return self.kind in _DATA

    @property
    def max_frac(self) -> float:
        """The highest throttle in it."""
        return max(self.start_frac, self.end_frac)

    def setpoint_at(self, into_s: float) -> float:
        """Throttle this long after its start; held at the ends beyond them."""
        share = min(max(into_s / self.duration_s, 0.0), 1.0)
        throttle_frac = self.start_frac * (1 - share) + self.end_frac * share
        # Rounding may not carry it past either end, nor stir a level that is held.
        low_frac, high_frac = sorted((self.start_frac, self.end_frac))
        return min(max(throttle_frac, low_frac), high_frac)

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON; a goal only where there is one."""
        row = {key: getattr(self, key) for key in _SEGMENT_KEYS}
        return row if self.goal is None else row | {_GOAL: self.goal.to_dict()}


_SEGMENT_KEYS = ("kind", "leg", "step", "start_frac", "end_frac", "duration_s")
_GOAL = "goal"  # of a hold only, so that older plans read and write the same
_PLAN_KEYS = ("format", "protocol", "title", "lease_s", "segments")
# Left out where they say nothing, so that older plans read and write the same.
_MORE_KEYS: Mapping[str, object] = {
    "propeller_off": False,
    "speed_cap_rad_s": None,
    "captures": (),
    "by_hand": False,
}


@dataclass(frozen=True, slots=True)
class Plan:
    """A timeline of throttle that may be walked as it stands.

    Attributes:
        protocol: short name of the recipe it came from.
        title: what a person calls it.
        segments: one after the other, without gap.
        lease_s: how long each throttle command holds unless renewed.
        propeller_off: it may be walked only with the propeller taken off.
        speed_cap_rad_s: a bound on speed that the plan brings along: the limit on
            speed must be at least as tight. None where it brings none.
        captures: fast captures that it asks for, in their order.
        by_hand: nothing is armed: a person switches a load on and off.

    Raises:
        InputFault: it jumps, does not start and end at rest, is empty, or goes
            further without a propeller than is safe.
    """

    protocol: str
    title: str
    segments: tuple[Segment, ...]
    lease_s: float = 0.2
    propeller_off: bool = False
    speed_cap_rad_s: float | None = None
    captures: tuple[CaptureAsk, ...] = ()
    by_hand: bool = False
    _ends_s: tuple[float, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not (
            math.isfinite(self.lease_s) and MIN_LEASE_S <= self.lease_s <= MAX_LEASE_S
        ):
            raise InputFault(
                f"the plan's lease is {self.lease_s} s; it must be from "
                f"{MIN_LEASE_S} to {MAX_LEASE_S} s."
            )
        if not self.segments:
            raise InputFault("the plan has no segments.")
        if self.segments[0].start_frac != 0 or self.segments[-1].end_frac != 0:
            raise InputFault("the plan must start and end at zero throttle.")
        for index, (before, after) in enumerate(pairwise(self.segments)):
            if before.end_frac != after.start_frac:
                raise InputFault(
                    f"the plan jumps from {before.end_frac} to {after.start_frac} "
                    f"between segments {index + 1} and {index + 2}; "
                    "only a segment of its own may move the throttle."
                )
            if before.kind == "hold" and (after.kind, after.end_frac) != ("ramp", 0):
                raise InputFault(
                    "a hold must lead down to rest: nobody knows where it will end."
                )
        ends_s = tuple(accumulate(segment.duration_s for segment in self.segments))
        if not math.isfinite(ends_s[-1]):
            raise InputFault("the plan never ends.")
        self._check_caps()
        self._check_captures()
        self._check_hand()
        object.__setattr__(self, "_ends_s", ends_s)

    def _check_caps(self) -> None:
        cap_rad_s = self.speed_cap_rad_s
        if cap_rad_s is not None and not (math.isfinite(cap_rad_s) and cap_rad_s > 0):
            raise InputFault(
                f"the plan's cap on speed is {cap_rad_s} rad/s; it must be above zero."
            )
        if not self.propeller_off:
            return
        if cap_rad_s is None:
            raise InputFault("a plan without a propeller needs a cap on speed.")
        if self.max_throttle_frac > MAX_BARE_FRAC:
            raise InputFault(
                f"the plan goes to {100 * self.max_throttle_frac:g} % throttle without "
                f"a propeller; at most {100 * MAX_BARE_FRAC:g} % is allowed."
            )
        if any(segment.kind in ("punch", "hold") for segment in self.segments):
            raise InputFault(
                "a plan without a propeller may have no punch, and holds no thrust."
            )

    def _check_captures(self) -> None:
        if len(self.captures) > captures.MOST:
            raise InputFault(
                f"the plan asks for {len(self.captures)} captures; at most "
                f"{captures.MOST} are allowed."
            )
        for ask in self.captures:
            if ask.segment >= len(self.segments):
                raise InputFault(
                    f"a capture is of segment {ask.segment + 1} of the plan, which "
                    f"has {len(self.segments)}."
                )

    def _check_hand(self) -> None:
        loads = any(segment.kind == "load" for segment in self.segments)
        if loads != self.by_hand:
            raise InputFault("a plan has loads where they are switched by hand only.")
        if self.by_hand and self.max_throttle_frac > 0:
            raise InputFault("a plan with a load by hand must turn no motor.")

    @property
    def duration_s(self) -> float:
        """From the first rest to the end of the last."""
        return self._ends_s[-1]

    @property
    def max_throttle_frac(self) -> float:
        """The highest throttle anywhere in it."""
        return max(segment.max_frac for segment in self.segments)

    @property
    def goals(self) -> tuple[Goal, ...]:
        """What its holds keep up, in order; empty where it holds no thrust."""
        return tuple(s.goal for s in self.segments if s.goal is not None)

    def start_of(self, index: int) -> float:
        """Seconds from the start of the plan to the start of a segment."""
        return self._ends_s[index - 1] if index > 0 else 0.0

    def segment_at(self, elapsed_s: float) -> tuple[int, Segment, float]:
        """Where the plan is at this time.

        A boundary belongs to what follows it. Before the start is the start of the
        first segment; at and beyond the end is the end of the last.

        Args:
            elapsed_s: seconds since the plan began.

        Returns:
            Index of the segment, the segment, and seconds into it.

        Raises:
            ValueError: ``elapsed_s`` is NaN.
        """
        if math.isnan(elapsed_s):
            raise ValueError("the elapsed time is not a number")
        if elapsed_s >= self.duration_s:
            last = self.segments[-1]
            return len(self.segments) - 1, last, last.duration_s
        index = bisect_right(self._ends_s, elapsed_s)
        return (
            index,
            self.segments[index],
            max(0.0, elapsed_s - self.start_of(index)),
        )

    def setpoint_at(self, elapsed_s: float) -> float:
        """Throttle at this time, 0 to 1.

        Zero before the start, at and beyond the end, and when the time is NaN.
        """
        if not 0 <= elapsed_s < self.duration_s:
            return 0.0
        _, segment, into_s = self.segment_at(elapsed_s)
        return segment.setpoint_at(into_s)

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {
            "format": FORMAT,
            "protocol": self.protocol,
            "title": self.title,
            "lease_s": self.lease_s,
            "segments": [segment.to_dict() for segment in self.segments],
            **{
                key: value
                for key, usual in _MORE_KEYS.items()
                if key != "captures" and (value := getattr(self, key)) != usual
            },
            **self._captures_told(),
        }

    def _captures_told(self) -> dict[str, object]:
        rows = [ask.to_dict() for ask in self.captures]
        return {"captures": rows} if rows else {}

    @classmethod
    def from_dict(cls, data: object) -> "Plan":
        """Read what ``to_dict`` wrote, trusting none of it.

        Raises:
            InputFault: a field is missing, unknown, ill-typed or out of bounds.
        """
        known = {**_MORE_KEYS, **data} if isinstance(data, Mapping) else data
        fields = plain.table(known, "the plan", (*_PLAN_KEYS, *_MORE_KEYS))
        if plain.whole(fields, "format", "the plan") != FORMAT:
            raise InputFault(
                f"the plan has format {fields['format']}; "
                f"this version reads format {FORMAT}."
            )
        return cls(
            protocol=plain.text(fields, "protocol", "the plan"),
            title=plain.text(fields, "title", "the plan"),
            lease_s=plain.number(fields, "lease_s", "the plan"),
            segments=tuple(
                _read_segment(row, f"segment {number} of the plan")
                for number, row in enumerate(
                    plain.rows(fields, "segments", "the plan"), start=1
                )
            ),
            propeller_off=_read_flag(fields, "propeller_off"),
            by_hand=_read_flag(fields, "by_hand"),
            speed_cap_rad_s=(
                None
                if fields["speed_cap_rad_s"] is None
                else plain.number(fields, "speed_cap_rad_s", "the plan")
            ),
            captures=tuple(
                CaptureAsk.from_dict(row, f"capture {number} of the plan")
                for number, row in enumerate(_capture_rows(fields), start=1)
            ),
        )


def _capture_rows(fields: Mapping[str, object]) -> list[object]:
    return plain.rows(fields, "captures", "the plan") if fields["captures"] else []


def _read_flag(fields: Mapping[str, object], key: str) -> bool:
    value = fields[key]
    if not isinstance(value, bool):
        raise InputFault(f"the plan: {key} is {value!r}; it must be true or false.")
    return value


def _read_segment(row: object, where: str) -> Segment:
    """One segment from plain values.

    Raises:
        InputFault: naming ``where`` and what is wrong.
    """
    more = (_GOAL,) if isinstance(row, Mapping) and _GOAL in row else ()
    fields = plain.table(row, where, (*_SEGMENT_KEYS, *more))
    kind = plain.text(fields, "kind", where)
    leg = plain.text(fields, "leg", where)
    if not _is_kind(kind):
        raise InputFault(f"{where}: there is no kind {kind!r}.")
    if not _is_leg(leg):
        raise InputFault(f"{where}: there is no leg {leg!r}.")
    step = plain.whole(fields, "step", where)
    start_frac, end_frac, duration_s = (
        plain.number(fields, key, where)
        for key in ("start_frac", "end_frac", "duration_s")
    )
    try:
        goal = Goal.from_dict(fields[_GOAL], f"the goal of {where}") if more else None
        return Segment(kind, leg, step, start_frac, end_frac, duration_s, goal)
    except InputFault as fault:
        raise InputFault(f"{where}: {fault}") from None

"""Punch-outs: from cruise to high throttle as fast as a thumb, for a moment.

Shows the peak of current, the dip of voltage and how fast thrust follows. What
is read in the burst is a burst: this module must never call it a level.
"""

from collections.abc import Mapping
from dataclasses import replace
from itertools import groupby
from typing import Annotated, Final, Literal

from pydantic import Field, model_validator
from typing_extensions import override

from daq.records.shelf import Article
from daq.typed_toml import Table
from protocols.captures import (
    LONGEST_S,
    MOST_SAMPLES,
    PATIENCE_MAX_S,
    CaptureAsk,
    Trigger,
)
from protocols.plan import (
    MAX_PUNCH_FRAC_PER_S,
    MAX_RAMP_FRAC_PER_S,
    Plan,
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

Moment = Literal["cruise", "punch", "burst", "drop", "chop"]
# Kind, leg and step of the segment that each moment of a punch is.
MOMENTS: Final[Mapping[Moment, tuple[str, str, int]]] = {
    "cruise": ("dwell", "up", 0),
    "punch": ("punch", "up", 1),
    "burst": ("burst", "up", 1),
    "drop": ("punch", "down", 0),
    "chop": ("punch", "rest", -1),
}

# A punch of less is a step between two levels of a staircase.
MIN_SPAN_PERCENT = 10.0
# Longer than this at high throttle is a dwell, and heats like one.
MAX_BURST_S = 5.0


class CaptureWish(Table):
    """A fast capture of each time that a moment of the punch comes.

    Attributes:
        at: the moment: cruise, the punch, the burst that it leads to, the drop back to
            cruise, or the chop to zero.
        channel: what is captured.
        samples: how many; a stand with less room takes fewer.
        period_us: from one sample to the next.
        before_percent: how many of them from before the trigger.
        trigger: at once, or a rise or a fall of the channel.
        by: how far, in volt or ampere, from what was read just before.
        patience_ms: how long the stand waits for that.
    """

    at: Moment
    channel: Literal["voltage", "current"] = "voltage"
    samples: Annotated[int, Field(ge=16, le=MOST_SAMPLES)]
    period_us: Annotated[float, Field(ge=1, le=100_000)]
    before_percent: Annotated[float, Field(ge=0, le=90)] = 0.0
    trigger: Trigger = "at once"
    by: Annotated[float, Field(gt=0, le=100)] | None = None
    patience_ms: Annotated[int, Field(ge=1, le=round(1000 * PATIENCE_MAX_S))] = 1000

    @model_validator(mode="after")
    def _can_be_taken(self) -> "CaptureWish":
        if (self.by is None) != (self.trigger == "at once"):
            raise ValueError(
                f"by says how far a rise or a fall must be; trigger is {self.trigger}"
            )
        span_s = self.samples * self.period_us * 1e-6
        if span_s > LONGEST_S:
            raise ValueError(
                f"{self.samples} samples, one every {self.period_us:g} us, take "
                f"{span_s:.3g} s; at most {LONGEST_S:g} s are allowed"
            )
        return self

    def asks(self, segment: int) -> CaptureAsk:
        """The same for one segment of a plan."""
        return CaptureAsk(
            segment=segment,
            label=self.at,
            channel=self.channel,
            samples=self.samples,
            period_s=self.period_us * 1e-6,
            before=int(self.samples * self.before_percent / 100),
            trigger=self.trigger,
            by_si=self.by or 0.0,
            patience_s=self.patience_ms / 1000,
        )

    def told(self) -> str:
        """In a few words."""
        every = f"{self.samples} samples of the {self.channel}"
        every += f", one every {self.period_us:g} us"
        unit = "V" if self.channel == "voltage" else "A"
        if self.by is None:
            return every
        return f"{every}, when it {self.trigger}s by {self.by:g} {unit}"


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
        captures: fast captures taken on the way.
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
    captures: Annotated[
        tuple[CaptureWish, ...], Field(strict=False, max_length=20)
    ] = ()

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
    def plan(self, article: Article | None = None) -> Plan:
        """The timeline, and what is captured of it."""
        made = super().plan(article)
        return replace(
            made,
            captures=tuple(
                wish.asks(index)
                for index, segment in enumerate(made.segments)
                for wish in self.captures
                if (segment.kind, segment.leg, segment.step) == MOMENTS[wish.at]
            ),
        )

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
            *self._captures_told(),
            *repeats_told(self.repeats, self.rest_s.between),
            f"Rests for {self.rest_s.after:g} s. Each rest is a zero.",
        ]

    def _captures_told(self) -> list[str]:
        """What is captured at each moment, a sentence each."""
        return [
            f"Captures at the {moment}: {'; '.join(wish.told() for wish in wishes)}."
            for moment, wishes in groupby(self.captures, key=lambda wish: wish.at)
        ]

"""Fast captures that a plan asks for, as values.

Each is of one segment and is asked for as that begins. Standard library only, since
the keeper reads these. ``capturing`` asks for them.
"""

import math
from dataclasses import dataclass, fields
from typing import Final, Literal, TypeGuard, get_args

from daq.errors import InputFault
from daq.link import messages as m
from daq.link.session import REPLY_PATIENCE_S
from protocols import plain

Trigger = Literal["at once", "rise", "fall"]
CHANNELS: Final = ("voltage", "current")
MOST: Final = 200  # in a plan: each has a number of its own, of one byte
MOST_SAMPLES: Final = 4096
LONGEST_S: Final = 2.0
PATIENCE_MAX_S: Final = m.PATIENCE_MAX_MS / 1e3
# After trigger and samples: blocks wait until the line has room.
BLOCKS_PATIENCE_S: Final = 1.0


def _is_trigger(word: str) -> TypeGuard[Trigger]:
    return word in get_args(Trigger)


@dataclass(frozen=True, slots=True)
class CaptureAsk:
    """One fast capture, asked for when a segment of the plan begins.

    Attributes:
        segment: index of the segment.
        label: what of the plan it shows, in a word: cruise, punch.
        channel: voltage or current.
        samples: how many samples.
        period_s: from one to the next; the stand takes the nearest that it can.
        before: how many of them from before the trigger.
        trigger: what is waited for.
        by_si: how far above (rise) or below (fall) what was read when it was asked
            for; 0 for at once. In the channel's SI unit.
        patience_s: how long the stand waits for it.

    Raises:
        InputFault: these figures describe no possible capture.
    """

    segment: int
    label: str
    channel: str
    samples: int
    period_s: float
    before: int = 0
    trigger: Trigger = "at once"
    by_si: float = 0.0
    patience_s: float = 1.0

    def __post_init__(self) -> None:
        where = f"the capture of the {self.label or 'plan'}"
        if not self.label or self.segment < 0:
            raise InputFault(f"{where} names no segment, or not what it is of.")
        if self.channel not in CHANNELS:
            raise InputFault(
                f"{where} is of {self.channel!r}; take voltage or current."
            )
        if not 2 <= self.samples <= MOST_SAMPLES:
            raise InputFault(
                f"{where} has {self.samples} samples; it must have from 2 to "
                f"{MOST_SAMPLES}."
            )
        if not 0 <= self.before < self.samples:
            raise InputFault(
                f"{where} takes {self.before} of its {self.samples} samples from "
                "before its trigger."
            )
        spans = math.isfinite(self.period_s) and self.period_s > 0
        if not (spans and self.samples * self.period_s <= LONGEST_S):
            raise InputFault(
                f"{where} has a sample every {self.period_s} s; that must be above "
                f"zero, and all of them within {LONGEST_S:g} s."
            )
        if not (
            math.isfinite(self.patience_s) and 1e-3 <= self.patience_s <= PATIENCE_MAX_S
        ):
            raise InputFault(
                f"{where} waits for {self.patience_s} s; it must be from 0.001 to "
                f"{PATIENCE_MAX_S:g} s."
            )
        self._check_trigger(where)

    def _check_trigger(self, where: str) -> None:
        waits = self.trigger != "at once"
        if not math.isfinite(self.by_si) or (self.by_si > 0) != waits:
            raise InputFault(
                f"{where} is triggered by {self.trigger} and {self.by_si}; a rise or a "
                "fall needs a figure above zero, at once needs none."
            )

    @property
    def span_s(self) -> float:
        """From its first sample to the end of its last."""
        return self.samples * self.period_s

    @property
    def longest_s(self) -> float:
        """How long it may take to come, all told."""
        waits_s = 0.0 if self.trigger == "at once" else self.patience_s
        return waits_s + self.span_s + BLOCKS_PATIENCE_S + REPLY_PATIENCE_S

    def to_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return {item.name: getattr(self, item.name) for item in fields(self)}

    @classmethod
    def from_dict(cls, data: object, where: str) -> "CaptureAsk":
        """Read what ``to_dict`` wrote, trusting none of it.

        Raises:
            InputFault: a field is missing, unknown, ill-typed or out of bounds.
        """
        row = plain.table(data, where, tuple(item.name for item in fields(cls)))
        trigger = plain.text(row, "trigger", where)
        if not _is_trigger(trigger):
            raise InputFault(f"{where}: there is no trigger {trigger!r}.")
        return cls(
            segment=plain.whole(row, "segment", where),
            label=plain.text(row, "label", where),
            channel=plain.text(row, "channel", where),
            samples=plain.whole(row, "samples", where),
            period_s=plain.number(row, "period_s", where),
            before=plain.whole(row, "before", where),
            trigger=trigger,
            by_si=plain.number(row, "by_si", where),
            patience_s=plain.number(row, "patience_s", where),
        )

"""What a person does to calibrate a channel, in order and in words.

Loads up and down with zeros about them, set down anew in each series; or values that
are set and read off a meter. Nothing here reads anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from daq.calibration.readings import ZERO, Kind, Leg, Reading

if TYPE_CHECKING:
    from daq.analysis.statistics import WindowMean
    from daq.calibration.reference import Reference

#: The channels that can be calibrated, and their units.
UNITS: Final = {
    "thrust": "N",
    "current": "A",
    "voltage": "V",
    "pack-voltage": "V",
    "plug-plus": "V",
    "plug-minus": "V",
}
#: Read in millivolt: the pole of the plug that an amplifier sits across.
POLES: Final = {"plug-plus": "plus", "plug-minus": "minus"}
_FIRST: Final = {
    "voltage": "Supply off, plug out: no voltage.",
    "pack-voltage": "Supply off, pack off: no voltage in front of the plug.",
    "current": "No current flows: open the loop.",
    "plug-plus": "No current flows through the plug: the supply off, the motor too.",
    "plug-minus": "No current flows through the plug: the supply off, the motor too.",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do before a reading.

    Attributes:
        kind: what is read then.
        series: number of the series, from 0.
        leg: whether loads are added or taken off.
        level: index of the known value, -1 for nothing.
        words: what a person does, a sentence.
        hold_s: how long it is left before it is read.
    """

    kind: Kind
    series: int
    leg: Leg
    level: int
    words: str
    hold_s: float = 0.0

    def reading(
        self, found: WindowMean, low_counts: int, high_counts: int, at_s: float
    ) -> Reading:
        """What was read after it.

        Args:
            found: mean of the single readings.
            low_counts: lowest of them.
            high_counts: highest of them.
            at_s: when, on one clock for all.
        """
        return Reading(
            kind=self.kind,
            series=self.series,
            leg=self.leg,
            level=self.level,
            counts=found.mean,
            u_counts=found.u,
            sd_counts=found.sd,
            low_counts=low_counts,
            high_counts=high_counts,
            count=found.count,
            at_s=at_s,
        )


def loading(
    reference: Reference, *, series: int = 3, hold_s: float = 30.0
) -> tuple[Step, ...]:
    """Steps for masses: up, held, down, off; so many times, set down anew each time.

    Args:
        reference: the masses.
        series: how many times.
        hold_s: how long the most is left on once, for creep; 0 leaves it out.
    """
    names = [level.name for level in reference.levels]
    order = sorted(range(len(names)), key=lambda i: abs(reference.levels[i].value_si))
    steps: list[Step] = []
    for number in range(series):
        fresh = "Take everything off" + (", the pan or hook too," if number else "")
        put = " and put it back" if number else ""
        steps.append(Step("zero", number, "", ZERO, f"{fresh}{put}: nothing on it."))
        before = ZERO
        for level in order:
            words = f"{_change(reference, before, level)} Now {names[level]}."
            steps.append(Step("load", number, "up", level, words))
            before = level
        if number == 0 and hold_s > 0.0:
            words = f"Leave the {names[order[-1]]} on for {hold_s:.0f} s."
            steps.append(Step("held", 0, "up", order[-1], words, hold_s))
        for level in reversed(order[:-1]):
            words = f"{_change(reference, before, level)} Now {names[level]}."
            steps.append(Step("load", number, "down", level, words))
            before = level
        steps.append(Step("zero", number, "", ZERO, "Take everything off."))
    return tuple(steps)


def _change(reference: Reference, before: int, after: int) -> str:
    """What to set down and what to take off, from one level to the next."""
    pieces = reference.pieces
    zero = (0.0,) * len(pieces)
    was = reference.levels[before].made_of if before >= 0 else zero
    now = reference.levels[after].made_of
    on = [p.name for p, a, b in zip(pieces, was, now, strict=True) if b > a]
    off = [p.name for p, a, b in zip(pieces, was, now, strict=True) if b < a]
    words = []
    if off:
        words.append(f"Take off {' and '.join(off)}.")
    if on:
        words.append(f"Set down {' and '.join(on)}.")
    return " ".join(words)


def metering(channel: str, count: int, *, loaded: bool = False) -> tuple[Step, ...]:
    """Steps for a meter: nothing, and so many values that a person chooses.

    Args:
        channel: which.
        count: how many values.
        loaded: whether a known load stands between channel and meter.
    """
    steps = [Step("zero", 0, "", ZERO, _FIRST[channel])]
    steps += [
        Step("load", 0, "", level, _setting(channel, level, count, loaded=loaded))
        for level in range(count)
    ]
    return tuple(steps)


def _setting(channel: str, level: int, count: int, *, loaded: bool) -> str:
    """What to set, and what to type."""
    which = f"{level + 1} of {count}, spread over what you use"
    pole = POLES.get(channel)
    if pole is None:
        return f"Set {channel} {which}, and type what the meter reads for {channel}."
    if loaded:
        return (
            f"The sense wires of the {pole} pole across the known resistor: let "
            f"current {which}, flow through it, and type the ampere that the meter "
            "reads."
        )
    return (
        f"Let current {which}, flow through the closed plug"
        + (" (a supply that limits it, a resistor; the motor off)" if not level else "")
        + ", and type the millivolt that the meter reads where the sense wires of the "
        f"{pole} pole sit."
    )


def checking(
    reference: Reference | None,
    name: str | None,
    channel: str,
    *,
    loaded: bool = False,
) -> tuple[Step, ...]:
    """Steps for a short check: zero, one known value, zero.

    Args:
        reference: the masses; None where a meter is read.
        name: which mass; None takes the heaviest.
        channel: which.
        loaded: whether a known load stands between channel and meter.

    Raises:
        InputFault: there is no such mass.
    """
    from daq.errors import InputFault

    if reference is None:
        begin, one = metering(channel, 1, loaded=loaded)
        return (begin, one, Step("zero", 0, "", ZERO, begin.words))
    pieces = reference.pieces
    names = [piece.name for piece in pieces]
    if name is not None and name not in names:
        known = ", ".join(names)
        raise InputFault(f'There is no mass "{name[:40]}" in the set; it has {known}.')
    level = max(range(len(names)), key=lambda i: abs(reference.levels[i].value_si))
    if name is not None:
        level = names.index(name)
    off = Step("zero", 0, "", ZERO, "Take everything off.")
    words = f"{_change(reference, ZERO, level)} Now {reference.levels[level].name}."
    return (off, Step("load", 0, "up", level, words), off)

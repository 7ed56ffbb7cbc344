"""The uncertainty budget of a figure: which cause contributes how much.

Causes are the sources that a value carries by name; their variances add up to the
figure's (GUM, JCGM 100:2008, 5.1 and its examples in annex H). Here they are put in
order, said in words, and the one that would narrow the interval most is named with
what can be done about it. Nothing here computes an uncertainty.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from daq.analysis.measured import Measured
from daq.analysis.unseen import ASLEEP, SEAT, WASH

#: Causes with less than this share of the variance are told together.
SMALLEST_SHARE: Final = 0.005
SMALLEST_PERCENT: Final = 0.5
THE_REST: Final = "everything else"
#: A cause is worth naming as what to do next from this share of the variance on.
WORTH_DOING: Final = 0.3

#: What can be done, by how a cause's name ends or begins; the first that fits.
_ENDS: Final = (
    (" random", "longer dwells, or a quieter mount"),
    (
        " zero drift",
        "rests between the levels (each is a zero), and a stand that warmed up",
    ),
    (" zero", "rests between the levels: each is a zero"),
)
_BEGINS: Final = (
    (SEAT, "measuring the arms again with the article mounted, and squaring it"),
    (WASH, "mounting the article the other way round once, and comparing"),
    (ASLEEP, "reading with a meter what the speed controller draws at rest"),
    ("thrust ", "calibrating the load cell with check masses"),
    ("current ", "calibrating the current against a meter"),
    ("voltage ", "calibrating the voltage against a meter"),
    ("pack-voltage ", "calibrating both dividers against one meter"),
    ("plug-", "calibrating the plug's amplifiers against a meter in millivolt"),
    ("scale of the meter", "a better meter"),
    ("bus voltage seen by", "an amplifier that rejects more of it"),
    ("local gravity", "giving latitude and height of the bench"),
    ("barometer", "reading the pressure off a better barometer"),
    ("air density", "noting temperature and pressure at the bench"),
    ("diameter", "measuring the propeller across its tips again"),
    ("power ripple", "a stand that sends extremes, and shorter leads"),
    ("shape of ", "more levels, closer together"),
    ("scatter about ", "more levels, walked up and down"),
    ("ohmmeter", "measuring the winding with four wires"),
    ("heat of the winding", "a temperature channel at the winding, or a cooler motor"),
    ("resistance of the bridge", "measuring resistance through the controller"),
    ("no-load current", "an idle spin without the propeller (idle-spin)"),
    (
        "draw of the speed controller",
        "reading the controller's draw with no motor on it",
    ),
    ("what is held", "a run in air as it will be flown in"),
    ("throttle restated", "a run on a pack as it is in flight"),
    ("all-up weight", "a better scale for the aircraft"),
    ("capacity of the pack", "measuring what the pack holds"),
    ("charge left", "saying to what charge is flown"),
    ("voltage of the cells", "measuring the pack over a whole discharge"),
    ("current of the electronics", "measuring the current of the electronics"),
    ("model of the pack", "a longer run, with rests between the levels"),
    ("slow part of the pack", "a longer run at the current of hover"),
    ("ripple from ", "several captures of one level"),
    ("steps of the converter", "a finer converter, or a divider for less range"),
    ("peaks between samples", "captures at a faster rate"),
    ("noise of the capture", "longer captures"),
    ("a line too near", "longer captures"),
    ("what may fold", "a filter in front of the converter, or a faster rate"),
)

_WORDS: Final = (
    (" gain", "scale factor of"),
    (" random", "scatter of"),
    (" zero drift", "drift of the zero of"),
    (" zero", "zero of"),
)


@dataclass(frozen=True, slots=True)
class Part:
    """One cause in a budget.

    Attributes:
        cause: Its name.
        u: Standard uncertainty from it, in the unit of the figure.
        share: Of the figure's variance, 0 to 1.
    """

    cause: str
    u: float
    share: float

    @property
    def words(self) -> str:
        """The cause as a person says it."""
        return in_words(self.cause)

    @property
    def percent(self) -> str:
        """Its share as a person says it."""
        percent = 100 * self.share
        return "under 1 %" if percent < SMALLEST_PERCENT else f"{percent:.0f} %"

    def to_dict(self) -> dict[str, object]:
        """The part for JSON."""
        return {
            "cause": self.cause,
            "words": self.words,
            "u": self.u,
            "share": self.share,
        }


def budget_of(
    measured: Measured, index: int, convert: Callable[[float], float] = float
) -> tuple[Part, ...]:
    """The causes of one value's uncertainty, the largest first.

    Args:
        measured: Values with their sources.
        index: Which value.
        convert: From SI to the unit of the figure, a straight line.
    """
    scale = abs(convert(1.0) - convert(0.0))
    variances = {
        name: float(source.variance()[index])
        for name, source in measured.sources.items()
    }
    total = sum(variances.values())
    if not (math.isfinite(total) and total > 0):
        return ()
    told = {n: v for n, v in variances.items() if v >= SMALLEST_SHARE * total}
    rest = total - sum(told.values())
    parts = [
        Part(name, scale * math.sqrt(variance), variance / total)
        for name, variance in sorted(told.items(), key=lambda item: -item[1])
    ]
    if rest > 1e-9 * total:
        parts.append(Part(THE_REST, scale * math.sqrt(rest), rest / total))
    return tuple(parts)


def narrower(parts: tuple[Part, ...]) -> str:
    """What would narrow the interval most, a sentence; empty where nothing would."""
    if not parts or parts[0].share < WORTH_DOING or parts[0].cause == THE_REST:
        return ""
    first = parts[0]
    remedy = remedy_for(first.cause)
    if not remedy:
        return ""
    without = 100 * (1 - math.sqrt(1 - min(first.share, 1.0)))
    return (
        f"The largest part is the {first.words}: without that the interval would be "
        f"{without:.0f} % narrower. What helps: {remedy}."
    )


def in_words(cause: str) -> str:
    """A cause as a person says it: the channel last."""
    for end, words in _WORDS:
        if cause.endswith(end):
            return f"{words} {cause.removesuffix(end)}"
    return cause


def remedy_for(cause: str) -> str:
    """What can be done about a cause; empty where nothing is known."""
    for end, remedy in _ENDS:
        if cause.endswith(end):
            return remedy
    for begin, remedy in _BEGINS:
        if cause.startswith(begin):
            return remedy
    return ""

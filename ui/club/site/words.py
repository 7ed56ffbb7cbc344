"""What the site says of a run: evidence, ratings and figures, in words.

The same words in the table, on the page of the run and in the file for spreadsheets,
so that what rests on a kitchen scale is never shown as the equal of weights of a class.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from daq import units
from daq.analysis.rounding import figure
from ui.club.evidence import THRUST_BY, thrust_by

if TYPE_CHECKING:
    from ui.club.entry import Entry, EvidenceTold, FullTold, Interval, ScaleTold
    from ui.club.site.shared import Shared

RECORD: Final = {
    "re-read": "record re-read",
    "damaged": "record damaged",
    "tables only": "tables only, the sender's word",
    "changed": "record changed since it was sealed",
}
PROOF: Final = {
    "real pulses": "guards proven by real pulses",
    "zero throttle": "guards proven at zero throttle",
    "none": "guards not proven",
}
MEASURED, SIMULATED, INVENTED = "measured", "simulated", "invented"
NATURE: Final = (MEASURED, SIMULATED, INVENTED)
NATURE_WORDS: Final = {
    MEASURED: "",
    SIMULATED: "Simulated: nothing turned, nothing was measured.",
    INVENTED: "Invented: made up to try something out, not measured.",
}
NO_STAND: Final = "stand not named"
INCH_STEPS: Final = 2
#: How much of a calibration's words a row of the table bears.
LONGEST_IN_ROW: Final = 110


@dataclass(frozen=True, slots=True)
class Figured:
    """A figure as it is shown: value, interval and unit."""

    value: str
    low: str
    high: str
    unit: str

    @property
    def interval(self) -> str:
        """As ``246 to 257 gf``."""
        return f"{self.low} to {self.high} {self.unit}".rstrip()


def figured(told: Interval, scale: float, unit: str) -> Figured:
    """An interval in a unit, rounded by its half width."""
    half = scale * (told.high - told.low) / 2
    value, low, high = (
        figure(scale * one, half) for one in (told.value, told.low, told.high)
    )
    return Figured(value, low, high, unit)


def nature(evidence: EvidenceTold) -> str:
    """Whether anything was measured."""
    if evidence.invented:
        return INVENTED
    return SIMULATED if evidence.simulated else MEASURED


def scale_of(evidence: EvidenceTold, channel: str) -> ScaleTold | None:
    """What a channel's readings rest on, if it is said."""
    return next((one for one in evidence.scales if one.channel == channel), None)


def rests_on(evidence: EvidenceTold) -> str:
    """What the thrust rests on in a few words, with how well its scale is known."""
    scale = scale_of(evidence, "thrust")
    words = THRUST_BY[thrust_by(evidence)]
    if scale is not None and scale.u_rel is not None:
        words += f", scale known to {_percent(scale.u_rel)}"
    return f"{words}, recorded elsewhere" if evidence.elsewhere else words


def scale_words(evidence: EvidenceTold) -> str:
    """The calibration's own words, as far as a row bears them."""
    scale = scale_of(evidence, "thrust")
    return "" if scale is None else clipped(scale.words, LONGEST_IN_ROW)


def named(text: str) -> str:
    """A name that can be seen and clicked, whatever it is made of."""
    seen = any(sign.isprintable() and not sign.isspace() for sign in text)
    return text if seen else "unnamed"


def clipped(text: str, longest: int) -> str:
    """A text, cut with an ellipsis where it is longer."""
    if len(text) <= longest:
        return text
    return text[: longest - 1].rstrip() + "\N{HORIZONTAL ELLIPSIS}"


def evidence_rank(evidence: EvidenceTold) -> int:
    """For sorting: the smaller, the more a run's figures rest on."""
    return (
        100 * NATURE.index(nature(evidence))
        + 10 * list(THRUST_BY).index(thrust_by(evidence))
        + list(RECORD).index(evidence.record)
    )


def _percent(share: float) -> str:
    return f"{figure(100 * share, 100 * share)} %" if share > 0 else "0 %"


# ------------------------------------------------------------------- ratings

RATING_RANKS: Final = {"within": 0, "cannot tell": 1, "beyond": 2}
NO_RATINGS: Final = 3


def ratings_of(full: FullTold | None) -> tuple[int, str]:
    """The worst of a run's ratings, and the words for it."""
    if full is None or not full.ratings:
        return NO_RATINGS, "No ratings stated"
    worst = max(full.ratings, key=lambda one: RATING_RANKS[one.verdict]).verdict
    parts = ", ".join(
        dict.fromkeys(one.part for one in full.ratings if one.verdict == worst)
    )
    where = " in its aircraft" if _of_aircraft(full, worst) else ""
    words = {
        "within": "Within ratings",
        "cannot tell": "Cannot tell",
        "beyond": "Beyond its rating",
    }[worst]
    return RATING_RANKS[worst], clipped(f"{words}: {parts}{where}", LONGEST_IN_ROW)


def _of_aircraft(full: FullTold, verdict: str) -> bool:
    return all(one.of_aircraft for one in full.ratings if one.verdict == verdict)


# ------------------------------------------------------------------- the rest


def size_class_in(diameter_mm: float) -> float:
    """A propeller's size class: its measured diameter to the half inch."""
    return round(INCH_STEPS * units.m_to_in(diameter_mm / 1000)) / INCH_STEPS


def cells_words(cells: int | None) -> str:
    """What the article was run on, in a word or two."""
    if cells is None:
        return "supply"
    return "1 cell" if cells == 1 else f"{cells} cells"


def who(shared: Shared) -> str:
    """Who sent it, as they want to be named."""
    return shared.by or "sender not named"


def signature(signed_by: str | None) -> str:
    """Whether it was signed, and by whom."""
    if signed_by is None:
        return "unsigned"
    return f"signed by {signed_by}" if signed_by else "signed by an unknown key"


def day(entry: Entry) -> str:
    """The day when a run began."""
    return entry.utc[:10]


def moment(entry: Entry) -> str:
    """The minute when a run began, as it is told."""
    from ui.report.words import moment as minute

    return minute(entry.utc)

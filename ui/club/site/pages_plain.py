"""What the pages beside those of single runs show."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from daq import units
from daq.analysis.rounding import figure
from ui.club.site import words
from ui.club.site.reading import PARTS, Part
from ui.report.words import counted

if TYPE_CHECKING:
    from ui.club.site.listing import Listed, Repeated
    from ui.club.site.shared import Refused

#: What was agreed on, as the page of stands calls it.
QUANTITY_WORDS: Final = {
    "specific thrust": "Specific thrust at one thrust",
    "thrust": "Thrust at one throttle and bus voltage",
}


@dataclass(frozen=True, slots=True)
class IndexPage:
    """The table's page, without its rows."""

    runs: int
    lead: str
    not_measured: str
    refused: int


def index_page(rows: Sequence[Listed], refused: int, repeated: int) -> IndexPage:
    """What stands about the table."""
    if not rows:
        return IndexPage(0, "Nothing has been shared yet.", "", refused)
    entries = [row.shared.entry for row in rows]
    articles = counted(len({entry.article.key for entry in entries}), "article")
    stands = counted(len({entry.stand for entry in entries}), "stand")
    lead = f"{counted(len(rows), 'run')} of {articles} on {stands}"
    days = sorted(words.day(entry) for entry in entries)
    lead += f", from {days[0]} to {days[-1]}" if days[0] != days[-1] else ""
    if repeated:
        lead += f"; {counted(repeated, 'run')} came twice"
    natures = {words.nature(entry.evidence) for entry in entries}
    return IndexPage(len(rows), f"{lead}.", _all_of(natures), refused)


def _all_of(natures: set[str]) -> str:
    """What the head of the page says where nothing at all was measured."""
    if natures == {words.SIMULATED}:
        return "Every run here is simulated: nothing was measured."
    if natures == {words.INVENTED}:
        return "Every run here is invented, to try the site out: nothing was measured."
    if natures == {words.INVENTED, words.SIMULATED}:
        return "Every run here is invented or simulated: nothing was measured."
    return ""


@dataclass(frozen=True, slots=True)
class ReadPage:
    """The page on how to read it."""

    parts: tuple[Part, ...]


def read_page() -> ReadPage:
    """The same for every club."""
    return ReadPage(PARTS)


@dataclass(frozen=True, slots=True)
class RefusedPage:
    """Bundles that were refused, and runs that came twice."""

    lead: str
    refused: list[Refused]
    repeated: list[Repeated]


def refused_page(refused: list[Refused], repeated: list[Repeated]) -> RefusedPage:
    """Each with its sentence."""
    lead = "Nothing was refused: every bundle in the club's folder was taken in."
    if refused:
        was = "was" if len(refused) == 1 else "were"
        lead = (
            f"{counted(len(refused), 'bundle')} {was} refused. Nothing of a refused "
            "bundle is on this site."
        )
    return RefusedPage(lead, refused, repeated)


# ------------------------------------------------------------- stands


@dataclass(frozen=True, slots=True)
class Bias:
    """What a stand reads too much, in words."""

    stand: str
    nature: str
    runs: int
    value: str
    interval: str
    bar: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class AgreedPart:
    """One quantity in which stands were held against each other."""

    title: str
    lines: list[tuple[str, str]]
    biases: list[Bias]
    scale_percent: str


@dataclass(frozen=True, slots=True)
class StandsPage:
    """How the club's stands agree."""

    parts: list[AgreedPart]
    not_measured: str


def stands_page(rows: Sequence[Listed], agreed: Mapping[str, Any]) -> StandsPage:
    """Biases by stand, with intervals, and what mounting and stands scatter by."""
    parts = [_part(rows, what, found) for what, found in agreed.items()]
    natures = {_nature(_of_scale(rows, scale)) for scale in _scales(agreed)} - {""}
    said = ""
    if natures and words.MEASURED not in natures:
        kinds = " or ".join(sorted(natures))
        said = f"Every stand here is {kinds}: nothing was measured."
    return StandsPage(parts, said)


def _scales(agreed: Mapping[str, Any]) -> set[str]:
    return {scale for found in agreed.values() for scale in found["biases"]}


def _of_scale(rows: Sequence[Listed], scale: str) -> list[Listed]:
    return [row for row in rows if row.shared.entry.scale == scale]


def _nature(rows: Sequence[Listed]) -> str:
    """What a stand's runs are; measured only where all of them are."""
    natures = {words.nature(row.shared.entry.evidence) for row in rows}
    return max(natures, key=words.NATURE.index, default="")


def _part(rows: Sequence[Listed], what: str, found: Mapping[str, Any]) -> AgreedPart:
    scales = sorted(found["biases"].items(), key=lambda one: (one[1]["log"], one[0]))
    told = [
        (_of_scale(rows, scale), scale, *_percents(bias, found))
        for scale, bias in scales
    ]
    widest = _round_up(max((max(abs(a), abs(b)) for *_, a, b in told), default=1.0))
    biases = [
        Bias(
            stand=_stand(runs, scale),
            nature=_tag(_nature(runs)),
            runs=len(runs),
            value=f"{_signed(value, (high - low) / 2)} %",
            interval=(
                f"{figure(low, (high - low) / 2)} to {figure(high, (high - low) / 2)} %"
            ),
            bar=_bar(value, low, high, widest),
        )
        for runs, scale, value, low, high in told
    ]
    return AgreedPart(
        QUANTITY_WORDS.get(what, what), _spreads(found), biases, f"{widest:g}"
    )


def _round_up(widest: float) -> float:
    """The next round number: what the drawing ends at."""
    size = 10.0 ** math.floor(math.log10(widest)) if widest > 0 else 1.0
    return next(
        step * size for step in (1, 2, 3, 4, 5, 6, 8, 10) if step * size >= widest
    )


def _bar(
    value: float, low: float, high: float, widest: float
) -> tuple[float, float, float]:
    """Where the interval begins, how wide it is and where the value lies, of 100."""
    low_at, at, high_at = (50 + 50 * one / widest for one in (low, value, high))
    return round(low_at, 2), round(high_at - low_at, 2), round(at, 2)


def _percents(
    bias: Mapping[str, float], found: Mapping[str, Any]
) -> tuple[float, float, float]:
    """Value, low and high end of what a stand reads too much.

    What the stands agree on is uncertain too, and is in the interval as it is
    in the round's own; or a stand would be called off that may be the right one.
    """
    from daq.analysis.measured import effective_dof, t_factor

    between = found["between"]
    us = (bias["u"], found["consensus_u"])
    dofs = (bias["dof"], math.inf if between is None else between["dof"])
    half = float(t_factor(effective_dof(us, dofs))) * math.hypot(*us)
    value, low, high = (
        100 * math.expm1(log)
        for log in (bias["log"], bias["log"] - half, bias["log"] + half)
    )
    return value, low, high


def _spreads(found: Mapping[str, Any]) -> list[tuple[str, str]]:
    lines = []
    for key, label in (
        ("within", "An article mounted again on one stand"),
        ("between", "Stands about what they agree on"),
    ):
        spread = found[key]
        text = "not known"
        if spread is not None:
            text = (
                f"{figure(100 * spread['sd'], 100 * spread['sd'] or None)} % "
                f"(one standard deviation, {spread['dof']:.0f} "
                f"{'degree' if round(spread['dof']) == 1 else 'degrees'} of freedom)"
            )
        lines.append((label, text))
    u = 100 * found["consensus_u"]
    if u > 0:
        lines.append(("What they agree on is known to", f"{figure(u, u)} %"))
    return lines


def _stand(rows: Sequence[Listed], scale: str) -> str:
    """What the runs by a scale call their stand."""
    names = [row.shared.entry.evidence.stand for row in rows]
    if not names:
        return f"a stand without a run here ({scale})"
    return max(sorted(set(names)), key=names.count) or words.NO_STAND


def _tag(nature: str) -> str:
    """What stands beside a name where nothing was measured."""
    return "" if nature in ("", words.MEASURED) else nature.capitalize()


def _signed(value: float, half: float) -> str:
    told = figure(value, half)
    return f"+{told}" if value > 0 and float(told) else told


# ------------------------------------------------------------- data


def club_data(agreed: Mapping[str, Any]) -> dict[str, Any]:
    """What scripts need beside runs: units, and how the stands agree."""
    return {
        "gf_per_n": units.n_to_gf(1.0),
        "agreed": [
            {
                "what": what,
                "within": found["within"],
                "between": found["between"],
                "consensus_u": found["consensus_u"],
                "biases": [
                    {"scale": scale, **bias}
                    for scale, bias in sorted(found["biases"].items())
                ],
            }
            for what, found in sorted(agreed.items())
        ],
    }

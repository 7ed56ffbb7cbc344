"""The page of a run, and its curves for the pages that draw and compare them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

from daq import units
from daq.analysis.rounding import figure
from ui.club.site import words
from ui.club.site.drawn import Drawn, drawings
from ui.club.site.words import Figured, figured
from ui.report.words import counted, plain, sentence

if TYPE_CHECKING:
    from ui.club.entry import ArticleTold, Entry, EvidenceTold, FullTold, RatingTold
    from ui.club.site.listing import Listed, Sibling
    from ui.club.site.shared import Shared

Lines = list[tuple[str, str]]
GF: Final = units.n_to_gf(1.0)
#: From here on a throttle is told as full: it is what a controller makes of it.
NEARLY_FULL: Final = 0.995
MARKS: Final = {"within": "good", "cannot tell": "abnormal", "beyond": "danger"}


@dataclass(frozen=True, slots=True)
class Rated:
    """A rating in words, with its mark."""

    mark: str
    words: str


@dataclass(frozen=True, slots=True)
class RunPage:
    """Everything that the page of a run shows, in its order."""

    id: str
    title: str
    protocol: str
    date: str
    stand: str
    run: str
    not_measured: str
    headlines: list[tuple[str, Figured]]
    full: Lines
    ratings: list[Rated]
    evidence_words: str
    evidence: Lines
    checked: tuple[str, ...]
    drawings: list[Drawn]
    findings: list[str]
    article: Lines
    siblings: tuple[Sibling, ...]
    more_siblings: int
    raw: Lines
    bundle_href: str
    report_href: str


def run_page(row: Listed) -> RunPage:
    """What the page of a run shows."""
    shared, entry = row.shared, row.shared.entry
    return RunPage(
        id=row.id,
        title=words.named(entry.article.name),
        protocol=entry.protocol,
        date=words.moment(entry),
        stand=entry.evidence.stand or words.NO_STAND,
        run=words.named(entry.run),
        not_measured=words.NATURE_WORDS[words.nature(entry.evidence)],
        headlines=_headlines(entry),
        full=_full_lines(entry.full),
        ratings=[_rated(one) for one in entry.full.ratings] if entry.full else [],
        evidence_words=sentence(entry.evidence.words),
        evidence=_evidence_lines(entry, shared),
        checked=shared.checked,
        drawings=drawings(entry.curves, words.nature(entry.evidence)),
        findings=[one.sentence for one in entry.findings],
        article=_article_lines(entry.article),
        siblings=row.siblings,
        more_siblings=row.more_siblings,
        raw=_raw_lines(shared),
        bundle_href=bundle_href(shared.bundle),
        report_href=f"reports/{row.id}.html" if shared.report else "",
    )


def bundle_href(name: str) -> str:
    """Where a bundle is on the site, whatever signs are in its name."""
    return f"bundles/{quote(name)}"


def _headlines(entry: Entry) -> list[tuple[str, Figured]]:
    told: list[tuple[str, Figured]] = []
    if entry.full is not None:
        told.append((_at_most(entry.full), figured(entry.full.thrust_n, GF, "gf")))
    hover = entry.hover
    if hover is not None:
        aircraft = (
            f"its owner's aircraft, {plain(hover.all_up_g, 6)} g on "
            f"{counted(hover.motors, 'motor')}"
        )
        told.append((f"At hover of {aircraft}", figured(hover.specific_n_w, GF, "g/W")))
    return told


def _at_most(full: FullTold) -> str:
    """What the plateau of highest thrust is called: it need not be at full throttle."""
    if full.throttle_frac >= NEARLY_FULL:
        return "Thrust at full throttle"
    return f"Thrust at {100 * full.throttle_frac:.3g} % throttle, the highest"


def _full_lines(full: FullTold | None) -> Lines:
    if full is None:
        return []
    wanted = (
        ("Specific thrust", full.specific_n_w, GF, "g/W"),
        ("Current", full.current_a, 1.0, "A"),
        ("Bus voltage", full.voltage_v, 1.0, "V"),
        ("Electrical power", full.power_w, 1.0, "W"),
    )
    lines = [("Throttle", f"{100 * full.throttle_frac:.3g} %")]
    for label, told, scale, unit in wanted:
        if told is not None:
            shown = figured(told, scale, unit)
            interval = f"95 % interval {shown.interval}"
            lines.append((label, f"{shown.value} {unit}, {interval}"))
    return lines


def _rated(rating: RatingTold) -> Rated:
    where = "in its aircraft" if rating.of_aircraft else "on the stand"
    flows = figured(rating.current_a, 1.0, "A")
    said = {
        "within": "is within its rating",
        "beyond": "is beyond its rating",
        "cannot tell": "is so near its rating that one cannot tell",
    }[rating.verdict]
    return Rated(
        MARKS[rating.verdict],
        sentence(
            f"{rating.part} {said}: {flows.value} A (95 % interval {flows.interval}) "
            f"{where}, rated for {figure(rating.limit_a)} A."
        ),
    )


def _evidence_lines(entry: Entry, shared: Shared) -> Lines:
    evidence = entry.evidence
    lines: Lines = [
        ("Measured or not", _nature_words(evidence)),
        *((_channel(one.channel), _scale(one)) for one in evidence.scales),
    ]
    if words.scale_of(evidence, "thrust") is None:
        lines.append(("Thrust scale", "Nothing is said of it"))
    lines += [
        ("Record", sentence(words.RECORD[evidence.record])),
        (
            "Proof before the spin",
            f"{sentence(words.PROOF[evidence.proof])}. {evidence.proof_words}".strip(),
        ),
        (
            "The stand",
            "Stops the motor by itself"
            if evidence.guards_itself
            else "Cannot stop the motor by itself",
        ),
        ("Air", _air(entry)),
        ("How it ended", sentence(evidence.ended)),
        ("Its data", sentence(evidence.data)),
        ("Signature", sentence(words.signature(shared.signed_by))),
        ("Sent by", shared.by or "Not named"),
        ("Licence", shared.licence or "None stated: ask before you pass it on"),
    ]
    return lines


def _nature_words(evidence: EvidenceTold) -> str:
    if evidence.elsewhere:
        return "Recorded elsewhere: neither driven nor guarded by gramwatt"
    return words.NATURE_WORDS[words.nature(evidence)] or "Measured on a real stand"


def _channel(channel: str) -> str:
    return f"{channel[:1].upper()}{channel[1:]} scale"


def _scale(told: Any) -> str:
    """A calibration in its own words, what it is and how well it is known."""
    known = ""
    if told.u_rel is not None:
        percent = 100 * told.u_rel
        known = f" Standard uncertainty {figure(percent, percent or None)} %."
    made = f" Made {told.made_utc[:10]}." if told.made_utc else ""
    return f"{sentence(told.words)}.{known}{made}"


def _air(entry: Entry) -> str:
    if entry.density_kg_m3 is None:
        return "Noted" if entry.evidence.air_noted else "Not noted"
    return f"Noted: {entry.density_kg_m3:.3f} kg/m\N{SUPERSCRIPT THREE}"


def _article_lines(article: ArticleTold) -> Lines:
    inch = units.m_to_in(article.diameter_mm / 1000)
    lines: Lines = [
        ("Motor", article.motor),
        ("Speed constant as printed", f"{article.kv_rpm_v:.0f} rpm/V"),
        ("Propeller", article.propeller),
        (
            "Diameter as measured",
            f"{plain(article.diameter_mm, 4)} mm ({inch:.2f} in)",
        ),
        ("Blades", str(article.blades)),
        ("ESC", article.esc),
        ("Source", article.source),
        ("Cells", str(article.cells) if article.cells else "None, a supply"),
        ("Plug", article.plug or "None"),
        ("Mounted as", sentence(article.mount)),
    ]
    if article.travels:
        lines.append(("Travels between stands in", article.travels))
    return lines


def _raw_lines(shared: Shared) -> Lines:
    return [
        ("Bundle", shared.bundle),
        ("SHA-256", shared.bundle_sha256),
    ]


# ------------------------------------------------------------- its data


def run_data(row: Listed) -> dict[str, Any]:
    """What the page of curves and verdicts needs of a run, SI, for ``as_script``."""
    entry = row.shared.entry
    curves = entry.curves.model_dump(exclude_none=True)
    return {
        "id": row.id,
        "article": words.named(entry.article.name),
        "article_key": entry.article.key,
        "motor": entry.article.motor,
        "propeller": entry.article.propeller,
        "cells": words.cells_words(entry.article.cells),
        "day": words.day(entry),
        "stand": entry.evidence.stand or words.NO_STAND,
        "stand_key": entry.stand,
        "scale_key": entry.scale,
        "nature": words.nature(entry.evidence),
        "rests": words.rests_on(entry.evidence),
        "record": words.RECORD[entry.evidence.record],
        "by": row.shared.by,
        "density_kg_m3": entry.density_kg_m3,
        "curves": curves,
        "siblings": [one.id for one in row.siblings],
    }

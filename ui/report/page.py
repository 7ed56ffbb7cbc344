"""The page of a run: one HTML file that needs nothing but itself.

Takes what was derived and lays it out; measures, decides and analyses nothing.
Every text is escaped, since names come from strangers, and the page's own
policy forbids it to load or run anything.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from daq.errors import InputFault, WorldFault
from ui.cut import cut_of
from ui.report import (
    charts,
    closely,
    emptying,
    facts,
    figures,
    gliding,
    guards,
    method,
    moment,
    proof,
    setup,
    timed,
    timeline,
    trip,
)
from ui.report.charts import Drawn
from ui.report.words import moment as moment_words
from ui.report.words import text_of
from ui.results import how_far, left_out
from ui.templates import own_file, templates_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from daq.analysis.findings import Finding
    from daq.analysis.run import Analysis
    from daq.analysis.series import Series
    from daq.records.read import Run
    from ui.results import Results

LEGS: Final = {
    "up": "on the way up",
    "down": "on the way down",
    "first": "first pass",
    "second": "second pass",
}
LEGS_ABOUT_A_BURST: Final = {"up": "before the burst", "down": "after it"}
# Findings about the article that have no interval, and say why.
WITHOUT_INTERVAL: Final = (
    "glide",
    "burst-current",
    "burst-voltage",
    "burst-rise",
    "endurance-measured",
)
PACKAGE: Final = "ui.report"
TEMPLATE = "report.html.j2"
STYLE = "report.css"


def write_report(results: Results, path: Path) -> None:
    """Write the page of a run.

    Args:
        results: the run and what it says; any of it may be missing.
        path: where the page goes.

    Raises:
        WorldFault: it cannot be written.
    """
    page = render(results)
    try:
        path.write_text(page, encoding="utf-8", newline="\n")
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"The report {path} cannot be written: {why}.") from None


def render(results: Results) -> str:
    """The page as text: the same for the same run, whenever it is made."""
    return filled_in(TEMPLATE, _page(results))


def filled_in(template_name: str, page: object) -> str:
    """A template of this package with what it shows, every text escaped."""
    from daq.analysis.rounding import figure

    environment = templates_of(PACKAGE)
    environment.filters["size"] = lambda u: figure(u, u)
    template = environment.get_template(template_name)
    style = Markup(own_file(PACKAGE, STYLE))  # noqa: S704 - shipped with the program
    return template.render(page=page, style=style)


# ------------------------------------------------------------------ the page


@dataclass(frozen=True, slots=True)
class Page:
    """Everything that the template shows, in its order."""

    title: str
    kind: str
    protocol: str
    protocol_name: str
    date: str
    run: str
    stand: str
    simulated: bool
    notices: list[facts.Notice]
    facts: list[facts.Fact]
    cut_title: str
    cut_lines: setup.Lines
    moments: list[tuple[str, Drawn]]
    left_out: list[str]
    headlines: list[figures.Headline]
    findings: list[Finding]
    remarks: list[Finding]
    no_findings: str
    legs: list[tuple[str, str]]
    charts: list[Drawn]
    charts_missing: list[str]
    timelines: list[tuple[str, Drawn]]
    table: figures.Table | None
    skipped: tuple[str, ...]
    guards_first: bool
    proof: list[proof.Part]
    limits: list[guards.Guarded]
    unguarded: list[str]
    timed: list[timed.Timed]
    rules: setup.Lines
    note: str
    article: list[setup.Part]
    stand_lines: setup.Lines
    channels: list[setup.Channel]
    zeros: setup.Lines
    link: setup.Lines
    method: list[str]
    curves: setup.Lines
    caution: str
    versions: setup.Lines


def _page(results: Results) -> Page:
    from ui.cautions import CAUTION

    run, analysis, article = results.run, results.analysis, results.article
    series, guarded = _series(run), _as_guarded(run)
    findings = list(analysis.findings) if analysis else []
    drawn, missing = (
        charts.draw_all(analysis, simulated=run.simulated)
        if analysis and len(analysis.plateaus)
        else ([], [])
    )
    if analysis is not None:
        drawn += gliding.draw_glides(analysis.evidence.glides, simulated=run.simulated)
        drawn += emptying.draw_emptied(
            analysis.evidence.emptied, simulated=run.simulated
        )
        shown = closely.Shown("", analysis.evidence.captures)
        # Who looked that closely came for it.
        drawn = closely.draw_captures([shown], simulated=run.simulated) + drawn
    line = timeline.read_timeline(run, series, analysis)
    walk, cut = timeline.walked_stretches(run), cut_of(run)
    around = moment.read_moment(run, guarded, walk)
    protocol, protocol_name = setup.protocol_of(run)
    return Page(
        title=article.name if article else "Article not on record",
        kind=_kind(analysis),
        protocol=protocol,
        protocol_name=protocol_name,
        date=moment_words(text_of(run.header, "utc")),
        run=run.folder.name,
        stand=_stand_name(run),
        simulated=run.simulated,
        notices=facts.notices_of(run),
        facts=facts.facts_of(run),
        cut_title=trip.title_of(cut) if cut else "",
        cut_lines=trip.cut_lines(run, walk),
        moments=moment.draw_moment(around) if around else [],
        left_out=left_out(run),
        headlines=figures.headlines(
            findings,
            one_level=analysis is not None and analysis.evidence.one_level(),
            whole=not how_far(run),
        ),
        findings=[f for f in findings if _is_of_the_article(f)],
        remarks=[f for f in findings if not _is_of_the_article(f)],
        no_findings="" if findings else " ".join(results.sentences()),
        legs=_legs(analysis),
        charts=drawn,
        charts_missing=missing,
        timelines=timeline.draw_timeline(line) if line else [],
        table=figures.plateau_table(analysis)
        if analysis and len(analysis.plateaus)
        else None,
        skipped=analysis.plateaus.skipped if analysis else (),
        # Where nothing was measured, they are what there is to tell.
        guards_first=text_of(run.outcome, "data") == "none",
        proof=proof.proof_of(run),
        limits=guards.guarded(run, guarded),
        unguarded=guards.unguarded(run),
        timed=timed.timed_limits(run, guarded),
        rules=timed.rule_lines(run, guarded),
        note=article.note if article else "",
        article=setup.article_parts(article) if article else [],
        stand_lines=setup.stand_lines(run),
        channels=setup.channels_of(run),
        zeros=setup.zero_lines(run, analysis),
        link=setup.link_lines(run),
        method=list(method.sentences_on_method(run, analysis)),
        curves=method.curve_lines(analysis),
        caution=CAUTION,
        versions=setup.version_lines(run, *_hashes(run)),
    )


def _is_of_the_article(finding: Finding) -> bool:
    """Whether a finding is about what was tested, and not about the run itself."""
    return figures.has_interval(finding) or finding.id in WITHOUT_INTERVAL


def _kind(analysis: Analysis | None) -> str:
    """What kind of test it was."""
    if analysis is not None and analysis.evidence.by_hand:
        return "Bench test of plug and pack, loads switched by hand"
    bare = analysis is not None and analysis.evidence.propeller_off
    with_what = "without its propeller" if bare else "and its propeller"
    return f"Bench test of a motor {with_what}"


def _legs(analysis: Analysis | None) -> list[tuple[str, str]]:
    """The legs that have points, and what they are called beside the charts."""
    if analysis is None:
        return []
    glides = analysis.evidence.glides
    words = dict(LEGS if analysis.evidence.bursts is None else LEGS_ABOUT_A_BURST)
    met = dict.fromkeys((*analysis.plateaus.leg, *(glides.leg if glides else ())))
    return [(leg, words[leg]) for leg in met if leg in words]


def _series(run: Run) -> Mapping[str, Series]:
    """Channels in SI; none where a stand's constants make no sense."""
    from ui.series import series_of

    try:
        return series_of(run)[0]
    except InputFault:
        return {}


def _as_guarded(run: Run) -> Mapping[str, Series]:
    """Channels by the stand's own constants: no guard, nor its zero, knows others."""
    from ui.calibrations import GIVEN, HEADER

    header = {k: value for k, value in run.header.items() if k not in (HEADER, GIVEN)}
    return _series(replace(run, header=header))


def _stand_name(run: Run) -> str:
    if run.stand is None:
        return "never said who it was"
    if run.described is not None:
        return f"{run.described.name}, prints lines"
    identity = run.stand.identity
    return f"{identity.stand_id:08x}, {identity.board}"


def _hashes(run: Run) -> tuple[str, str]:
    """The wire log's hash as it was sealed and as it is; empty where unknown."""
    from daq.records.folder import hash_of
    from daq.records.wirelog import NAME

    listed = run.descriptor.get("resources")
    first = listed[0] if isinstance(listed, list) and listed else None
    try:
        found = hash_of(run.folder / NAME)
    except OSError:
        found = ""
    return text_of(first, "hash"), found

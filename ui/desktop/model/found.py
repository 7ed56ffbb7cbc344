"""What a check found in a bundle, as the window tells it: what rests on more first.

All texts are a stranger's: made fit to be shown, and believed no further.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from ui.club.checked import Checked, RunChecked
from ui.club.plainly import plainly
from ui.club.words import run_words
from ui.desktop.model.standing import Standing, standing_of
from ui.desktop.model.words import one_line
from ui.report.words import counted, moment
from ui.typeset import firm

NAMED: Final = 3  # runs that are named where figures differ
FIRST: Final = 2  # findings that are told before somebody asks for all
NOT_TAKEN: Final = (
    "Without its wire log it cannot be among your runs; the club's site shows its "
    "figures."
)


@dataclass(frozen=True, slots=True)
class RunFound:
    """One run of a bundle.

    Attributes:
        name: of the run.
        article: what was tested.
        what: motor, propeller, source, protocol and date in a line.
        standing: what its figures rest on.
        figures: how far they can be relied on, a sentence.
        differences: between the sender's figures and the logs', a sentence each.
        findings: what the run says, a sentence each.
        may_take: whether it can be put among the person's runs.
    """

    name: str
    article: str
    what: str
    standing: Standing
    figures: str
    differences: tuple[str, ...]
    findings: tuple[str, ...]
    may_take: bool


def runs_found(checked: Checked) -> list[RunFound]:
    """The runs of a bundle, those that rest on more first."""
    found = [_run(run) for run in checked.runs]
    return sorted(found, key=lambda run: run.standing.rank)


def _run(run: RunChecked) -> RunFound:
    entry = run.entry
    article = entry.article
    parts = (
        article.motor,
        article.propeller,
        article.source,
        entry.protocol,
        moment(entry.utc),
    )
    return RunFound(
        name=one_line(entry.run),
        article=one_line(article.name),
        what=firm(", ".join(text for text in map(one_line, parts) if text)),
        standing=standing_of(entry.evidence),
        figures=run_words(run),
        differences=tuple(plainly(words, 400) for words in run.differences),
        findings=tuple(firm(plainly(f.sentence, 1200)) for f in entry.findings),
        may_take=run.log_hash is not None,
    )


def differing_words(runs: Sequence[RunFound]) -> str:
    """That figures differ, a sentence for the head of a bundle; "" where none do."""
    differing = [run.name for run in runs if run.differences]
    if not differing:
        return ""
    names = ", ".join(differing[:NAMED])
    more = f" and {len(differing) - NAMED} more" if len(differing) > NAMED else ""
    where = f"In {len(differing)} of {counted(len(runs), 'run')} ({names}{more})"
    if len(runs) == 1:
        where = "In its run"
    return (
        f"{where} the sender's figures are not what the wire log gives. What is shown "
        "is what the wire log gives."
    )


def title_of(checked: Checked) -> str:
    """What a bundle is called."""
    return one_line(checked.title) or "A bundle without a title"

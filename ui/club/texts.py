"""Texts of a bundle: what it is, for who has no gramwatt, and its articles as files."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from daq.link.columns.writing import quoted

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from daq.records.shelf import Article
    from ui.club.entry import Entry

WIDTH = 78


def article_text(article: Article) -> str:
    """An article as the TOML file that it was read from, or one that says the same."""
    whole = article.to_dict()
    plain = {key: value for key, value in whole.items() if not isinstance(value, dict)}
    lines = list(_keys(plain))
    for name, table in whole.items():
        if isinstance(table, dict):
            lines += ["", f"[{name}]", *_keys(table)]
    return "\n".join(lines) + "\n"


def _keys(table: Mapping[str, object]) -> Iterator[str]:
    for key, value in table.items():
        if isinstance(value, bool):
            yield f"{key} = {str(value).lower()}"
        elif isinstance(value, int | float):
            yield f"{key} = {value!r}"
        else:
            yield f"{key} = {quoted(str(value))}"


def readme_text(entries: Sequence[Entry], by: str, licence: str) -> str:
    """What whoever unpacks the file by hand has to know."""
    paragraphs = ["Bench tests of small motors and propellers, packed by gramwatt."]
    if any(entry.evidence.invented for entry in entries):
        paragraphs.append("INVENTED: made up to try something out.")
    elif any(entry.evidence.simulated for entry in entries):
        paragraphs.append("SIMULATED: no hardware, no motor, nothing was measured.")
    paragraphs.append(f"By {by}." if by else "Whoever packed it is not named.")
    paragraphs.append(
        f"Licence: {licence}."
        if licence
        else "No licence is stated: ask whoever gave it to you before you pass it on."
    )
    paragraphs += [
        f"{entry.run}: {entry.article.name}. {entry.evidence.words}."
        for entry in entries
    ]
    paragraphs += [
        "runs.csv has a line a run, and opens in any spreadsheet. In runs/ each run "
        "has its plateaus as CSV, its curves and findings as JSON, its page as HTML, "
        "and, unless they were left out, its readings as Parquet and its wire log. "
        "datapackage.json (Data Package, version 2) names every file with its SHA-256.",
        "With gramwatt, `gramwatt bundle check FILE` looks through the file before "
        "anything of it is trusted, reads the wire logs again and says where its own "
        "figures differ; `gramwatt bundle unpack FILE` puts the runs among yours.",
        "Intervals hold the true value in 95 of 100 cases, as far as what is known of "
        "the stand goes. Figures are of the specimens that were on it, not of a model.",
        "Propellers cut, lithium packs burn. Nothing here says that an article is safe "
        "to run: follow local rules, the makers' instructions and qualified people.",
    ]
    filled = (textwrap.fill(p, WIDTH, break_on_hyphens=False) for p in paragraphs)
    return "\n\n".join(filled) + "\n"

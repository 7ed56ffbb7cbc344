"""Where a sender's figures and the ones derived here from the same log differ.

The same gramwatt gives the same figures to the last digits; another version may give
others; somebody who changed a figure is told from neither, only the difference is.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from daq.errors import InputFault
from ui.club import layout
from ui.club.plainly import plainly
from ui.club.strict_json import read_json
from ui.club.tables import csv_bytes, run_row

if TYPE_CHECKING:
    from ui.club.entry import CurveTold, Entry, EvidenceTold

#: Lines of a table by their run, cells by their heads.
Rows = Mapping[str, Mapping[str, float | str]]
#: What two machines' arithmetic may do to the same computation.
SAME_REL: Final = 1e-6
SAME_ABS: Final = 1e-9
#: So many are told one by one.
MOST_TOLD: Final = 12
#: What of the evidence is held against each other, and what it is called.
EVIDENCE: Final = (
    ("simulated", "whether it is simulated"),
    ("invented", "whether it is invented"),
    ("elsewhere", "whether it was recorded elsewhere"),
    ("guards_itself", "whether the stand guards itself"),
    ("scales", "what it was calibrated by"),
    ("proof", "what proof was done"),
    ("ended", "how it ended"),
    ("data", "whether its data are good"),
    ("air_noted", "whether the air was noted"),
)


def entries_differ(sent: Entry, own: Entry) -> list[str]:
    """What differs between the sender's entry of a run and the one made here."""
    found = list(_evidence(sent.evidence, own.evidence))
    if sent.article != own.article:
        found.append("The article is described otherwise in the wire log.")
    if (sent.run, sent.utc[:16], sent.protocol) != (
        own.run,
        own.utc[:16],
        own.protocol,
    ):
        found.append("Name, date or protocol are others in the wire log.")
    found += _findings(sent, own)
    for name in type(own.curves).model_fields:
        there, here = getattr(sent.curves, name), getattr(own.curves, name)
        if not _same_curve(there, here):
            words = name.replace("_", " ")
            found.append(f"The curve of {words} is another one by the wire log.")
    if _differ(
        sent.model_dump(include={"full", "hover", "density_kg_m3"}),
        own.model_dump(include={"full", "hover", "density_kg_m3"}),
    ):
        found.append("Figures at full throttle or in hover are others by the wire log.")
    return _cut(found)


def _evidence(sent: EvidenceTold, own: EvidenceTold) -> Iterator[str]:
    for name, words in EVIDENCE:
        there, here = getattr(sent, name), getattr(own, name)
        if name == "scales":
            there = [(s.channel, s.by, s.words, s.made_utc) for s in there]
            here = [(s.channel, s.by, s.words, s.made_utc) for s in here]
        if there != here:
            yield f"The sender and the wire log differ in {words}."


def _findings(sent: Entry, own: Entry) -> Iterator[str]:
    theirs = {f.id: f for f in sent.findings}
    ours = {f.id: f for f in own.findings}
    for name, finding in ours.items():
        other = theirs.pop(name, None)
        if other is None:
            words = _called(name)
            yield f"{words}: the wire log gives it, and the sender leaves it out."
            continue
        for what in ("value", "low", "high"):
            there, here = getattr(other, what), getattr(finding, what)
            if not _same(there, here):
                end = {"value": "", "low": ", low end", "high": ", high end"}[what]
                yield (
                    f"{_called(name)}{end}: the sender says {_figure(there)} "
                    f"{finding.unit}, the wire log gives {_figure(here)}."
                )
                break
    for name in theirs:
        yield f"{_called(name)}: the sender says it, and the wire log does not."


def _called(finding: str) -> str:
    """A finding by its short name, as a person says it."""
    words = plainly(finding.replace("-", " "), 60)
    return f"{words[:1].upper()}{words[1:]}"


def _figure(value: float | None) -> str:
    return "nothing" if value is None else f"{value:.5g}"


def _same(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    if math.isnan(one) or math.isnan(other):  # what could not be computed
        return math.isnan(one) and math.isnan(other)
    return math.isclose(one, other, rel_tol=SAME_REL, abs_tol=SAME_ABS)


def _same_curve(one: CurveTold | None, other: CurveTold | None) -> bool:
    if one is None or other is None:
        return one is other
    return not _differ(one.model_dump(), other.model_dump())


def files_differ(name: str, sent: bytes, own: bytes) -> list[str]:
    """What differs between a derived file as it was sent and as it is made here."""
    if sent == own:
        return []
    try:
        there, here = _content(name, sent), _content(name, own)
    except InputFault as fault:
        return [f"The sender's {name} is not what is derived here: {fault}."]
    count = _differ(there, here)
    if not count:
        return []
    places = f"{count} places" if count > 1 else "one place"
    return [f"The sender's {name} differs from the one derived here in {places}."]


def rows_by_run(data: bytes) -> dict[str, dict[str, float | str]]:
    """The lines of a bundle's own table by their run; empty where it is no table."""
    try:
        heads, *rows = _content(layout.TABLE, data)
    except (InputFault, ValueError):
        return {}
    found = [dict(zip(map(str, heads), row, strict=False)) for row in rows]
    return {str(row.get("run", "")): row for row in found}


def row_differs(rows: Rows, entry: Entry) -> list[str]:
    """Whether the bundle's own table says something else of a run than its entry."""
    own = rows_by_run(csv_bytes([run_row(entry)], list(run_row(entry))))[entry.run]
    sent = rows.get(entry.run, {})
    if all(key in sent and not _differ(sent[key], own[key]) for key in own):
        return []
    return [f"The sender's line in {layout.TABLE} says something else."]


def _content(name: str, data: bytes) -> Any:
    """A file as plain values; CSV cells as numbers where they are some."""
    if name.endswith(".json"):
        return read_json(data, "it")
    try:
        text = data.decode("utf-8")
        rows = list(csv.reader(io.StringIO(text)))
    except (UnicodeDecodeError, csv.Error):
        raise InputFault("it is no table") from None
    return [[_cell(cell) for cell in row] for row in rows]


def _cell(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def _differ(one: Any, other: Any) -> int:
    """In how many places two values differ; texts of sentences are not compared."""
    if isinstance(one, bool) or isinstance(other, bool):
        return int(one is not other)
    if isinstance(one, int | float) and isinstance(other, int | float):
        return int(not _same(float(one), float(other)))
    if isinstance(one, dict) and isinstance(other, dict):
        keys = set(one) | set(other)
        return sum(
            _differ(one.get(key), other.get(key)) for key in keys if key != "sentence"
        )
    if _is_list(one) and _is_list(other):
        if len(one) != len(other):
            return 1
        return sum(_differ(a, b) for a, b in zip(one, other, strict=True))
    return int(one != other)


def _is_list(value: object) -> bool:
    return isinstance(value, list | tuple)


def _cut(found: Sequence[str]) -> list[str]:
    """Not more than a person reads."""
    if len(found) <= MOST_TOLD:
        return list(found)
    return [*found[:MOST_TOLD], f"And {len(found) - MOST_TOLD} more differences."]

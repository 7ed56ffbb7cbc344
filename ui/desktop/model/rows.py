"""One run as a row: read from its descriptor, its findings and its label.

Read lightly: the wire log is never read. Whatever is wrong with a folder becomes a row
that says so; nothing that a stranger put there is believed to be what it should be.
"""

import json
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from daq.analysis.rounding import figure as rounded
from daq.records.folder import DERIVED, DESCRIPTOR, is_sealed
from daq.records.read import ADOPTED
from daq.records.wirelog import NAME as WIRE_LOG
from daq.records.wirelog import is_being_written
from protocols.task import LINES
from ui.desktop.model.labels import NOTHING, Label, read_label
from ui.desktop.model.words import folded, one_line
from ui.report.words import moment, number_of, table_of, text_of

MOST_BYTES: Final = 8_000_000  # of a descriptor, or of findings
FINDINGS: Final = "findings.json"
UNREADABLE: Final = "unreadable"
GONE: Final = "gone"
OPEN: Final = "open"
#: How a run ended, and what that means where its record gives no cause.
ENDINGS: Final[Mapping[str, str]] = {
    "completed": "The plan was walked to its end.",
    "stopped": "Somebody stopped it.",
    "tripped": "A guard, or the stand itself, cut the throttle.",
    "failed": "It could not go on.",
    "interrupted": "The record stops before its end.",
    "elsewhere": "Recorded elsewhere: neither driven nor guarded by gramwatt.",
    OPEN: "Not sealed.",
    UNREADABLE: "Its folder cannot be read.",
    GONE: "Its folder was deleted, moved or renamed.",
}
#: Key figures: what a row calls them, and the findings that hold them, best first.
FIGURES: Final = (
    ("thrust", ("max-thrust",)),
    ("best", ("specific-thrust-best", "specific-thrust-at-max")),
    ("sag", ("sag",)),
)


@dataclass(frozen=True, slots=True)
class Figure:
    """A key figure of a run.

    Attributes:
        value: in its unit.
        low: low limit of its interval.
        high: high limit.
        unit: such as gf.
        coverage: of the interval, 0 to 1.
    """

    value: float
    low: float
    high: float
    unit: str
    coverage: float

    @property
    def words(self) -> str:
        """The figure, rounded by its interval."""
        return rounded(self.value, (self.high - self.low) / 2 or None)

    @property
    def plus_minus(self) -> str:
        """The figure with half the width of its interval."""
        half = (self.high - self.low) / 2
        return f"{self.words} \N{PLUS-MINUS SIGN} {rounded(half, half)}"

    @property
    def interval(self) -> str:
        """Its interval in words."""
        half = (self.high - self.low) / 2
        return (
            f"{self.words} {self.unit} ({100 * self.coverage:g} % interval "
            f"{rounded(self.low, half)} to {rounded(self.high, half)} {self.unit})"
        )


@dataclass(frozen=True, slots=True)
class Row:
    """One run.

    Attributes:
        folder: where it is.
        when_s: when it began, seconds since 1970 UTC; NaN where nobody knows.
        date: the same in words.
        article: what was tested.
        protocol: what was done.
        ended: how it ended, a word.
        meaning: what that means here, in sentences.
        data: whole, partial, none or elsewhere; "" where nobody knows.
        simulated: nothing turned.
        elsewhere: recorded elsewhere.
        unprotected: on a stand that does not stop its motor by itself.
        bare: without a propeller, so nothing is said of thrust.
        figures: key figures by name: thrust, best, sag.
        derived: folder of what was derived; None where nothing was.
        label: tags and note.
        remark: what was forgotten of the label, a sentence; "" for nothing.
    """

    folder: Path
    when_s: float = math.nan
    date: str = ""
    article: str = ""
    protocol: str = ""
    ended: str = UNREADABLE
    meaning: str = ""
    data: str = ""
    simulated: bool = False
    elsewhere: bool = False
    unprotected: bool = False
    bare: bool = False
    figures: Mapping[str, Figure] = field(default_factory=dict)
    derived: Path | None = None
    label: Label = NOTHING
    remark: str = ""

    @property
    def name(self) -> str:
        """The folder's name."""
        return one_line(self.folder.name)

    @property
    def readable(self) -> bool:
        """Whether there is a run that could be looked at."""
        return self.ended not in (UNREADABLE, GONE)

    @property
    def kind(self) -> str:
        """What has to be known of its figures before anything else, in words."""
        words = {
            "simulated": self.simulated,
            "recorded elsewhere": self.elsewhere,
            "unprotected": self.unprotected,
            "no propeller": self.bare,
        }
        return ", ".join(word for word, holds in words.items() if holds)

    def haystack(self) -> str:
        """Everything that typed words are looked for in."""
        parts = (
            self.name,
            self.date,
            self.article,
            self.protocol,
            self.ended,
            self.meaning,
            self.data,
            self.kind,
            *self.label.tags,
            self.label.note,
        )
        return folded("\n".join(parts))


def stamp_of(path: Path) -> tuple[int, int]:
    """Time and size of a file, to see whether it changed; size -1 for none."""
    try:
        seen = path.stat()
    except OSError:
        return (0, -1)
    return (seen.st_mtime_ns, seen.st_size)


def is_folder(entry: os.DirEntry[str]) -> bool:
    """Whether it is a folder that is not hidden."""
    try:
        return entry.is_dir() and not entry.name.startswith(".")
    except OSError:
        return False


def derived_of(folder: Path) -> Path | None:
    """The newest analysis under a run's folder; None where there is none."""
    newest: tuple[int, Path] | None = None
    try:
        with os.scandir(folder / DERIVED) as found:
            inside = [entry for entry in found if is_folder(entry)]
    except OSError:
        return None
    for entry in inside:
        stamp, size = stamp_of(Path(entry.path) / FINDINGS)
        whole = size >= 0 and not entry.name.endswith(".new")
        if whole and (newest is None or stamp > newest[0]):
            newest = (stamp, Path(entry.path))
    return newest[1] if newest else None


def read_bytes(path: Path) -> bytes:
    """A file from anybody, whole.

    Raises:
        OSError: it cannot be read.
        ValueError: it is too large.
    """
    with path.open("rb") as file:
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise ValueError("it is too large")
    return data


def read_json(path: Path) -> object:
    """A JSON file from anybody.

    Raises:
        OSError: it cannot be read.
        ValueError: it is too large, or no JSON.
    """
    data = read_bytes(path)
    try:
        read: object = json.loads(data)
    except RecursionError:
        raise ValueError("it is nested too deeply") from None
    except ValueError:
        raise ValueError("it is no JSON") from None
    return read


def read_row(folder: Path) -> Row:
    """The row of one run's folder, whatever state it is in."""
    path = folder / DESCRIPTOR
    try:
        content = read_json(path)
    except FileNotFoundError:
        return _broken(folder, f"It has no {DESCRIPTOR}.")
    except (OSError, ValueError) as fault:
        why = fault.strerror if isinstance(fault, OSError) else str(fault)
        return _broken(folder, f"{DESCRIPTOR} cannot be read: {why}.")
    facts = table_of(content, "gramwatt")
    header = table_of(facts, "header")
    if not isinstance(content, dict) or not header:
        return _broken(folder, f"{DESCRIPTOR} describes no run.")
    if not (folder / WIRE_LOG).is_file():
        return _broken(folder, f"It has no {WIRE_LOG}: what was recorded is missing.")
    return _row(folder, content, facts, header)


def _broken(folder: Path, why: str) -> Row:
    """A row that says why it is none; its label is shown all the same."""
    label, remark = read_label(folder)
    return Row(folder, meaning=why, label=label, remark=remark)


def _row(
    folder: Path,
    content: Mapping[str, object],
    facts: Mapping[str, object],
    header: Mapping[str, object],
) -> Row:
    label, remark = read_label(folder)
    utc = one_line(header.get("utc") or content.get("created"), 40)
    task = table_of(header, "task")
    elsewhere = ADOPTED in header
    ended, meaning, data = _ending(folder, content, facts)
    derived = derived_of(folder)
    plan = table_of(task, "plan")
    protocol = text_of(plan, "protocol")
    return Row(
        folder=folder,
        when_s=_seconds(utc),
        date=moment(utc),
        article=one_line(table_of(header, "article").get("name")),
        protocol=one_line(protocol) or ("a log" if elsewhere else ""),
        ended=ended,
        meaning=meaning,
        data=data,
        simulated=True in (facts.get("simulated"), header.get("simulated")),
        elsewhere=elsewhere,
        unprotected=LINES in task and not elsewhere,
        bare=plan.get("propeller_off") is True,
        figures=_figures(derived),
        derived=derived,
        label=label,
        remark=remark,
    )


def _ending(
    folder: Path, content: Mapping[str, object], facts: Mapping[str, object]
) -> tuple[str, str, str]:
    """How it ended, what that means, and what its data are good for."""
    if not is_sealed(content):
        return OPEN, _open_words(folder / WIRE_LOG), ""
    outcome = table_of(facts, "outcome")
    ended = one_line(text_of(outcome, "ended", "interrupted"), 40)
    cause = one_line(text_of(outcome, "cause")) or ENDINGS.get(ended, "")
    unsure = outcome.get("stop_confirmed") is False
    parts = (cause, "The stop was not confirmed." if unsure else "")
    data = one_line(text_of(outcome, "data"), 40)
    return ended, " ".join(part for part in parts if part), data


def _open_words(log: Path) -> str:
    try:
        busy = is_being_written(log)
    except OSError as fault:
        return f"Not sealed, and {WIRE_LOG} cannot be read: {fault.strerror}."
    if busy:
        return "It is being recorded now."
    return "Not sealed: its keeper was ended. Making its findings seals it as it is."


def _seconds(utc: str) -> float:
    try:
        when = datetime.fromisoformat(utc)
        whole = when if when.tzinfo else when.replace(tzinfo=UTC)
        return whole.timestamp()
    except (ValueError, OverflowError, OSError):
        return math.nan


def _figures(derived: Path | None) -> dict[str, Figure]:
    """Key figures; none where the findings cannot be read."""
    if derived is None:
        return {}
    try:
        read = read_json(derived / FINDINGS)
    except (OSError, ValueError):
        return {}
    rows = (
        [row for row in read if isinstance(row, dict)] if isinstance(read, list) else []
    )
    by_id = {row["id"]: row for row in rows if isinstance(row.get("id"), str)}
    figures = {}
    for name, wanted in FIGURES:
        found = (_figure(by_id[key]) for key in wanted if key in by_id)
        first = next((figure for figure in found if figure), None)
        if first is not None:
            figures[name] = first
    return figures


def _figure(row: Mapping[str, object]) -> Figure | None:
    value, low, high = (number_of(row, key) for key in ("value", "low", "high"))
    if value is None or low is None or high is None or not low <= value <= high:
        return None
    coverage = number_of(row, "coverage") or 0.95
    return Figure(value, low, high, one_line(row.get("unit"), 20), coverage)

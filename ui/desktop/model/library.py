"""The runs in some folders: found, filtered, sorted, looked at again.

There is no index that could be wrong: each look asks the folders, and reads only what
changed. A folder that went away is told once. Nothing here writes.
"""

import math
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from daq.records.folder import DERIVED, DESCRIPTOR
from daq.records.wirelog import NAME as WIRE_LOG
from ui.desktop.model.labels import NAME as LABEL
from ui.desktop.model.labels import read_label
from ui.desktop.model.rows import (
    ENDINGS,
    FIGURES,
    FINDINGS,
    GONE,
    OPEN,
    Row,
    derived_of,
    is_folder,
    read_row,
    stamp_of,
)
from ui.desktop.model.words import folded

_Stamp = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Library:
    """The runs in some folders, as one look found them.

    A value: a look in another thread cannot lose what is written meanwhile.

    Attributes:
        folders: where runs are looked for; one that is a run itself is one run.
        rows: as they were last seen, newest first.
        troubles: folders that cannot be looked into, a sentence each.
        stamps: of each run, times and sizes of what its row was read from.
    """

    folders: tuple[Path, ...]
    rows: tuple[Row, ...] = ()
    troubles: tuple[str, ...] = ()
    stamps: Mapping[Path, _Stamp] = field(default_factory=dict)

    def looked_again(self) -> "Library":
        """The folders as they are now; only what changed is read."""
        before = {row.folder: row for row in self.rows}
        troubles: list[str] = []
        stamps: dict[Path, _Stamp] = {}
        rows: list[Row] = []
        for folder in dict.fromkeys(_runs_in(self.folders, troubles)):
            # Before the row is read: what is written after it is read again.
            stamps[folder] = _stamp_of(folder)
            old = before.get(folder)
            known = old is not None and self.stamps.get(folder) == stamps[folder]
            # An open run is sealed, or left by its keeper, without a sign.
            if old is not None and known and old.ended not in (OPEN, GONE):
                rows.append(old)
            else:
                rows.append(read_row(folder))
        lost = [r for f, r in before.items() if f not in stamps and r.ended != GONE]
        rows += [_gone(row) for row in lost]
        return Library(self.folders, tuple(_by_date(rows)), tuple(troubles), stamps)

    def labelled(self, folder: Path) -> "Library":
        """The same with the label of one run read anew, after it was written."""
        if folder not in self.stamps:
            return self
        stamps = {**self.stamps, folder: _stamp_of(folder)}
        label, remark = read_label(folder)
        rows = tuple(
            replace(row, label=label, remark=remark) if row.folder == folder else row
            for row in self.rows
        )
        return replace(self, rows=rows, stamps=stamps)

    def row_of(self, folder: Path) -> Row | None:
        """The row of a run; None where there is none."""
        return next((row for row in self.rows if row.folder == folder), None)


def filtered(rows: Iterable[Row], typed: str) -> list[Row]:
    """The rows in which every typed word is found, in any field."""
    words = folded(typed).split()
    return (
        [row for row in rows if _holds_all(row.haystack(), words)] if words else [*rows]
    )


def _holds_all(haystack: str, words: Sequence[str]) -> bool:
    return all(word in haystack for word in words)


def ordered(rows: Iterable[Row], column: str, *, descending: bool = False) -> list[Row]:
    """Rows by one column; those that have nothing there come last, either way.

    Args:
        rows: the rows.
        column: a key of ``COLUMNS``.
        descending: from the highest, the newest or the last letter.
    """
    key = COLUMNS[column]
    having: list[tuple[float | str, Row]] = []
    lacking: list[Row] = []
    for row in rows:
        value = key(row)
        missing = value == "" or (isinstance(value, float) and math.isnan(value))
        if missing:
            lacking.append(row)
        else:
            having.append((value, row))
    having.sort(key=lambda pair: pair[0], reverse=descending)
    return [row for _, row in having] + lacking


def _figure_key(name: str) -> Callable[[Row], float]:
    def key(row: Row) -> float:
        found = row.figures.get(name)
        return math.nan if found is None else found.value

    return key


#: What rows can be sorted by; in each the values are all numbers or all texts.
COLUMNS: Final[Mapping[str, Callable[[Row], float | str]]] = {
    "name": lambda row: folded(row.name),
    "date": lambda row: row.when_s,
    "article": lambda row: folded(row.article),
    "protocol": lambda row: folded(row.protocol),
    "ended": lambda row: row.ended,
    "data": lambda row: row.data,
    "kind": lambda row: row.kind,
    "tags": lambda row: folded(", ".join(row.label.tags)),
    **{name: _figure_key(name) for name, _ in FIGURES},
}


def _by_date(rows: Iterable[Row]) -> list[Row]:
    named = sorted(rows, key=lambda row: row.name, reverse=True)
    return ordered(named, "date", descending=True)


# ------------------------------------------------------------------ folders


def _runs_in(folders: Iterable[Path], troubles: list[str]) -> Iterator[Path]:
    """Every folder that is a run or was to be one."""
    for folder in folders:
        if (folder / DESCRIPTOR).is_file() and (folder / WIRE_LOG).is_file():
            yield folder
            continue
        try:
            with os.scandir(folder) as found:
                inside = [Path(entry.path) for entry in found if is_folder(entry)]
        except FileNotFoundError:
            continue  # nothing was spun into it yet
        except OSError as fault:
            why = fault.strerror or str(fault)
            troubles.append(f"{folder} cannot be looked into: {why}.")
            continue
        yield from (path for path in inside if _may_be_run(path))


def _may_be_run(folder: Path) -> bool:
    return any(os.path.lexists(folder / name) for name in (DESCRIPTOR, WIRE_LOG))


def _stamp_of(folder: Path) -> _Stamp:
    """Times and sizes of what a row is read from."""
    derived = derived_of(folder)
    paths = [folder / DESCRIPTOR, folder / DERIVED / LABEL]
    paths += [derived / FINDINGS] if derived else []
    return tuple(stamp_of(path) for path in paths)


def _gone(row: Row) -> Row:
    return replace(row, ended=GONE, meaning=ENDINGS[GONE], derived=None)

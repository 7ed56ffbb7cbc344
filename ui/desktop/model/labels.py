"""Tags and a note that a person gives a run, kept in the run's folder.

One small file beside what is derived; wire log and descriptor are never touched. It is
written whole and renamed. What cannot be read is forgotten and said; what a newer
gramwatt wrote is left alone.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from daq.errors import WorldFault
from daq.records.folder import DERIVED
from ui.desktop.model.words import folded, one_line, several_lines

NAME: Final = "label.json"
FORMAT: Final = 1
MOST_BYTES: Final = 64_000
MOST_TAGS: Final = 20
TAG: Final = 40  # characters
NOTE: Final = 2000


@dataclass(frozen=True, slots=True)
class Label:
    """What a person says of a run.

    Attributes:
        tags: short words, each once.
        note: a few lines.
    """

    tags: tuple[str, ...] = ()
    note: str = ""


NOTHING: Final = Label()


def label_of(tags: Iterable[object], note: object) -> Label:
    """Tags and note within their bounds; a tag that is there already is left out."""
    kept: dict[str, str] = {}
    for tag in tags:
        # What parts tags is no part of one; nor are the blanks that it leaves.
        text = one_line(tag, TAG).replace(",", " ").replace(";", " ")
        text = " ".join(text.split())
        if text and len(kept) < MOST_TAGS:
            kept.setdefault(folded(text), text)
    return Label(tuple(kept.values()), several_lines(note, NOTE))


def typed_tags(text: str) -> tuple[str, ...]:
    """Tags as a person types them, with commas or semicolons between."""
    return label_of(text.replace(";", ",").split(","), "").tags


def path_of(folder: Path) -> Path:
    """Where a run's label is kept."""
    return folder / DERIVED / NAME


def read_label(folder: Path) -> tuple[Label, str]:
    """A run's label, and a sentence about what was forgotten; "" for nothing."""
    path = path_of(folder)
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        return NOTHING, ""
    except OSError as fault:
        return NOTHING, f"Its tags and note cannot be read: {fault.strerror}."
    if len(data) > MOST_BYTES:
        return NOTHING, f"Its tags and note are not used: {NAME} is too large."
    try:
        content = json.loads(data)
    except (ValueError, RecursionError):
        content = None
    if not isinstance(content, dict):
        return NOTHING, f"Its tags and note are lost: {NAME} is damaged."
    if _is_newer(content.get("format")):
        return NOTHING, _NEWER
    tags = content.get("tags")
    return label_of(tags if isinstance(tags, list) else [], content.get("note")), ""


_NEWER: Final = (
    "A newer gramwatt wrote its tags and note; this one leaves them as they are."
)


def _is_newer(number: object) -> bool:
    return isinstance(number, int | float) and number > FORMAT


def write_label(folder: Path, label: Label) -> None:
    """Keep a label with its run; an empty one takes its file away.

    Raises:
        WorldFault: the folder is gone, cannot be written, or holds the label of a
            newer gramwatt.
    """
    path = path_of(folder)
    if not folder.is_dir():
        raise WorldFault(f"The run {folder.name} is gone: nothing was kept.")
    if read_label(folder)[1] == _NEWER:
        raise WorldFault(_NEWER)
    kept = label_of(label.tags, label.note)
    content = {"format": FORMAT, "tags": list(kept.tags), "note": kept.note}
    fresh = path.with_name(NAME + ".new")
    try:
        if kept == NOTHING:
            path.unlink(missing_ok=True)
            return
        path.parent.mkdir(exist_ok=True)
        text = json.dumps(content, indent=1, ensure_ascii=False)
        fresh.write_bytes(text.encode("utf-8", "backslashreplace"))
        fresh.replace(path)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"Tags and note were not kept in {folder}: {why}.") from None

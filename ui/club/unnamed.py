"""A record without what is personal: for whoever gets it, the same run.

Port names, paths, the name of this computer and of its user, and the notes that a
person wrote on an article are taken out of the wire log and of the descriptor. Bytes of
the wire, times and decisions stay as they are, so that everything derived is the same.
What was damaged stays damaged. The log gets another hash thereby; the descriptor keeps
the one that it was sealed with.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from daq.errors import InputFault, RecordFault
from daq.link.columns.description import read_description
from daq.link.columns.writing import description_text
from daq.records.wirelog import (
    MAGIC,
    Kind,
    Reader,
    Record,
    pack,
    packed_size,
    to_json,
)

#: What stands where something was taken out.
TAKEN_OUT: Final = "..."
#: Keys of a header that say where a run was made and on what, and nothing about it.
PLACES: Final = ("port", "last_word")
#: Where a header has the description of a stand that prints lines.
TASK: Final = "task"
LINES: Final = "lines"
#: Ports and paths, as systems write them.
_PATHS: Final = re.compile(
    r"/dev/[\w./-]+|\bCOM\d+\b|(?:file|socket|rfc2217)://\S+"
    r"|(?<![\w.])/(?:home|Users|root|tmp|var|mnt|media|private|run|opt|srv)/[^\s\"']*"
    r"|\b[A-Za-z]:\\[^\s\"']*"
)
#: Keys whose words a record is read by, be they two.
VALUES: Final = (
    *("note", "what", "state", "kind", "leg", "guard", "part"),
    "specimen",  # a calibration is of it, or of another
)
#: A name shorter than this is part of too many words to be looked for.
SHORTEST_NAME: Final = 3


@dataclass(frozen=True, slots=True)
class Secrets:
    """What must not go out.

    Attributes:
        names: of the user, the computer, the port: taken out of sentences wherever
            they stand as a word of their own. What is one word alone is a value that
            a record is read by, and no sentence.
        keep_notes: whether what a person noted about an article stays.
        idle: calibrations, by their ids, that nothing is read by: of whatever else is
            on the person's shelf.
    """

    names: tuple[str, ...] = ()
    keep_notes: bool = False
    idle: frozenset[str] = frozenset()

    def words(self, text: str) -> str:
        """A text without them."""
        text = _PATHS.sub(TAKEN_OUT, text)
        if " " not in text:
            return text
        for name in sorted(self.names, key=len, reverse=True):
            if len(name) >= SHORTEST_NAME:
                whole = rf"(?<![\w-]){re.escape(name)}(?![\w-])"
                text = re.sub(whole, TAKEN_OUT, text)
        return text

    def value(self, value: object) -> object:
        """A JSON value without them; keys stay."""
        if isinstance(value, str):
            return self.words(value)
        if isinstance(value, Mapping):
            return {
                key: each if key in VALUES else self.value(each)
                for key, each in value.items()
            }
        if isinstance(value, list):
            return [self.value(each) for each in value]
        return value

    def header(self, header: Mapping[str, object]) -> dict[str, object]:
        """A header without them; calibrations stay whole, since they check themselves.

        What is left of them are the names that a person gave to masses and meters,
        and how far north a place lies. The description of a stand that prints lines
        keeps every word that it is read by, its name too: the stand goes by it.
        """
        from ui.calibrations import CHECKED, HEADER

        kept: dict[str, object] = {}
        for key, value in header.items():
            if key in PLACES:
                continue
            whole = key in (HEADER, CHECKED)
            kept[key] = self._not_idle(value) if whole else self.value(value)
        task, described = kept.get(TASK), header.get(TASK)
        if isinstance(task, dict) and isinstance(described, dict) and LINES in task:
            kept[TASK] = task | {LINES: _without_comments(described[LINES])}
        article = kept.get("article")
        if isinstance(article, dict) and not self.keep_notes:
            kept["article"] = {k: v for k, v in article.items() if k != "note"}
        adopted = kept.get("adopted")
        if isinstance(adopted, dict):
            kept["adopted"] = {k: v for k, v in adopted.items() if k != "file"}
        return kept

    def _not_idle(self, value: object) -> object:
        """Calibrations, or dates by their ids, without those that are idle."""
        if isinstance(value, list):
            return [each for each in value if _id_of(each) not in self.idle]
        if isinstance(value, Mapping):
            return {key: each for key, each in value.items() if key not in self.idle}
        return value


def _id_of(calibration: object) -> str:
    return str(calibration.get("id")) if isinstance(calibration, Mapping) else ""


def _without_comments(lines: object) -> str:
    """The description of a stand that prints lines: what it says, and no more.

    Raises:
        RecordFault: this version cannot read it.
    """
    try:
        described = read_description(str(lines), "the description of the stand")
    except InputFault as fault:
        raise RecordFault(str(fault)) from None
    return description_text(described)


def machine_names(ports: Iterable[str] = ()) -> tuple[str, ...]:
    """What this computer and its user are called, and some ports."""
    import getpass
    import platform

    names = {platform.node(), platform.node().partition(".")[0], *ports}
    try:
        names.add(getpass.getuser())
    except (OSError, KeyError, ImportError):
        pass  # a user without a name has none to hide
    return tuple(sorted(name for name in names if name))


def unnamed_log(data: bytes, secrets: Secrets) -> bytes:
    """A wire log without what must not go out.

    Damage stays where it is, as zero bytes: what stood there nobody can read, and it
    must neither go out nor be forgotten.

    Raises:
        RecordFault: a record of it is no JSON where it should be.
    """
    out = [data[: len(MAGIC)]]
    end = len(out[0])
    for position, record in Reader(data).placed():
        out += [bytes(position - end), pack(_unnamed(record, secrets))]
        end = position + packed_size(record)
    out.append(bytes(len(data) - end))
    return b"".join(out)


def _unnamed(record: Record, secrets: Secrets) -> Record:
    if record.kind is Kind.HEADER:
        content: object = secrets.header(record.json())
    elif record.kind in (Kind.ORDER, Kind.NOTE, Kind.END):
        content = secrets.value(record.json())
        if content == record.json():
            return record  # to the byte
    elif record.kind is Kind.LOST:
        text = record.data.decode("utf-8", "replace")
        return Record(record.kind, record.time_ns, secrets.words(text).encode())
    else:
        return record
    if not isinstance(content, dict):
        raise RecordFault("a record that is no JSON object")
    return Record(record.kind, record.time_ns, to_json(content))


def unnamed_descriptor(
    descriptor: Mapping[str, object], secrets: Secrets
) -> dict[str, object]:
    """A run's descriptor without what must not go out."""
    # A copy by JSON: nothing of the caller's is changed.
    content: dict[str, object] = json.loads(json.dumps(descriptor))
    facts = content.get("gramwatt")
    facts = facts if isinstance(facts, dict) else {}
    header = facts.get("header")
    plain = {key: secrets.value(value) for key, value in facts.items()}
    if isinstance(header, dict):
        plain["header"] = secrets.header(header)
    return {**content, "gramwatt": plain}

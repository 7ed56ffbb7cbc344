"""Runs packed for somebody else: one zip file that is a Data Package of its own.

Each run is copied without what is personal, and everything derived from it is made
anew from that copy, so that what goes out says the same as what whoever gets it will
find. The same runs give the same bytes. Nothing of a run is changed.
"""

from __future__ import annotations

import io
import json
import re
import shutil
import tempfile
import zipfile
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Final

from daq.errors import GramwattError, InputFault, RecordFault, WorldFault
from daq.fresh_file import refuse_taken, write_fresh
from daq.records import folder as folders
from ui.club import layout
from ui.club.archive import Archive
from ui.club.entries import entry_of
from ui.club.evidence import as_tables_only
from ui.club.picture import picture_of
from ui.club.signing import signature_of
from ui.club.tables import csv_bytes, run_row
from ui.club.texts import article_text, readme_text
from ui.club.unnamed import Secrets, machine_names, unnamed_descriptor, unnamed_log
from ui.results import derive

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from daq.records.read import Run
    from ui.club.entry import Entry
    from ui.results import Results

#: The date of every file in the zip: the earliest that one can have.
NO_DATE: Final = (1980, 1, 1, 0, 0, 0)
#: Plain files that everybody may read.
PLAIN_FILE: Final = 0o100644 << 16
LEVEL: Final = 6
#: Packed already.
STORED: Final = (".parquet", ".png")
LICENCES: Final[Mapping[str, tuple[str, str]]] = {
    "CC0-1.0": (
        "Creative Commons Zero 1.0",
        "https://creativecommons.org/publicdomain/zero/1.0/",
    ),
    "CC-BY-4.0": (
        "Creative Commons Attribution 4.0",
        "https://creativecommons.org/licenses/by/4.0/",
    ),
    "CC-BY-SA-4.0": (
        "Creative Commons Attribution Share-Alike 4.0",
        "https://creativecommons.org/licenses/by-sa/4.0/",
    ),
    "ODbL-1.0": (
        "Open Data Commons Open Database License 1.0",
        "https://opendatacommons.org/licenses/odbl/1-0/",
    ),
}


@dataclass(frozen=True, slots=True)
class Wishes:
    """How somebody wants their runs packed.

    Attributes:
        by: the name that they want to be known by; "" for none.
        licence: a key of ``LICENCES``, or "" where nothing is said.
        tables_only: no wire logs: then nobody can re-derive anything.
        keep_notes: the notes that they wrote on their articles go along.
        names: what must not go out, beside what this computer is called.
        key: to sign with; None leaves it unsigned.
    """

    by: str = ""
    licence: str = ""
    tables_only: bool = False
    keep_notes: bool = False
    names: tuple[str, ...] = ()
    key: Ed25519PrivateKey | None = None


@dataclass(frozen=True, slots=True)
class Packed:
    """What was packed.

    Attributes:
        path: the bundle.
        size: its bytes.
        entries: what it says of each run.
    """

    path: Path
    size: int
    entries: tuple[Entry, ...]


def pack_runs(run_folders: Sequence[Path], path: Path, wishes: Wishes) -> Packed:
    """Pack some runs.

    Args:
        run_folders: the runs, at least one.
        path: where the bundle goes; nothing may be there.
        wishes: how.

    Raises:
        InputFault: a run cannot be packed as it is, or a wish makes no sense.
        RecordFault: one is no run folder, or its log cannot be read.
        WorldFault: the bundle cannot be written.
    """
    refuse_taken(path)
    _check(run_folders, wishes)
    _make_room(path)
    try:
        with tempfile.TemporaryDirectory(prefix="gramwatt-") as scratch:
            files, entries = _everything(run_folders, Path(scratch), wishes)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"The bundle cannot be made: {why}.") from None
    data = zipped(files)
    _check_can_be_taken(data)
    write_fresh(path, data)
    return Packed(path, len(data), tuple(entries))


def _make_room(path: Path) -> None:
    """Make the folder that the bundle goes to, before seconds are spent on it.

    Raises:
        WorldFault: it cannot be made.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"The folder {path.parent} cannot be made: {why}.") from None


def _check_can_be_taken(data: bytes) -> None:
    """That it passes the bounds that whoever gets it holds it against.

    Raises:
        InputFault: it does not.
    """
    try:
        Archive(io.BytesIO(data), len(data))
    except InputFault as fault:
        raise InputFault(
            f"whoever gets this bundle would refuse it: {fault}. Pack fewer runs at "
            "once, or leave the wire logs out with --tables-only."
        ) from None


def _check(run_folders: Sequence[Path], wishes: Wishes) -> None:
    if not run_folders:
        raise InputFault("there is no run to pack: name one folder or more.")
    if len(run_folders) > layout.MOST_RUNS:
        raise InputFault(
            f"{len(run_folders)} runs are more than a bundle holds; pack at most "
            f"{layout.MOST_RUNS} at once."
        )
    if wishes.licence and wishes.licence not in LICENCES:
        raise InputFault(
            f"{wishes.licence} is not a licence that is known here; known are "
            f"{', '.join(LICENCES)}."
        )
    if len(wishes.by) > 80 or not wishes.by.isprintable():
        raise InputFault("the name to be known by has at most 80 plain characters.")


# ------------------------------------------------------------------ the runs


def _everything(
    run_folders: Sequence[Path], scratch: Path, wishes: Wishes
) -> tuple[dict[str, bytes], list[Entry]]:
    """Every file of the bundle by its path in it, and what it says of each run."""
    files: dict[str, bytes] = {}
    entries: dict[str, Entry] = {}
    size = 0
    for folder in run_folders:
        copy = _unnamed_copy(folder, scratch, wishes, entries)
        try:
            entry, own = _files_of(copy, wishes)
        except GramwattError as fault:
            # What is wrong is wrong with the run, and not with its copy.
            raise type(fault)(str(fault).replace(str(copy), str(folder))) from None
        entries[copy.name] = entry
        files |= {f"{layout.RUNS}/{copy.name}/{name}": own[name] for name in own}
        shutil.rmtree(copy)
        size += sum(map(len, own.values()))
        if size > layout.MOST_UNPACKED:
            raise InputFault(
                f"the runs have more than the {layout.MOST_UNPACKED // layout.MB} MB "
                "that a bundle may unpack to: pack fewer at once, or leave the wire "
                "logs out with --tables-only."
            )
    # Whatever order they were named in.
    told = [entries[name] for name in sorted(entries)]
    rows = [run_row(entry) for entry in told]
    files[layout.TABLE] = csv_bytes(rows, list(rows[0]))
    files[layout.PICTURE] = picture_of(told)
    files[layout.README] = readme_text(told, wishes.by, wishes.licence).encode()
    descriptor = _descriptor(files, told, wishes)
    files[layout.DESCRIPTOR] = descriptor
    if wishes.key is not None:
        files[layout.SIGNATURE] = signature_of(descriptor, wishes.key)
    return files, told


def _unnamed_copy(
    folder: Path, scratch: Path, wishes: Wishes, taken: Collection[str]
) -> Path:
    """A copy of a run without what is personal, sealed as the run was.

    Args:
        folder: the run.
        scratch: where the copy goes.
        wishes: how it is packed.
        taken: names of runs that are packed already.

    Raises:
        InputFault: it is not sealed, or was changed afterwards.
    """
    from daq.records.read import read_run
    from daq.records.wirelog import NAME
    from ui.calibrations import idle_in

    run = read_run(folder)
    if not run.sealed:
        raise InputFault(
            f"The run in {folder} is not sealed: its keeper was cut off, or still "
            "records. `gramwatt rebuild` seals it as it stands."
        )
    if run.intact is False:
        raise InputFault(
            f"The wire log in {folder} was changed after it was sealed, so nobody "
            "could trust it: it is not packed."
        )
    port = str(run.header.get("port") or "")
    names = machine_names([*wishes.names, port, port.rpartition("/")[2]])
    secrets = Secrets(names, keep_notes=wishes.keep_notes, idle=idle_in(run))
    copy = scratch / _run_name(run)
    if copy.name in taken:
        raise InputFault(
            f"{folder} is a run that was named already, or another one of its name: "
            "pack that one by itself."
        )
    copy.mkdir()
    data = unnamed_log((folder / NAME).read_bytes(), secrets)
    (copy / NAME).write_bytes(data)
    _write_run_descriptor(run, copy, data, secrets)
    return copy


def _run_name(run: Run) -> str:
    """What a run is called in a bundle: as it was named when it was made.

    Raises:
        RecordFault: it is called what no file can be called.
    """
    name = str(run.descriptor.get("name", "")).lower()
    name = re.sub(r"[^a-z0-9._-]", "-", name)[:80]
    if not layout.is_run_name(name):
        raise RecordFault(
            f"The run in {run.folder} has no name that could be a file's."
        )
    return name


def _write_run_descriptor(run: Run, copy: Path, data: bytes, secrets: Secrets) -> None:
    content = unnamed_descriptor(run.descriptor, secrets)
    facts = content["gramwatt"]
    facts = dict(facts) if isinstance(facts, dict) else {}
    first = run.descriptor["resources"]
    sealed = first[0].get("hash") if isinstance(first, list) else None
    content["gramwatt"] = facts | {"sealed_hash": sealed}
    content["resources"] = [
        {
            "name": "wire-log",
            "path": layout.LOG,
            "mediatype": layout.media_type(layout.LOG),
            "title": "Every byte on the wire and every decision, with its time",
            "bytes": len(data),
            "hash": folders.hash_of_bytes(data),
        }
    ]
    folders.write_descriptor(copy, content)


def _files_of(copy: Path, wishes: Wishes) -> tuple[Entry, dict[str, bytes]]:
    """What a bundle holds of one run, by file name."""
    results = derive(copy)
    entry = entry_of(results)
    if wishes.tables_only:
        _leave_lines_out(results)
        entry = entry.model_copy(update={"evidence": as_tables_only(entry.evidence)})
    files = {
        path.name: path.read_bytes()
        for path in sorted(results.folder.iterdir())
        if path.name != folders.DESCRIPTOR
    }
    if wishes.tables_only:
        files = {n: each for n, each in files.items() if not n.startswith("samples-")}
    else:
        files[layout.LOG] = (copy / layout.LOG).read_bytes()
        files[folders.DESCRIPTOR] = (copy / folders.DESCRIPTOR).read_bytes()
    files[layout.ENTRY] = _json_bytes(entry.to_dict())
    if results.article is not None:
        files[layout.ARTICLE] = article_text(results.article).encode()
    return entry, files


def _leave_lines_out(results: Results) -> None:
    """Have the page name how many lines were not used, and quote none of them."""
    from ui.report.page import write_report

    run = results.run
    if run.not_taken:
        quiet = replace(run, not_taken=run.not_taken.partition(":")[0] + ".")
        write_report(replace(results, run=quiet), results.report)


# ------------------------------------------------------------------ the whole


def _descriptor(
    files: Mapping[str, bytes], entries: Sequence[Entry], wishes: Wishes
) -> bytes:
    articles = len({entry.article.name for entry in entries})
    content: dict[str, object] = {
        "$schema": folders.PROFILE,
        "name": f"gramwatt-bundle-{layout.resource_name(entries[0].run)}",
        "title": f"{_counted(len(entries), 'run')} of {_counted(articles, 'article')}",
        "created": max(entry.utc for entry in entries),
        "gramwatt": {
            "kind": layout.KIND,
            "format": layout.FORMAT,
            "version": version("gramwatt"),
            "simulated": any(entry.evidence.simulated for entry in entries),
            "wire_logs": not wishes.tables_only,
            "runs": [entry.run for entry in entries],
        },
        "resources": [_resource(path, data) for path, data in sorted(files.items())],
    }
    if wishes.by:
        content["contributors"] = [{"title": wishes.by}]
    if wishes.licence:
        title, path = LICENCES[wishes.licence]
        content["licenses"] = [{"name": wishes.licence, "title": title, "path": path}]
    return _json_bytes(content)


def _resource(path: str, data: bytes) -> dict[str, object]:
    found: dict[str, object] = {
        "name": layout.resource_name(path),
        "path": path,
        "mediatype": layout.media_type(path),
        "hash": folders.hash_of_bytes(data),
    }
    if not path.endswith(".parquet"):  # one validator refuses sizes of these
        found["bytes"] = len(data)
    return found


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _json_bytes(content: Mapping[str, object]) -> bytes:
    text = json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)
    return (text + "\n").encode()


def zipped(files: Mapping[str, bytes]) -> bytes:
    """A zip file of some files: the same bytes for the same files.

    The descriptor comes first, so that whoever reads the file from its beginning
    knows what comes.
    """
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as bundle:
        for path in _in_order(files):
            info = zipfile.ZipInfo(path, NO_DATE)
            info.external_attr = PLAIN_FILE
            info.create_system = 3  # the same on every system
            packed = not path.endswith(STORED)
            kind = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
            bundle.writestr(info, files[path], kind, LEVEL if packed else None)
    return file.getvalue()


def _in_order(paths: Iterable[str]) -> Iterator[str]:
    first = {layout.DESCRIPTOR: 0, layout.SIGNATURE: 1, layout.README: 2}
    yield from sorted(paths, key=lambda path: (first.get(path, 3), path))

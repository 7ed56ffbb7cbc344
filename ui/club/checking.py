"""A bundle checked before it is trusted: what it says against what its logs say.

Run this in a process of its own (``ui.club.child``): it reads a stranger's bytes. The
file's layout comes first, then the descriptor with the hash of every file, then the
signature, and then each run: its wire log is read again, everything is derived from it
anew, and where the sender's figures differ that is said. Nothing is written but below
the folder given.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from daq.errors import GramwattError, InputFault, WorldFault
from daq.records import folder as folders
from daq.typed_toml import told
from ui.club import layout
from ui.club.archive import Archive
from ui.club.checked import Checked, RunChecked
from ui.club.described import Described
from ui.club.differing import (
    Rows,
    entries_differ,
    files_differ,
    row_differs,
    rows_by_run,
)
from ui.club.entries import entry_of
from ui.club.entry import Entry, read_entry
from ui.club.evidence import as_tables_only
from ui.club.plainly import plainly
from ui.club.signing import signer_of
from ui.club.strict_json import read_object
from ui.results import derive

#: Files of a run that are derived, and are held against what is derived here.
HELD_AGAINST: Final = (
    *("findings.json", "curves.json"),
    *("plateaus.csv", "glides.csv", "bursts.csv"),
)


def check_bundle(path: Path, scratch: Path) -> Checked:
    """Check a bundle.

    Args:
        path: its file.
        scratch: an empty folder; runs with a wire log lie in its ``runs`` afterwards,
            with everything derived from them here.

    Raises:
        InputFault: it is refused; the reason, to follow the bundle's name.
        WorldFault: the folder cannot be written.
        OSError: it cannot be read, or the folder cannot be written.
    """
    with path.open("rb") as file:
        size = os.fstat(file.fileno()).st_size
        archive = Archive(file, size)
        descriptor = archive.read(layout.DESCRIPTOR)
        described = _described(descriptor)
        _check_listed(archive, described)
        hashes = _unpacked(archive, described, scratch)
        signed_by = None
        if layout.SIGNATURE in archive.members:
            signed_by = signer_of(descriptor, archive.read(layout.SIGNATURE))
        facts = described.gramwatt
        rows = None
        if layout.TABLE in archive.members:
            rows = rows_by_run(archive.read(layout.TABLE))
        runs = [
            _raw_run(archive, name, scratch, hashes, rows)
            if facts.wire_logs
            else _told_run(archive, name, rows)
            for name in facts.runs
        ]
        # Of the file that was looked into, whatever its name stands for by now.
        file.seek(0)
        sha256 = "sha256:" + hashlib.file_digest(file, "sha256").hexdigest()
    return Checked(
        format=1,
        sha256=sha256,
        title=plainly(described.title),
        by=plainly(described.by),
        licence=plainly(described.licence),
        made_by=plainly(facts.version),
        signed_by=signed_by,
        runs=tuple(runs),
        notes=_notes(described, runs),
    )


def _described(descriptor: bytes) -> Described:
    """The bundle's descriptor.

    Raises:
        InputFault: it is none of a bundle.
    """
    read_object(descriptor, layout.DESCRIPTOR)  # no key twice, nothing endless
    try:
        return Described.model_validate_json(descriptor)
    except ValidationError as fault:
        raise InputFault(
            told(fault, Described, layout.DESCRIPTOR).rstrip(".")
        ) from None


def _check_listed(archive: Archive, described: Described) -> None:
    """That the descriptor lists every file, once, and no other.

    Raises:
        InputFault: it does not.
    """
    listed = [resource.path for resource in described.resources]
    for path in listed:
        if path not in archive.members:
            raise InputFault(
                f'{layout.DESCRIPTOR} points to "{plainly(path, 80)}", which is not in '
                "the bundle"
            )
    if len(set(listed)) != len(listed):
        raise InputFault(f"{layout.DESCRIPTOR} lists a file twice")
    own = {layout.DESCRIPTOR, layout.SIGNATURE}
    unlisted = sorted(set(archive.members) - set(listed) - own)
    if unlisted or own & set(listed):
        which = unlisted[0] if unlisted else layout.DESCRIPTOR
        raise InputFault(f"{which} has no hash that it could be held against")
    names = {path.split("/")[1] for path in listed if path.count("/") == 2}
    runs = described.gramwatt.runs
    if names != set(runs) or len(set(runs)) != len(runs):
        raise InputFault(f"{layout.DESCRIPTOR} does not name the runs that are in it")


def _unpacked(archive: Archive, described: Described, scratch: Path) -> dict[str, str]:
    """Hashes of all files, which are as stated; runs with a log are unpacked.

    Raises:
        InputFault: a file has not the hash or the size that is stated.
        OSError: it cannot be written.
    """
    found = {}
    for resource in described.resources:
        path, parts = resource.path, resource.path.split("/")
        kept = described.gramwatt.wire_logs and parts[-1] in (
            layout.LOG,
            folders.DESCRIPTOR,
        )
        to = scratch.joinpath(*parts) if kept and len(parts) == 3 else None
        found[path] = archive.hash_of(path, to)
        if found[path] != resource.hash:
            raise InputFault(
                f"{path} in it is not the file that its hash was made of: it was "
                "changed, or damaged on its way"
            )
        if resource.bytes not in (None, archive.members[path].size):
            raise InputFault(f"{path} in it has another size than is stated")
    return found


# ------------------------------------------------------------------ the runs


def _raw_run(
    archive: Archive,
    name: str,
    scratch: Path,
    hashes: Mapping[str, str],
    rows: Rows | None,
) -> RunChecked:
    """A run with its wire log: everything derived from it here.

    Raises:
        InputFault: it is no run, or says something else than its log.
    """
    at = f"{layout.RUNS}/{name}"
    for needed in (layout.LOG, folders.DESCRIPTOR):
        if f"{at}/{needed}" not in archive.members:
            raise InputFault(f"{name} has no {needed}")
    _check_run_descriptor(archive.read(f"{at}/{folders.DESCRIPTOR}"), name)
    own = _derived(scratch / layout.RUNS / name, name)
    sent = _sent(archive, at)
    derived = next((scratch / layout.RUNS / name / folders.DERIVED).iterdir())
    differences = [] if sent is None else entries_differ(sent, own)
    for file in HELD_AGAINST:
        if f"{at}/{file}" not in archive.members:
            continue
        theirs = archive.read(f"{at}/{file}")
        if (derived / file).is_file():
            differences += files_differ(file, theirs, (derived / file).read_bytes())
        else:
            differences.append(f"The sender has a {file}, and nothing here gives one.")
    if rows is not None:
        differences += row_differs(rows, own)
    return RunChecked(
        entry=own,
        differences=tuple(differences),
        rederived=True,
        log_hash=hashes[f"{at}/{layout.LOG}"],
    )


def _check_run_descriptor(data: bytes, name: str) -> None:
    """That a run's descriptor speaks of its wire log and of nothing else.

    Raises:
        InputFault: it does not.
    """
    content = read_object(data, f"the descriptor of {name}")
    resources = content.get("resources")
    paths = [
        each.get("path") if isinstance(each, dict) else None
        for each in (resources if isinstance(resources, list) else [])
    ]
    if paths != [layout.LOG]:
        raise InputFault(
            f"the descriptor of {name} points to something else than its {layout.LOG}"
        )
    if content.get("name") != name:
        raise InputFault(f"the descriptor of {name} is that of another run")
    if not folders.is_sealed(content):
        raise InputFault(f"the run {name} was never sealed")


def _derived(folder: Path, name: str) -> Entry:
    """What a run's wire log says, by this gramwatt; everything derived is written.

    Raises:
        InputFault: it says nothing, or cannot be read.
        WorldFault: what is derived cannot be written.
    """
    try:
        results = derive(folder)
        if results.run.intact is not True:
            raise InputFault("its wire log was changed after the seal")
        return entry_of(results)
    except WorldFault:
        raise  # a full disk here says nothing about the bundle
    except GramwattError as fault:
        words = str(fault).replace(f"{folder}/", "its ").replace(str(folder), "it")
        raise InputFault(f"{name}: {plainly(words, 600).rstrip('.')}") from None


def _sent(archive: Archive, at: str) -> Entry | None:
    """The sender's figures; None where there are none to be held against."""
    path = f"{at}/{layout.ENTRY}"
    if path not in archive.members:
        return None
    data = archive.read(path)
    read_object(data, path)
    return read_entry(data, path)


def _told_run(archive: Archive, name: str, rows: Rows | None) -> RunChecked:
    """A run without its wire log: the sender's word, in so many words.

    Raises:
        InputFault: it is not even that.
    """
    at = f"{layout.RUNS}/{name}"
    for raw in (layout.LOG, folders.DESCRIPTOR):
        if f"{at}/{raw}" in archive.members:
            raise InputFault(f"it says that it has no wire logs, and {name} has one")
    sent = _sent(archive, at)
    if sent is None:
        raise InputFault(f"{name} has neither a wire log nor an {layout.ENTRY}")
    if sent.run != name:
        raise InputFault(f"the {layout.ENTRY} of {name} is that of another run")
    told_only = sent.model_copy(update={"evidence": as_tables_only(sent.evidence)})
    differences = [] if rows is None else row_differs(rows, told_only)
    return RunChecked(entry=told_only, differences=tuple(differences), rederived=False)


def _notes(described: Described, runs: Sequence[RunChecked]) -> tuple[str, ...]:
    from importlib.metadata import version

    notes = []
    if not described.gramwatt.wire_logs:
        notes.append(
            "It has no wire logs: nothing could be derived again, and its figures are "
            "the sender's word."
        )
    ours = version("gramwatt")
    if described.gramwatt.version != ours and any(run.differences for run in runs):
        made_by = plainly(described.gramwatt.version, 40)
        notes.append(
            f"It was packed by gramwatt {made_by}, and this is {ours}: another version "
            "may compute other figures from the same log."
        )
    return tuple(notes)


def as_json(checked: Checked) -> dict[str, Any]:
    """What was found as plain values."""
    return checked.model_dump(mode="json", exclude_none=True)

"""Runs taken out of a checked bundle, into a folder of the person's choice.

Only what was asked for goes there: the wire log as it was checked, its descriptor, and
what was derived from it here; nothing that the sender derived. Nothing that is there
already is touched.
"""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from daq.errors import InputFault, WorldFault
from daq.records import folder as folders
from ui.club import layout
from ui.club.checked import Checked


@dataclass(frozen=True, slots=True)
class Taken:
    """What was taken.

    Attributes:
        runs: their folders.
        left: why a run was not taken, a sentence each.
    """

    runs: tuple[Path, ...]
    left: tuple[str, ...]


def take_runs(
    checked: Checked, scratch: Path, out: Path, only: Sequence[str] = ()
) -> Taken:
    """Put runs of a bundle among a person's.

    Args:
        checked: what the check found.
        scratch: where the check left them.
        out: the folder that gets them.
        only: names of runs; none for all.

    Raises:
        InputFault: there is no run of a name, or nothing that could be taken.
        WorldFault: it cannot be written.
    """
    names = [run.entry.run for run in checked.runs]
    for name in only:
        if name not in names:
            raise InputFault(
                f"there is no run {name} in it; it has {', '.join(names)}."
            )
    taken, left = [], []
    for run in checked.runs:
        name = run.entry.run
        if only and name not in only:
            continue
        if run.log_hash is None:
            left.append(
                f"{name} has no wire log, so nothing of it can be a run of yours; the "
                "club's site shows its figures."
            )
        elif (out / name).exists():
            left.append(
                f"{name} is in {out} already, and stays as it is. If that is another "
                "run of the same name, take this one into another folder with --out."
            )
        else:
            taken.append(_take(scratch / layout.RUNS / name, out / name, run.log_hash))
    return Taken(tuple(taken), tuple(left))


def _take(source: Path, to: Path, log_hash: str) -> Path:
    """One run, whole or not at all.

    Raises:
        InputFault: it is not the one that was checked.
        WorldFault: it cannot be written.
    """
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(prefix=".taken-", dir=to.parent) as new:
            fresh = Path(new) / to.name
            fresh.mkdir()
            for name in (layout.LOG, folders.DESCRIPTOR):
                shutil.copyfile(source / name, fresh / name, follow_symlinks=False)
            if folders.hash_of(fresh / layout.LOG) != log_hash:
                raise InputFault(f"{to.name} is not the run that was checked.")
            shutil.copytree(
                source / folders.DERIVED, fresh / folders.DERIVED, symlinks=True
            )
            fresh.rename(to)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{to} cannot be written: {why}.") from None
    return to

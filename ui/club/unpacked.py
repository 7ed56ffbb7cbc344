"""Runs wherever they lie: in folders, and in bundles that are checked for the purpose.

For who holds runs against each other and has bundles of some: each bundle is checked,
its runs lie in a folder that is gone afterwards, and a run that came twice counts once.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from daq.errors import GramwattError, InputFault
from daq.records import folder as folders
from daq.records.wirelog import NAME
from ui.club import layout
from ui.club.inspecting import Inspector, scratch_folder
from ui.club.looking import ENDING, bundles_in


@dataclass(frozen=True, slots=True)
class Unpacked:
    """Runs that can be read.

    Attributes:
        runs: their folders, each run once.
        left: what is not among them and why, a sentence each.
    """

    runs: tuple[Path, ...]
    left: tuple[str, ...]


@contextmanager
def unpacked(paths: Sequence[Path]) -> Iterator[Unpacked]:
    """All runs that some paths name, for as long as this lasts.

    Args:
        paths: run folders, bundles, and folders with either in them.

    Raises:
        InputFault: one is neither.
        WorldFault: something cannot be read, or there is no room.
    """
    found: list[Path] = []
    bundles: list[Path] = []
    for path in paths:
        of_runs, of_bundles = _under(path)
        found += of_runs
        bundles += of_bundles
    left: list[str] = []
    with scratch_folder() as scratch, Inspector() as inspector:
        for number, bundle in enumerate(bundles):
            runs, why = _of_bundle(inspector, bundle, scratch / str(number))
            found += runs
            left += why
        yield Unpacked(tuple(_each_once(found)), tuple(left))


def _under(path: Path) -> tuple[list[Path], list[Path]]:
    """Runs and bundles that a path names.

    Raises:
        InputFault: there is neither.
    """
    if (path / NAME).is_file():
        return [path], []
    if path.suffix == ENDING and path.is_file():
        return [], [path]
    if not path.is_dir():
        raise InputFault(
            f"{path}: there is no such folder or bundle; name runs, bundles, or "
            "folders with them."
        )
    runs = sorted(log.parent for log in path.rglob(NAME) if log.is_file())
    bundles = bundles_in(path)
    if not runs and not bundles:
        raise InputFault(f"{path} is no run and has neither runs nor bundles in it.")
    return runs, bundles


def _of_bundle(
    inspector: Inspector, bundle: Path, scratch: Path
) -> tuple[list[Path], list[str]]:
    scratch.mkdir()
    try:
        checked = inspector.inspect(bundle, scratch)
    except GramwattError as fault:  # one that is refused or given up stops no other
        return [], [str(fault)]
    runs = [
        scratch / layout.RUNS / run.entry.run
        for run in checked.runs
        if run.log_hash is not None
    ]
    if runs:
        return runs, []
    return [], [f"{bundle.name} has no wire logs, so its runs cannot be read again."]


def _each_once(runs: Sequence[Path]) -> Iterator[Path]:
    """Runs by the names that they were made with; the first of a name stays."""
    seen: set[str] = set()
    for run in runs:
        name = str(folders.read_descriptor(run).get("name"))
        if name not in seen:
            seen.add(name)
            yield run

"""Where a person's calibrations are kept, and the short checks that belong to them.

Files by identity in the platform's data folder: a calibration is written whole, once,
and never changed; checks are added line by line beside it. What they say is not
understood here. Standard library only.
"""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

from daq.errors import InputFault, WorldFault
from daq.fresh_file import write_fresh
from daq.places import data_folder

CALIBRATIONS: Final = "calibrations"
UNFINISHED: Final = "unfinished"
CHECKS: Final = ".checks.jsonl"
MOST_BYTES: Final = 1_000_000


def folder() -> Path:
    """Where calibrations are."""
    return data_folder() / CALIBRATIONS


def keep(identity: str, text: str) -> Path:
    """Keep a calibration.

    Returns:
        Its file; one that is there already under that identity is the same one.

    Raises:
        WorldFault: it cannot be written.
    """
    path = folder() / f"{_plain(identity)}.json"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{path.parent} cannot be made: {why}.") from None
    if not path.exists():
        write_fresh(path, text.encode("utf-8"))
    return path


def keep_unfinished(channel: str, text: str) -> Path:
    """Keep what a calibration had read that was left before its end.

    Returns:
        Its file; what was kept of that channel before is replaced.

    Raises:
        WorldFault: it cannot be written.
    """
    path = data_folder() / UNFINISHED / f"{_plain(channel)}.json"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(path)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{path} cannot be written: {why}.") from None
    return path


def kept() -> Iterator[tuple[Path, str]]:
    """Every calibration that is kept, by file name; unreadable ones are left out."""
    for path in sorted(folder().glob("*.json")):
        try:
            with path.open("rb") as file:
                text = file.read(MOST_BYTES).decode("utf-8")
        except (OSError, UnicodeDecodeError):
            continue
        yield path, text


def add_check(identity: str, check: Mapping[str, object]) -> None:
    """Add a short check to a calibration.

    Raises:
        WorldFault: it cannot be written.
    """
    path = folder() / f"{_plain(identity)}{CHECKS}"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(check) + "\n")
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{path} cannot be written: {why}.") from None


def checks(identity: str) -> list[dict[str, object]]:
    """The short checks of a calibration, oldest first; what is no check is left out."""
    path = folder() / f"{_plain(identity)}{CHECKS}"
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return []
    found = []
    for line in lines:
        try:
            check = json.loads(line)
        except (ValueError, RecursionError):
            continue
        if isinstance(check, dict):
            found.append(check)
    return found


def _plain(identity: str) -> str:
    """An identity that can be part of a path and of no other folder.

    Raises:
        InputFault: it is none.
    """
    if not identity or not all(c.isalnum() or c in "-_" for c in identity):
        raise InputFault(f'"{identity[:40]}" is no identity of a calibration.')
    return identity

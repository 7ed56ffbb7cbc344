"""A folder of bundles as the club's site takes it: what may be shown, what was refused.

The one place where the site meets bundles. Nothing of a bundle that is refused gets
any further than its name and the reason.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from daq.errors import InputFault, WorldFault
from ui.club.entry import MOST_BYTES, read_entry
from ui.club.site.shared import Refused, Shared

if TYPE_CHECKING:
    from collections.abc import Iterator

#: The file of a bundle that holds its entries, and how large it may be.
ENTRIES: Final = "shared.json"
MOST_ENTRIES: Final = 200


def shared_in(folder: Path) -> tuple[list[Shared], list[Refused]]:
    """Every bundle of a folder and of those below it: runs, and what was refused.

    Args:
        folder: with bundles; links are not followed.

    Raises:
        InputFault: there is no such folder.
        WorldFault: it cannot be read.
    """
    if not folder.is_dir():
        raise InputFault(f"There is no folder {folder}.")
    shared: list[Shared] = []
    refused: list[Refused] = []
    try:
        for path in sorted(folder.rglob("*.zip")):
            if path.is_file() and not path.is_symlink():
                name = path.relative_to(folder).as_posix()
                try:
                    shared += _entries(path, name)
                except InputFault as fault:
                    refused.append(Refused(name, str(fault)))
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{folder} cannot be read: {why}.") from None
    return shared, refused


def _entries(path: Path, name: str) -> Iterator[Shared]:
    """The runs of a bundle, all of them or none.

    Raises:
        InputFault: something in it is not as it must be.
    """
    content = _content(path)
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    runs = content.get("runs")
    if not isinstance(runs, list) or not 0 < len(runs) <= MOST_ENTRIES:
        raise InputFault(f"Its {ENTRIES} lists no runs, or too many.")
    found = [
        Shared(
            entry=read_entry(json.dumps(run).encode(), f"Run {number} of it"),
            bundle=name,
            bundle_sha256=sha256,
            licence=_text(content, "licence"),
            by=_text(content, "by"),
            checked=("Only figures came: nothing could be re-derived.",),
        )
        for number, run in enumerate(runs, 1)
    ]
    return iter(found)


def _content(path: Path) -> dict[str, Any]:
    try:
        with zipfile.ZipFile(path) as bundle:
            if bundle.getinfo(ENTRIES).file_size > MOST_ENTRIES * MOST_BYTES:
                raise InputFault(f"Its {ENTRIES} is larger than one can be.")
            content = json.loads(bundle.read(ENTRIES))
    except zipfile.BadZipFile:
        raise InputFault("It is no zip file that can be read.") from None
    except KeyError:
        raise InputFault(f"It holds no {ENTRIES}.") from None
    except ValueError:
        raise InputFault(f"Its {ENTRIES} is no JSON.") from None
    if not isinstance(content, dict):
        raise InputFault(f"Its {ENTRIES} is no table.")
    return content


def _text(content: dict[str, Any], key: str) -> str:
    """A short text of the sender's; empty where there is none."""
    value = content.get(key, "")
    if not isinstance(value, str) or len(value) > 120:
        raise InputFault(f"Its {key} is no text of 120 signs at most.")
    return value

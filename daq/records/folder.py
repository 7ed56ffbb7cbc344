"""A run's folder: made before the first byte, sealed after the last.

``datapackage.json`` is a valid Data Package (v2) descriptor from before the
first byte; at the seal it gains the wire log's hash and the outcome. It keeps the
log's header a second time, without which the log would say little. Sealed means
that ``wire.log`` and its hash never change again; only ``derived/`` may grow.
Standard library only: the keeper writes this.

Source: Data Package standard, version 2.0 (datapackage.org).
"""

import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path

from daq.errors import RecordFault, WorldFault
from daq.records import wirelog

DESCRIPTOR = "datapackage.json"
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
DERIVED = "derived"


def folder_name(utc: str, protocol: str, tag: str) -> str:
    """Name of a new run's folder.

    Args:
        utc: ISO 8601 time, to the minute or finer.
        protocol: short name of the protocol.
        tag: a few characters that tell two runs of one minute apart.
    """
    stamp = utc[:16].replace(":", "")
    return f"{stamp}-{protocol}-{tag}"


def create(parent: Path, name: str, header: Mapping[str, object]) -> Path:
    """Make the folder of a run and its descriptor.

    Raises:
        WorldFault: it cannot be made there.
    """
    folder = parent / name
    made = False
    try:
        folder.mkdir(parents=True)
        made = True
        write_descriptor(folder, descriptor(name, header))
    except FileExistsError:
        raise WorldFault(f"The run folder {folder} is there already.") from None
    except OSError as fault:
        if made:
            _take_back(folder)
        why = fault.strerror or str(fault)
        raise WorldFault(
            f"The run folder {folder} cannot be made: {why}. Choose another place "
            "with --out."
        ) from None
    return folder


def _take_back(folder: Path) -> None:
    """Leave no folder behind that is no run; what cannot be removed stays."""
    try:
        folder.rmdir()
    except OSError:
        pass  # the person is told why it could not be made, which matters more


def descriptor(name: str, header: Mapping[str, object]) -> dict[str, object]:
    """The Data Package descriptor of a run that has just begun."""
    return {
        "$schema": PROFILE,
        "name": name.lower(),
        "title": f"gramwatt run {name}",
        "created": header.get("utc"),
        "gramwatt": {
            "sealed": False,
            "simulated": header.get("simulated"),
            "format": header.get("format"),
            "header": dict(header),
        },
        "resources": [
            {
                "name": "wire-log",
                "path": wirelog.NAME,
                "mediatype": "application/octet-stream",
                "title": "Every byte on the wire and every decision, with its time",
            }
        ],
    }


def write_descriptor(folder: Path, content: Mapping[str, object]) -> None:
    """Replace the descriptor in one step: never half of one, at no moment.

    Text that is no Unicode is escaped, as in the wire log.

    Raises:
        OSError: it could not be written.
    """
    fresh = folder / (DESCRIPTOR + ".new")
    text = json.dumps(content, indent=2, ensure_ascii=False) + "\n"
    try:
        with fresh.open("wb") as file:
            file.write(text.encode("utf-8", "backslashreplace"))
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(folder / DESCRIPTOR)
    except OSError:
        _remove(fresh)
        raise


def _remove(file: Path) -> None:
    """No half of a descriptor lies about; what cannot be removed stays."""
    try:
        file.unlink(missing_ok=True)
    except OSError:
        pass  # its name says that it is none


def read_descriptor(folder: Path) -> dict[str, object]:
    """The descriptor of a run's folder.

    Raises:
        RecordFault: there is none, or it is damaged.
    """
    path = folder / DESCRIPTOR
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise RecordFault(
            f"{folder} is not a run folder: it has no {DESCRIPTOR}."
        ) from None
    except (OSError, ValueError) as fault:
        raise RecordFault(f"{path} cannot be read: {fault}.") from None
    if not isinstance(content, dict) or not isinstance(content.get("resources"), list):
        raise RecordFault(f"{path} is not a Data Package descriptor.")
    return content


def hash_of(path: Path) -> str:
    """SHA-256 of a file, as Data Package writes it.

    Raises:
        OSError: it cannot be read.
    """
    with path.open("rb") as file:
        return "sha256:" + hashlib.file_digest(file, "sha256").hexdigest()


def hash_of_bytes(data: bytes) -> str:
    """The same of a file's content that was read already."""
    return "sha256:" + hashlib.sha256(data).hexdigest()


def seal(
    folder: Path, outcome: Mapping[str, object], *, simulated: bool = False
) -> None:
    """Fix the wire log's hash and how the run ended in the descriptor.

    Args:
        folder: the run's folder.
        outcome: how it ended.
        simulated: whether the stand said that it is one; never takes back what
            the descriptor says already.

    Raises:
        RecordFault: the folder is no run, or sealed already.
        OSError: it could not be read or written.
    """
    content = read_descriptor(folder)
    facts = content.get("gramwatt")
    facts = dict(facts) if isinstance(facts, dict) else {}
    if facts.get("sealed"):
        raise RecordFault(f"{folder} is sealed already.")
    log = folder / wirelog.NAME
    resources = content["resources"]
    if not isinstance(resources, list) or not isinstance(resources[0], dict):
        raise RecordFault(f"{folder / DESCRIPTOR} does not name its wire log.")
    resources[0] |= {"bytes": log.stat().st_size, "hash": hash_of(log)}
    facts["simulated"] = simulated or facts.get("simulated") is True
    content["gramwatt"] = facts | {"sealed": True, "outcome": dict(outcome)}
    write_descriptor(folder, content)


def is_sealed(content: Mapping[str, object]) -> bool:
    """Whether a descriptor says that its run is sealed."""
    facts = content.get("gramwatt")
    return isinstance(facts, dict) and facts.get("sealed") is True

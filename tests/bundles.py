"""Bundles for tests: made of a sample run, taken apart, changed and put together again.

Whoever changes something here may also set the hashes right, as somebody would who
wants a bundle to be believed.
"""

import io
import json
import tempfile
import zipfile
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

from daq.records import wirelog
from daq.records.folder import hash_of_bytes
from daq.records.wirelog import Kind, Reader, Record, pack, to_json
from ui.club import layout
from ui.club.packing import Wishes, pack_runs, zipped

SAMPLES = Path(__file__).parents[1] / "sample_runs"
Files = dict[str, bytes]


@lru_cache(maxsize=8)
def _packed(names: tuple[str, ...], tables_only: bool) -> bytes:
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "packed.zip"
        wishes = Wishes(by="bench 2", licence="CC0-1.0", tables_only=tables_only)
        pack_runs([SAMPLES / name for name in names], path, wishes)
        return path.read_bytes()


def packed(*names: str, tables_only: bool = False) -> Files:
    """The files of a bundle of some sample runs, fresh."""
    return files_of(_packed(names or ("short-staircase-a",), tables_only))


def files_of(data: bytes) -> Files:
    """The files of a bundle."""
    with zipfile.ZipFile(io.BytesIO(data)) as bundle:
        return {name: bundle.read(name) for name in bundle.namelist()}


def run_of(files: Files) -> str:
    """The folder of its first run."""
    return min(path for path in files if path.startswith("runs/")).rpartition("/")[0]


def descriptor_of(files: Files) -> dict[str, Any]:
    """Its descriptor, to be changed."""
    return dict(json.loads(files[layout.DESCRIPTOR]))


def described(files: Files, change: Callable[[dict[str, Any]], None]) -> Files:
    """The same with another descriptor."""
    content = descriptor_of(files)
    change(content)
    return files | {layout.DESCRIPTOR: json.dumps(content).encode()}


def set_right(files: Files) -> Files:
    """The same with every file listed, hashes and sizes as they are now."""

    def listed(content: dict[str, Any]) -> None:
        content["resources"] = [
            {
                "name": layout.resource_name(path),
                "path": path,
                "hash": hash_of_bytes(data),
            }
            for path, data in sorted(files.items())
            if path not in (layout.DESCRIPTOR, layout.SIGNATURE)
        ]

    return described(files, listed)


def with_log(files: Files, data: bytes) -> Files:
    """The same with another wire log, sealed as it is."""
    at = run_of(files)
    run = json.loads(files[f"{at}/datapackage.json"])
    run["resources"][0] |= {"hash": hash_of_bytes(data), "bytes": len(data)}
    changed = {
        f"{at}/wire.log": data,
        f"{at}/datapackage.json": json.dumps(run).encode(),
    }
    return set_right(files | changed)


def with_header(files: Files, change: Callable[[dict[str, Any]], None]) -> Files:
    """The same with another header in its wire log and its run's descriptor."""
    at = run_of(files)
    out = [wirelog.MAGIC]
    header: dict[str, Any] = {}
    for record in Reader(files[f"{at}/wire.log"]).records():
        if record.kind is Kind.HEADER:
            header = dict(record.json())
            change(header)
            out.append(pack(Record(record.kind, record.time_ns, to_json(header))))
        else:
            out.append(pack(record))
    changed = with_log(files, b"".join(out))
    run = json.loads(changed[f"{at}/datapackage.json"])
    run["gramwatt"]["header"] = header
    named = {f"{at}/datapackage.json": json.dumps(run).encode()}
    return set_right(changed | named)


def with_entry(files: Files, change: Callable[[dict[str, Any]], None]) -> Files:
    """The same with another entry of its first run."""
    path = f"{run_of(files)}/entry.json"
    entry = json.loads(files[path])
    change(entry)
    return set_right(files | {path: json.dumps(entry).encode()})


def together(files: Files) -> bytes:
    """The zip file of some files, as gramwatt makes it."""
    return zipped(files)

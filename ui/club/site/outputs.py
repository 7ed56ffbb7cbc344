"""Files of the site, written only where something changed.

A manifest beside the pages says what each file was made of. What was made of the same
is not made again; what is no longer wanted is removed, and nothing else is ever
removed: a folder with files that this did not write is refused.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

from daq.errors import InputFault, WorldFault
from daq.records.folder import hash_of

MANIFEST: Final = "made.json"
FORMAT: Final = 1


@dataclass(frozen=True, slots=True)
class Output:
    """One file of the site.

    Attributes:
        path: inside the site, with forward slashes.
        made_of: digest of everything that it is made of.
        make: its content, or the file that it is a copy of.
        sha256: what the copy has to have, in hexadecimal; "" for anything.
    """

    path: str
    made_of: str
    make: Callable[[], bytes] | Path
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Written:
    """What was done: files written anew, left as they were, and removed."""

    written: int
    left: int
    removed: int


def digest(*parts: bytes | str) -> str:
    """Of parts in their order, each with its length."""
    found = hashlib.sha256()
    for part in parts:
        data = part.encode() if isinstance(part, str) else part
        found.update(len(data).to_bytes(8, "little"))
        found.update(data)
    return found.hexdigest()


def write_all(out: Path, outputs: Iterable[Output]) -> Written:
    """Write what changed, and remove what is no longer wanted.

    Raises:
        InputFault: the folder holds files that this did not write.
        WorldFault: it cannot be written.
    """
    before = _manifest(out)
    wanted = list(outputs)
    now = {output.path: output.made_of for output in wanted}
    written = 0
    try:
        out.mkdir(parents=True, exist_ok=True)
        # Whoever is ended halfway finds its own files again.
        _put(out / MANIFEST, _as_json(dict.fromkeys(now, "") | before))
        made = {""}
        for output in wanted:
            target = out / output.path
            if before.get(output.path) == output.made_of and target.is_file():
                continue
            folder = output.path.rpartition("/")[0]
            if folder not in made:
                target.parent.mkdir(parents=True, exist_ok=True)
                made.add(folder)
            written += _written(target, output)
        removed = _remove(out, sorted(set(before) - set(now)))
        _put(out / MANIFEST, _as_json(now))
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"The site in {out} cannot be written: {why}.") from None
    return Written(written, len(now) - written, removed)


def _written(target: Path, output: Output) -> bool:
    """Write a file unless it is there as it should be; whether it was written.

    Raises:
        WorldFault: it is a copy of a file that is another one by now.
    """
    if not isinstance(output.make, Path):
        return _put(target, output.make())
    scratch = target.with_name(f"{target.name}.part")
    shutil.copyfile(output.make, scratch)
    if output.sha256 and hash_of(scratch) != f"sha256:{output.sha256}":
        scratch.unlink()
        raise WorldFault(f"{output.make} changed meanwhile: build the site again.")
    scratch.replace(target)
    return True


def _put(target: Path, content: bytes) -> bool:
    if target.is_file() and target.read_bytes() == content:
        return False
    scratch = target.with_name(f"{target.name}.part")
    scratch.write_bytes(content)
    scratch.replace(target)
    return True


def _as_json(now: dict[str, str]) -> bytes:
    content = {"format": FORMAT, "made_by": "gramwatt club build", "files": now}
    return json.dumps(content, indent=0, sort_keys=True).encode() + b"\n"


def _manifest(out: Path) -> dict[str, str]:
    """What was written before; empty where there is nothing yet."""
    if not out.exists():
        return {}
    if not out.is_dir():
        raise InputFault(f"{out} is a file: give a folder for the site.")
    path = out / MANIFEST
    if not path.is_file():
        if any(out.iterdir()):
            raise InputFault(
                f"{out} holds files that are no site of gramwatt's: give another "
                "folder, or empty this one."
            )
        return {}
    files = _read(path)
    if files is None:
        raise InputFault(
            f"{path} cannot be read as the list of what was made: remove the folder "
            f"{out}, it can be made again."
        )
    return files


def _read(path: Path) -> dict[str, str] | None:
    try:
        content = json.loads(path.read_bytes())
        files = content["files"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    if not isinstance(files, dict):
        return None
    return {
        name: made_of
        for name, made_of in files.items()
        if isinstance(made_of, str) and _inside(name)
    }


def _inside(name: str) -> bool:
    """Whether a path of the manifest stays inside the site, whoever wrote it."""
    path = PurePosixPath(name)
    plain = name and not path.is_absolute() and "\\" not in name
    return bool(plain) and ".." not in path.parts and ":" not in path.parts[0]


def _remove(out: Path, names: list[str]) -> int:
    removed = 0
    for name in names:
        target = out / name
        if target.is_file() and target.resolve().is_relative_to(out.resolve()):
            target.unlink()
            removed += 1
    return removed

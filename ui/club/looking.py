"""A folder of bundles looked through, each once: what was found is kept.

Kept in the person's own data folder under the hash of the bundle and the version of
gramwatt, never beside the bundles: a folder that came from others could bring findings
along. A bundle is the same as before if size, times and place are; else it is hashed,
and only looked into if that hash was never looked into.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from daq.errors import GramwattError, InputFault, WorldFault
from daq.places import data_folder
from daq.records import folder as folders
from ui.club import layout
from ui.club.checked import Checked, read_checked
from ui.club.inspecting import Inspector, Refusal, scratch_folder

KEPT: Final = "checked"
INDEX: Final = "places.json"
FOUND: Final = "found.json"
REFUSED: Final = "refused.txt"
ENDING: Final = ".zip"
#: Children at once; each takes a core.
AT_ONCE: Final = 2
#: A folder with more files than this is none of bundles.
MOST_BUNDLES: Final = 50_000

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Looked:
    """One bundle that was looked into.

    Attributes:
        path: its file.
        sha256: of it, 64 digits; "" where it could not be read.
        checked: what was found; None where it is refused.
        refused: why, a sentence without its name; "" where it is not.
        reports: pages of its runs that were made here, by the run's name.
    """

    path: Path
    sha256: str
    checked: Checked | None
    refused: str = ""
    reports: Mapping[str, Path] | None = None


def quiet(done: int, of: int) -> None:
    """Tell nobody."""
    del done, of


def look_through(folder: Path, progress: Progress = quiet) -> list[Looked]:
    """Every bundle of a folder, by name; what was looked into before is taken as kept.

    Args:
        folder: with bundles, and what is in folders below it.
        progress: is told how many are done, and of how many; by any thread, one at
            a time.

    Raises:
        InputFault: there is no such folder.
        WorldFault: it cannot be read, or what was found cannot be kept.
    """
    paths = bundles_in(folder)
    _forget_other_versions()
    places = _Places()
    done, counting = 0, threading.Lock()

    def one(inspector: Inspector, path: Path) -> Looked:
        nonlocal done
        found = _looked(inspector, path, places)
        with counting:
            done += 1
            progress(done, len(paths))
        return found

    shares = [paths[first::AT_ONCE] for first in range(AT_ONCE)]
    with ThreadPoolExecutor(AT_ONCE) as pool:
        halves = list(pool.map(lambda share: _share(share, one), shares))
    places.keep()
    found = {looked.path: looked for half in halves for looked in half}
    return [found[path] for path in paths]


def bundles_in(folder: Path) -> list[Path]:
    """The bundles of a folder and of those below it, by path; no link is followed.

    Raises:
        InputFault: there is no such folder, or far too much in it.
        WorldFault: it cannot be read.
    """
    if not folder.is_dir():
        raise InputFault(f"there is no folder {folder}.")
    try:
        paths = sorted(
            path
            for path in folder.rglob(f"*{ENDING}")
            if path.is_file() and not path.is_symlink()
        )
    except OSError as fault:
        raise WorldFault(f"{folder} cannot be read: {fault.strerror}.") from None
    if len(paths) > MOST_BUNDLES:
        raise InputFault(f"{folder} holds {len(paths)} zip files: is it the right one?")
    return paths


def _share(
    paths: Sequence[Path], one: Callable[[Inspector, Path], Looked]
) -> list[Looked]:
    with Inspector() as inspector:
        return [one(inspector, path) for path in paths]


def _looked(inspector: Inspector, path: Path, places: _Places) -> Looked:
    try:
        sha256 = places.hash_of(path)
    except OSError as fault:
        why = fault.strerror or str(fault)
        return Looked(path, "", None, f"It cannot be read: {why}.")
    kept = _kept(path, sha256)
    return kept if kept is not None else _look(inspector, path, sha256)


def _home(sha256: str) -> Path:
    return data_folder() / KEPT / version("gramwatt") / sha256


def _kept(path: Path, sha256: str) -> Looked | None:
    """What was found before; None where it was never looked into."""
    home = _home(sha256)
    try:
        checked = read_checked((home / FOUND).read_bytes())
    except (OSError, InputFault):
        try:
            words = (home / REFUSED).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            return None
        return Looked(path, sha256, None, words)
    return Looked(path, sha256, checked, "", _reports(home, checked))


def _reports(home: Path, checked: Checked) -> dict[str, Path]:
    return {
        run.entry.run: home / f"{run.entry.run}.html"
        for run in checked.runs
        if run.rederived
    }


def _look(inspector: Inspector, path: Path, sha256: str) -> Looked:
    """Look into one, and keep what was found, whole or not at all.

    Raises:
        WorldFault: it cannot be kept.
    """
    home = _home(sha256)
    with scratch_folder() as scratch:
        try:
            checked = inspector.inspect(path, scratch)
        except Refusal as refusal:
            _write(home, {REFUSED: refusal.why.encode()})
            return Looked(path, sha256, None, refusal.why)
        except GramwattError as fault:  # the world's: may be otherwise next time
            return Looked(path, sha256, None, str(fault))
        if checked.sha256 != f"sha256:{sha256}":
            return Looked(path, sha256, None, "It changed meanwhile.")
        files = {FOUND: checked.model_dump_json(exclude_none=True).encode()}
        for run in checked.runs:
            if run.rederived:
                page = _page_of(scratch / layout.RUNS / run.entry.run)
                files[f"{run.entry.run}.html"] = page
    _write(home, files)
    return Looked(path, sha256, checked, "", _reports(home, checked))


def _page_of(run: Path) -> bytes:
    """The page of a run that was derived here."""
    found = sorted((run / folders.DERIVED).glob(f"*/{layout.REPORT}"))
    return found[0].read_bytes() if found else b""


def _write(home: Path, files: Mapping[str, bytes]) -> None:
    """Keep what was found, in one step: the same bundle may lie there twice.

    Raises:
        WorldFault: it cannot be kept.
    """
    try:
        home.parent.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(prefix=".new-", dir=home.parent) as new:
            fresh = Path(new) / "found"
            fresh.mkdir()
            for name, data in files.items():
                (fresh / name).write_bytes(data)
            shutil.rmtree(home, ignore_errors=True)
            _rename(fresh, home)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{home} cannot be written: {why}.") from None


def _rename(fresh: Path, home: Path) -> None:
    """Put a folder in its place, unless somebody else put the same one there.

    Raises:
        OSError: it cannot be put there, and nothing is.
    """
    try:
        fresh.rename(home)
    except OSError:
        if not home.is_dir():
            raise


def _forget_other_versions() -> None:
    """What another version found says nothing any more; what cannot go stays."""
    kept = data_folder() / KEPT
    if (kept / version("gramwatt")).exists():
        return
    for other in kept.iterdir() if kept.is_dir() else ():
        if other.is_dir():
            shutil.rmtree(other, ignore_errors=True)


class _Places:
    """Hashes of files by where they are and when they were changed."""

    def __init__(self) -> None:
        self._path = data_folder() / KEPT / INDEX
        self._known: dict[str, list[object]] = {}
        self._changed = False
        try:
            content = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return  # they are hashed again
        if isinstance(content, dict):
            self._known = content

    def hash_of(self, path: Path) -> str:
        """SHA-256 of a file, by what is known of it where it did not change.

        Raises:
            OSError: it cannot be read.
        """
        stat = path.stat()
        mark = [stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns, stat.st_ino]
        place = str(path.resolve())
        known = self._known.get(place)
        if isinstance(known, list) and known[:-1] == mark and known:
            return str(known[-1])
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        self._known[place] = [*mark, digest]
        self._changed = True
        return digest

    def keep(self) -> None:
        """Keep what is known now.

        Raises:
            WorldFault: it cannot be written.
        """
        if not self._changed:
            return
        fresh = self._path.with_suffix(".new")
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            fresh.write_text(json.dumps(self._known), encoding="utf-8")
            fresh.replace(self._path)
        except OSError as fault:
            why = fault.strerror or str(fault)
            raise WorldFault(f"{self._path} cannot be written: {why}.") from None

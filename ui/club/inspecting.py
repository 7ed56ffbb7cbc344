"""Bundles looked into at arm's length: a child reads them, this one waits so long.

The child gets nothing of the person's (no keys, no shelf) and a folder of its own; if
it dies, hangs or says something strange, the bundle is refused and the next one gets a
new child.
"""

from __future__ import annotations

import json
import os
import queue
import subprocess
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Final

from daq.errors import InputFault, WorldFault
from daq.own_process import command_of
from ui.club import layout
from ui.club.checked import Checked, read_checked
from ui.club.plainly import plainly

#: What every bundle gets, and what each megabyte of it adds: ten times what is needed.
PATIENCE_S: Final = 60.0
PATIENCE_S_PER_MB: Final = 15.0
LONGEST_S: Final = 1_800.0
#: The longest answer: 200 runs with all their findings.
MOST_ANSWER: Final = 40_000_000
#: Variables without which a child finds no Python, no libraries or no room.
_NEEDED: Final = (
    "PATH",
    "PYTHONPATH",
    "PYTHONHOME",
    "VIRTUAL_ENV",
    "LD_LIBRARY_PATH",
    "SYSTEMROOT",
    "TMPDIR",
    "TEMP",
    "TMP",
)
NOT_BACK: Final = (
    "whoever looked into it did not come back: it takes more memory than any bundle "
    "needs, or is made to do harm"
)
_ALONE: Final = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


@dataclass(frozen=True, slots=True)
class Bounds:
    """How long a bundle may take; what it may take besides the child knows.

    Attributes:
        patience_s: whatever its size.
        per_mb_s: for each megabyte of it.
    """

    patience_s: float = PATIENCE_S
    per_mb_s: float = PATIENCE_S_PER_MB

    def of(self, size: int) -> float:
        """For a bundle of so many bytes."""
        return min(LONGEST_S, self.patience_s + self.per_mb_s * size / 1e6)


class Inspector:
    """A child that checks bundles one after another; started when first needed."""

    def __init__(self, bounds: Bounds | None = None) -> None:
        self._bounds = bounds or Bounds()
        self._child: _Child | None = None

    def __enter__(self) -> Inspector:
        """Nothing is started yet."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the child."""
        self.close()

    def close(self) -> None:
        """End the child, if there is one."""
        child, self._child = self._child, None
        if child is not None:
            child.end()

    def inspect(self, bundle: Path, scratch: Path) -> Checked:
        """Check a bundle.

        Args:
            bundle: its file.
            scratch: an empty folder; its runs lie there afterwards.

        Raises:
            Refusal: it is refused; the sentence begins with its name.
            InputFault: it is no file.
            WorldFault: it cannot be read, there is no room, or it was given up: then
                another day may say otherwise.
        """
        size = _size_of(bundle)
        if self._child is None:
            self._child = _Child()
        asked = {"bundle": str(bundle.resolve()), "scratch": str(scratch.resolve())}
        try:
            said = self._child.ask(json.dumps(asked), self._bounds.of(size))
        except _Gone as gone:
            self.close()
            raise WorldFault(f"{_called(bundle)} was given up: {gone}.") from None
        if said.get("spent"):
            self.close()
        if "checked" in said:
            return read_checked(json.dumps(said["checked"]))
        if "failed" in said:
            why = plainly(str(said["failed"]))
            raise WorldFault(f"{bundle} cannot be checked: {why}.")
        raise Refusal(bundle, plainly(str(said.get("refused")), 900))


def _size_of(bundle: Path) -> int:
    """Its size, if it is a file and not too large to be looked at.

    Raises:
        InputFault: it is none.
        WorldFault: nobody knows.
    """
    try:
        if bundle.is_symlink() or not bundle.is_file():
            raise InputFault(
                f"{bundle} is no file: name a bundle, as `gramwatt bundle pack` makes "
                "one."
            )
        size = bundle.stat().st_size
    except OSError as fault:
        raise WorldFault(f"{bundle} cannot be read: {fault.strerror}.") from None
    if size > layout.MOST_PACKED:
        raise Refusal(
            bundle,
            f"it has {size} bytes, and a bundle has at most {layout.MOST_PACKED}",
        )
    return size


def _called(bundle: Path) -> str:
    return plainly(bundle.name, 120)


class Refusal(InputFault):
    """A bundle that is refused.

    Attributes:
        why: the reason alone, a sentence.
    """

    def __init__(self, bundle: Path, why: str) -> None:
        why = why.rstrip(".")
        super().__init__(f"{_called(bundle)} is refused: {why}.")
        # A file that is named at its head keeps its name.
        named = "/" in why.split(" ", 1)[0] or "." in why.split(" ", 1)[0]
        self.why = f"{why if named else why[:1].upper() + why[1:]}."


class _Gone(Exception):
    """The child does not answer, or not as it should."""


class _Child:
    """One child process, with a folder of its own to live in."""

    def __init__(self) -> None:
        self._home = tempfile.TemporaryDirectory(prefix="gramwatt-child-")
        self._process = subprocess.Popen(
            # Neither looked for nor run where the person stands: strangers' files may
            # lie there, and one may be called as a library is.
            command_of("ui.club.child"),
            cwd=self._home.name,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=_environment(self._home.name),
            start_new_session=True,
        )
        # An answer, and the end: who says more is no longer heard.
        self._said: queue.Queue[bytes] = queue.Queue(2)
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def _listen(self) -> None:
        stdout = self._process.stdout
        if stdout is None:
            return
        while True:
            line = stdout.readline(MOST_ANSWER)
            try:
                self._said.put_nowait(line)
            except queue.Full:
                self._process.kill()
                return
            if not line:
                return

    def ask(self, line: str, patience_s: float) -> dict[str, Any]:
        """One question, one answer.

        Raises:
            _Gone: there is none, in words that follow a bundle's name.
        """
        stdin = self._process.stdin
        if not self._said.empty():  # said before it was asked: it is of no bundle
            raise _Gone(NOT_BACK)
        try:
            if stdin is not None:
                stdin.write(line.encode() + b"\n")
                stdin.flush()
            said = self._said.get(timeout=patience_s)
        except queue.Empty:
            raise _Gone(
                f"it was not done after {patience_s:.0f} seconds, which is longer than "
                "any bundle of its size takes"
            ) from None
        except OSError:
            said = b""
        try:
            found = json.loads(said)
        except (ValueError, RecursionError):
            found = None
        if not isinstance(found, dict):
            raise _Gone(NOT_BACK)
        return found

    def end(self) -> None:
        """End it, whatever it does."""
        self._process.kill()
        self._process.wait()
        self._listener.join()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                try:
                    pipe.close()
                except OSError:
                    pass  # what it buffered had nowhere to go
        self._home.cleanup()


def _environment(home: str) -> dict[str, str]:
    """What the child is told of this computer: nothing of the person's own."""
    needed = {name: os.environ[name] for name in _NEEDED if name in os.environ}
    if paths := needed.pop("PYTHONPATH", ""):
        whole = [str(Path(one).absolute()) for one in paths.split(os.pathsep) if one]
        needed["PYTHONPATH"] = os.pathsep.join(whole)
    ours = {
        "GRAMWATT_DATA": home,
        "GRAMWATT_CONFIG": home,
        "MPLCONFIGDIR": home,
        "HOME": home,
        **dict.fromkeys(_ALONE, "1"),
    }
    return {**needed, **ours}


@contextmanager
def scratch_folder() -> Iterator[Path]:
    """An empty folder that is gone afterwards.

    Raises:
        WorldFault: it cannot be made.
    """
    try:
        made = tempfile.TemporaryDirectory(prefix="gramwatt-")
    except OSError as fault:
        raise WorldFault(f"No folder can be made: {fault.strerror}.") from None
    with made as name:
        yield Path(name)

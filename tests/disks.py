"""A disk that fails at its n-th operation, once or from then on.

Stands between the program and the real disk, below ``Path.open``, ``os.fsync`` and
the like, for everything under one folder. A write that fails leaves half of what was
to be written, as a disk that fills up does.
"""

import errno
import io
import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

from typing_extensions import Buffer, override

NEVER = 10**12
ERRORS = (errno.ENOSPC, errno.EIO, errno.EACCES)
WRITING = set("wax+")


@dataclass
class Disk:
    """What is done to files under a folder, and which of it fails.

    Attributes:
        folder: the folder.
        fails_at: number of the operation that fails, from 0.
        number: the error's number.
        for_good: all later ones fail too.
        done: name and path of every operation so far, failed ones too.
        failed: how many failed.
    """

    folder: Path
    fails_at: int = NEVER
    number: int = errno.ENOSPC
    for_good: bool = False
    done: list[tuple[str, str]] = field(default_factory=list)
    failed: int = 0

    def step(self, what: str, path: object) -> None:
        """One operation.

        Raises:
            OSError: it is one that fails.
        """
        here = len(self.done)
        self.done.append((what, str(path)))
        if here == self.fails_at or (self.for_good and here > self.fails_at):
            self.failed += 1
            raise OSError(self.number, os.strerror(self.number), str(path))

    def holds(self, path: object) -> bool:
        """Whether a path is on this disk."""
        if not isinstance(path, str | os.PathLike):
            return False
        return Path(path).resolve().is_relative_to(self.folder)

    @property
    def why(self) -> str:
        """The error in the system's words."""
        return os.strerror(self.number)


class _Raw(io.FileIO):
    """A file on such a disk."""

    def __init__(self, disk: Disk, path: Path, mode: str) -> None:
        disk.step("create", path)
        self._disk, self._path = disk, path
        super().__init__(path, mode)

    @override
    def write(self, data: Buffer, /) -> int:
        try:
            self._disk.step("write", self._path)
        except OSError:
            view = memoryview(data).cast("B")
            super().write(view[: len(view) // 2])
            raise
        return super().write(data)


@contextmanager
def on(disk: Disk) -> Iterator[Disk]:
    """Everything under the disk's folder goes through it."""
    disk.folder = disk.folder.resolve()
    names = ("mkdir", "rename", "replace", "unlink", "rmdir")
    with ExitStack() as patches:
        patches.enter_context(mock.patch.object(io, "open", _opener(disk)))
        patches.enter_context(mock.patch.object(os, "fsync", _syncer(disk)))
        for name in names:
            acts = _watched(disk, name, getattr(os, name))
            patches.enter_context(mock.patch.object(os, name, acts))
        yield disk


def _opener(disk: Disk) -> Callable[..., Any]:
    real = io.open

    def opened(
        file: Any,
        mode: str = "r",
        buffering: int = -1,
        encoding: str | None = None,
        errors: str | None = None,
        newline: str | None = None,
        *others: Any,
    ) -> Any:
        if not disk.holds(file):
            return real(file, mode, buffering, encoding, errors, newline, *others)
        if not WRITING & set(mode):
            disk.step("read", file)
            return real(file, mode, buffering, encoding, errors, newline, *others)
        raw = _Raw(disk, Path(file), mode.replace("b", "").replace("t", ""))
        if buffering == 0:
            return raw
        whole = io.BufferedWriter(raw)
        if "b" in mode:
            return whole
        return io.TextIOWrapper(whole, encoding, errors, newline)

    return opened


def _watched(disk: Disk, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
    def act(path: Any, *rest: Any, **named: Any) -> Any:
        if disk.holds(path) and "dir_fd" not in named:
            disk.step(name, path)
        return real(path, *rest, **named)

    return act


def _syncer(disk: Disk) -> Callable[[int], None]:
    real = os.fsync

    def sync(descriptor: int) -> None:
        path = Path(f"/proc/self/fd/{descriptor}")
        if not path.exists() or disk.holds(path.resolve()):
            disk.step("sync", path)
        real(descriptor)

    return sync

"""Everything derived, made for runs that lack it: a process of its own, one at a time.

The window asks from time to time how far it is and may give it up at any moment.
Derived files are put in place whole, so what is given up leaves a run as it was.
"""

import subprocess
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Final

from daq.own_process import command_of
from ui.desktop.model.words import several_lines

LOSSY: Final = 4  # done, though some of the record is lost
PATIENCE_S: Final = 5.0  # for a process that was told to end


def command_for(folder: Path) -> list[str]:
    """The command that makes everything derived from a run."""
    return command_of("ui.cli.main", "rebuild", "--", str(folder))


@dataclass(slots=True)
class Making:
    """Runs for which everything derived is made.

    Attributes:
        done: runs that are made.
        faults: what went wrong, a sentence each, by run.
        asked: how many there are in all.
    """

    command: Callable[[Path], list[str]] = command_for
    done: list[Path] = field(default_factory=list)
    faults: dict[Path, str] = field(default_factory=dict)
    asked: int = 0
    _waiting: list[Path] = field(default_factory=list)
    _now: Path | None = None
    _process: "subprocess.Popen[bytes] | None" = None
    _said: IO[bytes] | None = None

    @property
    def busy(self) -> bool:
        """Whether there is anything left to do."""
        return self._process is not None or bool(self._waiting)

    @property
    def now(self) -> Path | None:
        """The run that is being made."""
        return self._now

    @property
    def words(self) -> str:
        """How far it is."""
        if self._now is None:
            return ""
        place = len(self.done) + len(self.faults) + 1
        return f"Working out {place} of {self.asked}: {self._now.name}"

    def ask(self, folders: Iterable[Path]) -> None:
        """Make these too; a run that is waiting already waits once."""
        if not self.busy:
            self.done, self.faults, self.asked = [], {}, 0
        for folder in folders:
            if folder not in (*self._waiting, self._now):
                self._waiting.append(folder)
                self.asked += 1
        self._next()

    def step(self) -> list[Path]:
        """Go on with what can go on; runs that came to an end meanwhile."""
        process, folder = self._process, self._now
        if process is None or folder is None:
            self._next()
            return []
        status = process.poll()
        if status is None:
            return []
        self._end(folder, status)
        self._next()
        return [folder]

    def cancel(self) -> None:
        """Give up what is left, and wait for the process to be gone."""
        self._waiting.clear()
        process = self._process
        if process is not None:
            process.terminate()
            try:
                process.wait(PATIENCE_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self._clear()

    def _next(self) -> None:
        while self._process is None and self._waiting:
            folder = self._waiting.pop(0)
            # A pipe that nobody reads could fill.
            said = tempfile.TemporaryFile()  # noqa: SIM115 - closed at its end
            try:
                self._process = subprocess.Popen(
                    self.command(folder),
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=said,
                )
            except OSError as fault:
                said.close()
                self.faults[folder] = f"It could not be begun: {fault.strerror}."
                continue
            self._now, self._said = folder, said

    def _end(self, folder: Path, status: int) -> None:
        if status in (0, LOSSY):
            self.done.append(folder)
        else:
            self.faults[folder] = self._why() or "It ended without a word."
        self._clear()

    def _why(self) -> str:
        """The last of what was said, without the program's name."""
        if self._said is None:
            return ""
        self._said.seek(0)
        text = self._said.read(100_000).decode("utf-8", "replace").strip()
        return several_lines(text.removeprefix("gramwatt: "), 600)

    def _clear(self) -> None:
        if self._said is not None:
            self._said.close()
        self._process, self._now, self._said = None, None, None

"""Work that takes a core, done by a process of its own that may be ended at any moment.

The window asks from time to time how far it is, and waits for nothing. While a spin
goes on nothing of it is done: what is under way then is ended, and begun again after
the spin. All that an errand makes meanwhile lies in a folder that goes with it.
"""

import json
import os
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO, Final

from daq.own_process import command_of
from ui.desktop.model.words import several_lines

COMMAND: Final = tuple(command_of("ui.desktop.model.clubs"))
WAITS: Final = "It waits until the spin is over."
MOST_SAID: Final = 40_000_000  # bytes of an answer
MOST_WORDS: Final = 900
SAID, WRONG = "said", "wrong"  # files of what it writes


class Errand:
    """One process: what it was asked, how far it is, what it said.

    Attributes:
        progress: how many parts are done, and of how many; None where nobody knows.
        answer: what it gave; None before its end, and where it failed.
        fault: why it gave nothing, a sentence; "" for nothing.
    """

    def __init__(
        self, asked: Mapping[str, object], command: Sequence[str] = COMMAND
    ) -> None:
        """Begin it.

        Args:
            asked: plain values, for the process to read as a line of JSON.
            command: what is started.
        """
        self.progress: tuple[int, int] | None = None
        self.answer: dict[str, object] | None = None
        self.fault = ""
        self._left = b""
        self._home: tempfile.TemporaryDirectory[str] | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._said: IO[bytes] | None = None
        try:
            self._home = tempfile.TemporaryDirectory(
                prefix="gramwatt-errand-", ignore_cleanup_errors=True
            )
            self._begin(Path(self._home.name), asked, command)
        except OSError as fault:
            self.fault = f"It could not be begun: {fault.strerror}."
            self._clear()

    def _begin(
        self, home: Path, asked: Mapping[str, object], command: Sequence[str]
    ) -> None:
        scratch = home / "scratch"
        scratch.mkdir()
        names = {name: str(scratch) for name in ("TMPDIR", "TEMP", "TMP")}
        (home / "asked").write_text(json.dumps(asked) + "\n", encoding="utf-8")
        # Files and no pipes: a pipe that nobody reads for a while could fill.
        with (
            (home / "asked").open("rb") as given,
            (home / SAID).open("wb") as said,
            (home / WRONG).open("wb") as wrong,
        ):
            self._said = (home / SAID).open("rb")
            self._process = subprocess.Popen(
                list(command),
                stdin=given,
                stdout=said,
                stderr=wrong,
                env={**os.environ, **names},
            )

    @property
    def over(self) -> bool:
        """Whether there is nothing more to come."""
        return self._process is None

    def step(self) -> None:
        """Take up what it said meanwhile."""
        process = self._process
        if process is None:
            return
        status = process.poll()  # before its words are read: these are all then
        self._hear()
        if status is None:
            return
        if self.answer is None and not self.fault:
            self.fault = self._why()
        self._clear()

    def end(self) -> None:
        """End it, wherever it is."""
        process = self._process
        if process is not None:
            process.kill()
            process.wait()
        self._clear()

    def _hear(self) -> None:
        if self._said is None:
            return
        lines = (self._left + self._said.read(MOST_SAID)).split(b"\n")
        self._left = lines.pop()
        for line in lines:
            try:
                told = json.loads(line)
            except ValueError:
                continue
            if isinstance(told, dict):
                self._take(told)

    def _take(self, told: Mapping[str, object]) -> None:
        progress, answer, refused = (
            told.get(name) for name in ("progress", "answer", "refused")
        )
        if isinstance(progress, list) and len(progress) == 2:
            self.progress = (int(progress[0]), int(progress[1]))
        if isinstance(answer, dict):
            self.answer = answer
        if isinstance(refused, str):
            self.fault = several_lines(refused, MOST_WORDS)

    def _why(self) -> str:
        """The last line that it left of what went wrong."""
        if self._home is None:
            return ""
        wrong = Path(self._home.name) / WRONG
        lines = wrong.read_text(encoding="utf-8", errors="replace").strip().splitlines()
        last = several_lines(lines[-1], MOST_WORDS) if lines else ""
        return f"It ended without an answer. {last}".strip()

    def _clear(self) -> None:
        self._process = None
        if self._said is not None:
            self._said.close()
            self._said = None
        if self._home is not None:
            self._home.cleanup()


class Work:
    """One kind of errand: at most one at a time, and none while a spin goes on.

    Attributes:
        answer: what the last one gave; None where there is nothing.
        fault: why it gave nothing, a sentence; "" for nothing.
    """

    def __init__(self, command: Sequence[str] = COMMAND) -> None:
        """Begin with nothing to do."""
        self.answer: dict[str, object] | None = None
        self.fault = ""
        self._command = command
        self._asked: Mapping[str, object] | None = None
        self._errand: Errand | None = None

    @property
    def busy(self) -> bool:
        """Whether something is to be done still."""
        return self._asked is not None

    @property
    def waits(self) -> bool:
        """Whether it waits for a spin to be over."""
        return self.busy and self._errand is None

    @property
    def progress(self) -> tuple[int, int] | None:
        """How many parts are done, and of how many; None where nobody knows."""
        return self._errand.progress if self._errand is not None else None

    def ask(self, asked: Mapping[str, object]) -> None:
        """Have this done; what is under way already goes on instead."""
        if self.busy:
            return
        self.answer, self.fault, self._asked = None, "", asked

    def step(self, *, may_work: bool) -> bool:
        """Go on with it as far as it may; whether it came to its end just now."""
        asked = self._asked
        if asked is None:
            return False
        if not may_work:
            self._end()
            return False
        if self._errand is None:
            self._errand = Errand(asked, self._command)
        errand = self._errand
        errand.step()
        if not errand.over:
            return False
        self.answer, self.fault = errand.answer, errand.fault
        self._asked, self._errand = None, None
        return True

    def give_up(self) -> None:
        """Leave it undone."""
        self._end()
        self._asked = None

    def _end(self) -> None:
        errand, self._errand = self._errand, None
        if errand is not None:
            errand.end()

"""A firmware that runs in step with a test: the host build, or a chip in an emulator.

Both are programs that read commands and answer with lines (``boards/host.c`` says
which words). Time moves only in ``run``, so that everything is told in the device's
own time, however busy this computer is.
"""

import subprocess
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from daq.errors import WorldFault

STOPPED_S = 10.0


class Pulse(NamedTuple):
    """One servo pulse on the pin.

    Attributes:
        at_us: when it began, device time.
        width_us: how long it was.
    """

    at_us: float
    width_us: float


@dataclass(slots=True)
class Told:
    """What came out while time moved.

    Attributes:
        sent: bytes from the stand.
        pulses: servo pulses that began meanwhile.
        resets: how often it started again by itself.
        other: lines of another kind, word by word.
        now_us: device time now.
    """

    sent: bytes = b""
    pulses: list[Pulse] = field(default_factory=list)
    resets: int = 0
    other: list[list[str]] = field(default_factory=list)
    now_us: float = 0.0


class Lockstep:
    """One firmware at work.

    Attributes:
        now_us: device time, counted through resets.
    """

    def __init__(self, command: Sequence[str]) -> None:
        self.now_us = 0.0
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )

    def ask(self, command: str) -> Told:
        """Say one command, and take everything that is answered.

        Raises:
            WorldFault: the program has ended.
        """
        source, sink = self._process.stdout, self._process.stdin
        if source is None or sink is None:
            raise WorldFault("The firmware has no pipes.")
        told = Told()
        try:
            sink.write(command + "\n")
            sink.flush()
        except BrokenPipeError:
            raise self._ended(command) from None
        for line in source:
            if self._take(line.split(), told):
                self.now_us = told.now_us
                return told
        raise self._ended(command)

    def _ended(self, command: str) -> WorldFault:
        status = self._process.wait(STOPPED_S)
        return WorldFault(f"The firmware ended with {status} at {command[:80]!r}.")

    def _take(self, words: list[str], told: Told) -> bool:
        """One line; whether it is the last of an answer."""
        match words:
            case ["tx", digits]:
                told.sent += bytes.fromhex(digits)
            case ["pulse", at, width]:
                told.pulses.append(Pulse(float(at), float(width) / 2))
            case ["reset"]:
                told.resets += 1
            case ["done", now]:
                told.now_us = float(now)
                return True
            case _:
                told.other.append(words)
        return False

    def send(self, data: bytes) -> None:
        """Put bytes on their way to the stand."""
        if data:
            self.ask(f"rx {data.hex()}")

    def run(self, duration_us: int) -> Told:
        """Let time pass."""
        return self.ask(f"run {duration_us}")

    def close(self) -> None:
        """End it."""
        if self._process.stdin is not None:
            self._process.stdin.close()
        try:
            self._process.wait(STOPPED_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(STOPPED_S)
        if self._process.stdout is not None:
            self._process.stdout.close()

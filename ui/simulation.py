"""A simulated stand in a process of its own, for as long as it is needed."""

import json
import subprocess
import sys
from pathlib import Path
from types import TracebackType
from typing import Self

from daq.errors import GramwattError, WorldFault


class SimulatedStand:
    """Serves a simulated stand on a port; the port goes when this is closed.

    Attributes:
        port: what to open.
    """

    def __init__(
        self, *, truth: Path | None = None, seed: int = 1, tcp: bool = False
    ) -> None:
        """Start it and wait until it serves.

        Raises:
            GramwattError: the truth file is wrong, or it did not start.
        """
        command = [sys.executable, "-m", "daq.stand.serve", "--seed", str(seed)]
        if truth is not None:
            command += ["--truth", str(truth)]
        if tcp:
            command += ["--tcp"]
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,  # ctrl-C is not for the stand
        )
        line = self._process.stdout.readline() if self._process.stdout else ""
        try:
            said = json.loads(line)
        except ValueError:
            self.close()
            raise WorldFault("The simulated stand did not start.") from None
        if "error" in said:
            self.close()
            raise GramwattError(str(said["error"]))
        self.port = str(said["port"])

    def close(self) -> None:
        """End it; the port vanishes."""
        if self._process.stdin is not None:
            try:
                self._process.stdin.close()
            except OSError:
                pass  # it is gone already
        try:
            self._process.wait(2.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

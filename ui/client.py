"""A client of the keeper: starts it, orders, beats, and follows its record.

Whatever shows a run to a person (command line, desktop) uses this and can die
or hang without harm: the keeper is a process of its own and stops the motor
when its client falls silent. Nothing here decides anything about the motor.
"""

import json
import os
import subprocess
import threading
from collections.abc import Mapping
from pathlib import Path

from daq.errors import GramwattError, WorldFault
from daq.own_process import command_of
from daq.records.wirelog import NAME, Follower, Record

BEAT_PERIOD_S = 0.2
OPENING_PATIENCE_S = 15.0


class KeeperClient:
    """One keeper process and the orders to it.

    Attributes:
        folder: the run's folder.
    """

    def __init__(self, start: Mapping[str, object]) -> None:
        """Start a keeper with a start order.

        Raises:
            GramwattError: the keeper says that port or folder cannot be opened.
        """
        self._process = subprocess.Popen(
            command_of("protocols.keeper"),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,  # ctrl-C reaches it as an order, not as a signal
        )
        if self._process.stdin is None:
            raise WorldFault("The keeper process has no input.")
        self._orders = self._process.stdin.fileno()
        self._said: list[dict[str, object]] = []
        self._heard = threading.Condition()
        threading.Thread(target=self._listen, daemon=True).start()
        self._write(json.dumps(start))
        os.set_blocking(self._orders, False)
        self.folder = self._wait_for_folder()
        self._follower = Follower(self.folder / NAME)

    def _listen(self) -> None:
        stdout = self._process.stdout
        if stdout is None:
            return
        for line in stdout:
            with self._heard:
                self._said.append(json.loads(line))
                self._heard.notify_all()
        with self._heard:
            self._heard.notify_all()

    def _wait_for_folder(self) -> Path:
        def answered() -> bool:
            return bool(self._said) or self._process.poll() is not None

        with self._heard:
            self._heard.wait_for(answered, OPENING_PATIENCE_S)
            said = self._said[0] if self._said else {}
        if "folder" not in said:
            self._process.kill()
            self.finish()
            if "error" in said:
                raise GramwattError(str(said["error"]))
            raise WorldFault("The keeper process did not start.")
        return Path(str(said["folder"]))

    def order(self, order: str, **fields: object) -> None:
        """Send an order; a keeper that is gone gets none."""
        self._write(json.dumps({"order": order} | fields))

    def beat(self) -> None:
        """Tell the keeper that the person's program is alive."""
        self.order("beat")

    def _write(self, line: str) -> None:
        """One line, straight to the pipe: safe inside a signal handler too."""
        left = memoryview(line.encode() + b"\n")
        try:
            while left:
                left = left[os.write(self._orders, left) :]
        except OSError:
            pass  # it is gone, or frozen with a full pipe; ``running`` says more

    def fresh(self) -> list[Record]:
        """Records that the keeper wrote since last asked."""
        try:
            return self._follower.fresh()
        except OSError:
            return []  # the folder was taken away; the keeper tells the rest

    @property
    def running(self) -> bool:
        """Whether the keeper process is there."""
        return self._process.poll() is None

    def kill(self) -> None:
        """End a keeper that does not answer.

        The stand's lease stops the motor; of a stand that has none, the last word does.
        """
        self._process.kill()

    def finish(self, patience_s: float = 5.0) -> Mapping[str, object]:
        """Wait for the keeper's end and give its last line, {} if it had none."""
        try:
            self._process.wait(patience_s)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        with self._heard:
            endings = [said for said in self._said if "folder" not in said]
        if self._process.stdin is not None:
            try:
                self._process.stdin.close()
            except OSError:
                pass  # what it buffered had nowhere to go
        return endings[-1] if endings else {}

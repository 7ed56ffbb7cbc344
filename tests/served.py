"""The real program against a simulated stand on a real port, in real time.

The stand is served by a thread here, so that the pulse on the ESC's input can be
seen; keeper and command line are the real processes.
"""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from daq.errors import RecordFault
from daq.machine_clock import MachineClock
from daq.records.read import read_run
from daq.records.wirelog import Follower, Kind
from daq.stand.device import Device
from daq.stand.endpoint import open_endpoint
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from daq.stand.serve import Server
from ui.articles import example_article

ROOT = Path(__file__).parents[1]
YES = "yes\n" * 20
ZERO_PULSE_S = 1.0e-3
PROGRAM = """
import resource, sys
from ui.cli.main import main
file_max = int(sys.argv[1])
if file_max >= 0:
    resource.setrlimit(resource.RLIMIT_FSIZE, (file_max, file_max))
sys.exit(main(sys.argv[2:]))
"""

PROTOCOL = """
format = 1
name = "one-level"
title = "One level"
why = "For tests."
kind = "staircase"
levels_percent = [40]
up_and_down = false
ramp_percent_per_s = 100
settle_s = 0.6
dwell_s = {dwell_s}
lease_ms = 200
[rest_s]
before = 2.0
after = 2.0
"""


@dataclass
class Bench:
    """A served stand and a place for runs.

    Attributes:
        server: the stand.
        folder: working folder of the program.
        hands: whether somebody moves plug and loop when the run wants it.
        processes: what was started.
        terminals: far ends of the terminals that they were given.
    """

    server: Server[Any]
    folder: Path
    hands: bool = True
    processes: list[subprocess.Popen[str]] = field(default_factory=list)
    terminals: list[int] = field(default_factory=list)

    @property
    def device(self) -> Device:
        """The stand's inside: look, do not touch."""
        device: Device = self.server.device
        return device

    @property
    def spinning(self) -> bool:
        """Whether the ESC is told to turn the motor."""
        return self.device.pulse_s > ZERO_PULSE_S + 1e-6

    def lend_hands(self, ended: threading.Event) -> None:
        """Do at the stand what a run's record says is wanted, until ended."""
        followers: dict[Path, Follower] = {}
        while not ended.wait(0.02):
            try:
                logs = list(self.folder.glob("**/wire.log"))
            except OSError:
                continue  # a folder that was just taken away
            for log in logs:
                follower = followers.setdefault(log, Follower(log))
                try:
                    fresh = follower.fresh()
                except (OSError, RecordFault):
                    continue
                for record in fresh:
                    if record.kind is Kind.NOTE and self.hands:
                        self._do(record.json())

    def _do(self, note: Mapping[str, object]) -> None:
        if note.get("note") == "wanted":
            self.server.between_ticks(lambda device: lend_hand(device, note["what"]))

    def start(
        self,
        *arguments: str,
        answers: str = YES,
        file_max: int = -1,
    ) -> subprocess.Popen[str]:
        """Start the command, whatever it asks answered with ``answers``.

        With ``file_max`` no file may grow beyond so many bytes, as on a full disk.
        """
        person, terminal = os.openpty()
        os.write(person, answers.encode())
        process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, str(file_max), *arguments],
            stdin=terminal if answers else subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=self.folder,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            start_new_session=True,
        )
        os.close(terminal)
        self.terminals.append(person)
        self.processes.append(process)
        return process

    def spin(
        self,
        dwell_s: float = 1.0,
        *,
        answers: str = YES,
        file_max: int = -1,
        more: tuple[str, ...] = (),
    ) -> subprocess.Popen[str]:
        """Start a spin on the served stand."""
        protocol = self.folder / "one-level.toml"
        protocol.write_text(PROTOCOL.format(dwell_s=dwell_s))
        article = example_article()
        return self.start(
            "spin",
            str(protocol),
            "--port",
            self.server.name,
            "--article",
            str(article),
            "--load-cell-g",
            "1000",
            *more,
            answers=answers,
            file_max=file_max,
        )

    def keeper_of(self, client: subprocess.Popen[str]) -> int:
        """Process number of the keeper that a client started."""
        return self._children_of(client)[0]

    def _children_of(self, client: subprocess.Popen[str]) -> list[int]:
        children = Path(f"/proc/{client.pid}/task/{client.pid}/children")
        return [int(number) for number in children.read_text().split()]

    def wait_until(self, what: Callable[[], bool], seconds: float = 20.0) -> None:
        """Wait for something to become true."""
        end_s = time.monotonic() + seconds
        while not what():
            assert time.monotonic() < end_s, "it did not happen in time"
            time.sleep(0.002)

    def wait_until_spinning(self) -> None:
        """Wait for the first dwell."""
        self.wait_until(lambda: self.device.pulse_s > 1.39e-3, 60.0)

    def device_time_to_zero_s(self) -> float:
        """Device time from now until the pulse is at zero."""
        begin_us = self.device.time_us
        self.wait_until(lambda: not self.spinning, 5.0)
        return (self.device.time_us - begin_us) * 1e-6

    def end_of(
        self, process: subprocess.Popen[str], patience_s: float = 30.0
    ) -> tuple[int, str]:
        """Exit status and everything printed, its lines joined."""
        out, err = process.communicate(timeout=patience_s)
        return process.returncode, " ".join((out + err).split())

    def end_all(self) -> None:
        """No process of this bench goes on."""
        for process in self.processes:
            if process.poll() is None:
                for keeper in self._children_of(process):
                    os.kill(keeper, signal.SIGKILL)  # frozen ones too
                os.killpg(process.pid, signal.SIGKILL)
            process.communicate()
        for person in self.terminals:
            os.close(person)

    def run_folder(self) -> Path:
        """The one run that was made."""
        (folder,) = (self.folder / "runs").iterdir()
        return folder

    def outcome(self) -> dict[str, object]:
        """How the one run that was made ended."""
        outcome = read_run(self.run_folder()).outcome
        assert outcome is not None
        return dict(outcome)


def lend_hand(device: Any, wanted: object) -> None:
    """Do what a run's record says is wanted, at a stand with a plug and a loop."""
    if wanted in ("plug in", "plug out"):
        device.plug_in = wanted == "plug in"
    elif wanted in ("loop open", "loop closed"):
        device.stop_loop_open = wanted == "loop open"


@contextmanager
def served(folder: Path, device: Device | None = None) -> Iterator[Bench]:
    """A stand that is served, and hands at it; everything is ended afterwards."""
    if device is None:
        device = FaultyStand(Plant(shipped_truth(), 1))
    server = Server(device, open_endpoint(), MachineClock())
    thread = threading.Thread(target=server.run)
    thread.start()
    made = Bench(server, folder)
    ended = threading.Event()
    hands = threading.Thread(target=made.lend_hands, args=(ended,))
    hands.start()
    try:
        yield made
    finally:
        made.end_all()
        ended.set()
        hands.join(5.0)
        server.end()
        thread.join(5.0)

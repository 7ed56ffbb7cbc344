"""Stop paths: for each, what stops the motor and how long it takes, in real time.

The real program, keeper and port; the pulse on the ESC's input is watched beside the
served stand, every half millisecond. Times run from the moment that the thing was
done to the first moment that the pulse was seen at zero.
"""

import os
import signal
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from daq.stand.device import Device
from daq.stand.faults.board import Hang, LockUp
from daq.stand.faults.wire import CableOut
from tests.served import Bench, served

Client = subprocess.Popen[str]
FULL_BYTES = 330_000
TIMES = 8
AT_ONCE = 3


@dataclass(frozen=True, slots=True)
class Way:
    """One way to stop.

    Attributes:
        name: what happens.
        stops: what stops the motor then.
        stated_ms: what the design promises; a busy machine comes on top.
        act: does it.
    """

    name: str
    stops: str
    stated_ms: float
    act: Callable[[Bench, Client], None]


class Nowhere:
    """An endpoint whose port is gone."""

    name = "nowhere"

    def read(self, wait_s: float) -> bytes:
        time.sleep(wait_s)
        return b""

    def write(self, data: bytes) -> bool:
        return True

    def close(self) -> None:
        """Nothing left to close."""


def _port_lost(bench: Bench, _: Client) -> None:
    server = bench.server

    def take_away(_: Device) -> None:
        gone, server._endpoint = server._endpoint, Nowhere()
        gone.close()

    server.between_ticks(take_away)
    bench.wait_until(lambda: isinstance(server._endpoint, Nowhere))


def _asleep(bench: Bench, client: Client) -> None:
    os.kill(bench.keeper_of(client), signal.SIGSTOP)
    os.kill(client.pid, signal.SIGSTOP)


def _disk_full(bench: Bench, _: Client) -> None:
    log = bench.run_folder() / "wire.log"
    bench.wait_until(lambda: log.stat().st_size >= FULL_BYTES - 200)


def _fault(bench: Bench, fault: CableOut | Hang | LockUp) -> None:
    done: list[bool] = []
    bench.server.between_ticks(lambda d: done.append(d.add(fault) is None))
    bench.wait_until(lambda: bool(done))


def _loop(bench: Bench, _: Client) -> None:
    bench.server.between_ticks(lambda d: setattr(d, "stop_loop_open", True))


WAYS = (
    Way(
        "ctrl-C in the terminal",
        "the client orders a stop",
        20,
        lambda b, c: os.killpg(c.pid, signal.SIGINT),
    ),
    Way(
        "client told to terminate",
        "end of its orders",
        20,
        lambda b, c: os.kill(c.pid, signal.SIGTERM),
    ),
    Way(
        "terminal closed (hang-up)",
        "end of its orders",
        20,
        lambda b, c: os.killpg(c.pid, signal.SIGHUP),
    ),
    Way("client killed", "end of its orders", 20, lambda b, c: c.kill()),
    Way(
        "client hung",
        "700 ms without a beat",
        920,
        lambda b, c: os.kill(c.pid, signal.SIGSTOP),
    ),
    Way(
        "keeper told to terminate",
        "the keeper stops and seals",
        20,
        lambda b, c: os.kill(b.keeper_of(c), signal.SIGTERM),
    ),
    Way(
        "keeper frozen",
        "the lease, on the stand",
        203,
        lambda b, c: os.kill(b.keeper_of(c), signal.SIGSTOP),
    ),
    Way(
        "keeper killed",
        "the lease, on the stand",
        203,
        lambda b, c: os.kill(b.keeper_of(c), signal.SIGKILL),
    ),
    Way("machine asleep", "the lease, on the stand", 203, _asleep),
    Way("disk full", "the keeper, at the first failed write", 20, _disk_full),
    Way("port lost", "the lease, on the stand", 203, _port_lost),
    Way(
        "cable carries nothing",
        "the lease, on the stand",
        203,
        lambda b, c: _fault(b, CableOut(start_s=0.0)),
    ),
    Way(
        "stand's main loop hangs",
        "the lease, in its interrupt",
        203,
        lambda b, c: _fault(b, Hang(start_s=0.0)),
    ),
    Way(
        "stand locks up for good",
        "its hardware watchdog (here 500 ms)",
        503,
        lambda b, c: _fault(b, LockUp(start_s=0.0, watchdog_s=0.5)),
    ),
    Way("stop loop opened", "the stand, within a millisecond", 6, _loop),
)


def once(path: Way) -> float:
    """Seconds from doing it to a pulse seen at zero, once."""
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Path(folder)) as bench,
    ):
        full = FULL_BYTES if path.name == "disk full" else -1
        client = bench.spin(dwell_s=60, file_max=full)
        try:
            bench.wait_until_spinning()
        except AssertionError:
            os.killpg(client.pid, signal.SIGINT)
            _, said = bench.end_of(client)
            raise RuntimeError(f"{path.name}: it never spun: {said}") from None
        if path.name != "disk full":
            time.sleep(0.3)
        path.act(bench, client)
        begun_s = time.monotonic()
        while bench.spinning:
            time.sleep(0.0005)
            if time.monotonic() - begun_s > 10.0:
                raise RuntimeError(f"{path.name}: the motor was not stopped")
        return time.monotonic() - begun_s


def measure(quick: bool) -> Iterator[tuple[str, str]]:
    """One row a path, as it is known."""
    times = 2 if quick else TIMES
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for path in WAYS:
            taken = sorted(1e3 * t for t in pool.map(once, [path] * times))
            middle = statistics.median(taken)
            yield (
                f"{path.name}: {path.stops}",
                f"{middle:.0f} ms, worst of {times} {taken[-1]:.0f} "
                f"(stated {path.stated_ms:g})",
            )

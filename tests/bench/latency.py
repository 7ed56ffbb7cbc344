"""From an over-limit sample to the stop on the wire, through the real keeper.

A stand in a process of its own runs the device behind a pseudo-terminal, with
the device's own limits asleep. A moment after it was armed it swaps the current
in a sample for one beyond the limit, notes the time just before the bytes are
written, and notes when a stop has been read. The keeper is the real process,
one for each trip; this process is its client. The stand also measures how late
its own timer wakes it: below that floor nothing can be promised. A
pseudo-terminal has no USB scheduling and no adapter: those come on top.
"""

import json
import multiprocessing
import os
import select
import subprocess
import sys
import tempfile
import time
from multiprocessing.connection import Connection
from pathlib import Path

from daq.link import messages as m
from daq.link.framing import Deframer
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from daq.stand.serve import Terminal
from protocols.limits import Limit
from tests.bench.asleep import Asleep
from tests.spins import task

ARMED_FOR_S = 0.05
ROOT = Path(__file__).parents[2]


def stand(pipe: Connection, trips: int) -> None:
    """Process: serve, trip after trip; sends its port, then what it measured."""
    terminal = Terminal()
    device = Asleep(Plant(shipped_truth(), 1))
    device.asleep = True
    pipe.send(terminal.name)
    delays: list[float] = []
    late: list[float] = []
    for _ in range(trips):
        delays.append(one_trip(device, terminal, late))
        _, device.over, device.went = pipe.recv(), False, False
        device.reset(m.Cause.POWER_ON)
    pipe.send((delays, late))


def one_trip(device: Asleep, terminal: Terminal, late: list[float]) -> float:
    """Serve until a stop has answered the bad sample; the delay in seconds."""
    deframer = Deframer()
    armed_s = sent_s = 0.0
    due_s = time.monotonic()
    while True:
        due_s += 0.001
        wait_s = due_s - time.monotonic()
        if wait_s > 0 and not select.select([terminal._fd], [], [], wait_s)[0]:
            late.append(time.monotonic() - due_s)
        elif select.select([terminal._fd], [], [], 0)[0]:
            arrived = os.read(terminal._fd, 65_536)
            read_s = time.monotonic()
            device.receive(arrived)
            stops = [p[0] == m.Stop.TYPE for p in deframer.feed(arrived)]
            if sent_s and any(stops):
                terminal.write(device.advance(1))  # the reply
                return read_s - sent_s
        if device.state is m.State.ARMED:
            armed_s = armed_s or time.monotonic()
            device.over = time.monotonic() - armed_s > ARMED_FOR_S
        sent = device.advance(1)
        if device.went and not sent_s:
            sent_s = time.monotonic()
        if sent:
            terminal.write(sent)


def client(port: str, folder: Path, number: int, *, hung: bool) -> None:
    """One keeper from start to end; a hung client also burns a core."""
    limits = (Limit("current", -3.0, 12.0, 1, 0.5, "plug"),)
    start = {
        "port": port,
        "out": str(folder),
        "name": f"trip-{number}",
        "task": task(limits).to_dict(),
        "header": {"utc": "", "simulated": True},
    }
    keeper = subprocess.Popen(
        [sys.executable, "-m", "tests.bench.quick_keeper"],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        cwd=ROOT,
    )
    assert keeper.stdin is not None
    os.write(keeper.stdin.fileno(), json.dumps(start).encode() + b"\n")
    while keeper.poll() is None:
        try:
            os.write(keeper.stdin.fileno(), b'{"order": "go"}\n{"order": "beat"}\n')
        except BrokenPipeError:
            break
        if hung:
            end_s = time.monotonic() + 0.5
            while time.monotonic() < end_s and keeper.poll() is None:
                sum(range(200_000))
        else:
            time.sleep(0.02)
    keeper.wait()
    keeper.stdin.close()


def percentile_ms(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return 1e3 * ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def trips(count: int, *, hung: bool) -> str:
    """So many trips; their percentiles, beside the machine's own lateness."""
    ours, theirs = multiprocessing.Pipe()
    process = multiprocessing.Process(target=stand, args=(theirs, count))
    process.start()
    port = ours.recv()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(count):
            client(port, Path(folder), number, hung=hung)
            ours.send("next")
    delays, late = ours.recv()
    process.join()
    shares = (0.5, 0.99, 0.999)
    got = " ".join(f"{percentile_ms(delays, share):.2f}" for share in shares)
    floor = " ".join(f"{percentile_ms(late, share):.2f}" for share in shares)
    return f"{got} ms, timer late {floor} ms (p50 p99 p99.9)"


def measure(quick: bool) -> list[tuple[str, str]]:
    count = 6 if quick else 300
    return [
        (f"sample to stop, {count} trips, quiet", trips(count, hung=False)),
        (
            f"sample to stop, {count} trips, client hung 500 ms and burning",
            trips(count, hung=True),
        ),
    ]

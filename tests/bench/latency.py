"""From an over-limit sample to the stop on the wire, through the real keeper.

A stand in a process of its own runs the device behind a pseudo-terminal, with
hands at it, until the motor is at the plan's first level. Then the device's own
limits fall asleep, the current in a sample is swapped for one beyond the limit, and
it is noted when its bytes were written and when a stop has been read. The keeper is
the real process, one for each trip; this process is its client. The stand also
measures how late its own timer wakes it: below that floor nothing can be promised.
A pseudo-terminal has no USB scheduling and no adapter: those come on top.
"""

import json
import multiprocessing
import os
import select
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path

from daq.link import messages as m
from daq.link.framing import Deframer
from daq.records.wirelog import Follower, Kind
from daq.stand.endpoint import Terminal
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from tests.bench.asleep import Asleep
from tests.served import lend_hand
from tests.spins import LIMITS, task

LEVEL_PULSE_S = 1.2e-3  # beyond what the proof turns the motor with
SETTLED_S = 0.05
NEXT = "next"
AT_ONCE = tuple(replace(limit, persistence=1) for limit in LIMITS)
ROOT = Path(__file__).parents[2]


def stand(pipe: Connection, trips: int) -> None:
    """Process: serve, trip after trip; sends its port, then what it measured."""
    terminal = Terminal()
    device = Asleep(Plant(shipped_truth(), 1))
    pipe.send(terminal.name)
    delays: list[float] = []
    late: list[float] = []
    for _ in range(trips):
        delays.append(one_trip(device, terminal, late, pipe))
        while pipe.recv() != NEXT:
            pass
        device.asleep = device.over = device.went = False
        device.reset(m.Cause.POWER_ON)
    pipe.send((delays, late))


def one_trip(
    device: Asleep, terminal: Terminal, late: list[float], pipe: Connection
) -> float:
    """Serve until a stop has answered the bad sample; the delay in seconds.

    What hands have to do meanwhile comes through the pipe.
    """
    deframer = Deframer()
    level_s = sent_s = 0.0
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
        if pipe.poll():
            lend_hand(device, pipe.recv())
        if device.pulse_s > LEVEL_PULSE_S:
            level_s = level_s or time.monotonic()
            device.asleep = device.over = time.monotonic() - level_s > SETTLED_S
        sent = device.advance(1)
        if device.went and not sent_s:
            sent_s = time.monotonic()
        if sent:
            terminal.write(sent)


def client(
    port: str, folder: Path, number: int, hands: Connection, *, hung: bool
) -> None:
    """One keeper from start to end; a hung client also burns a core.

    What the record wants of hands goes to the stand, as a person would do it.
    """
    start = {
        "port": port,
        "out": str(folder),
        "name": f"trip-{number}",
        "task": task(AT_ONCE).to_dict(),
        "header": {"utc": "", "simulated": True},
    }
    keeper = subprocess.Popen(
        [sys.executable, "-m", "protocols.keeper"],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        cwd=ROOT,
    )
    assert keeper.stdin is not None
    os.write(keeper.stdin.fileno(), json.dumps(start).encode() + b"\n")
    record = Follower(folder / f"trip-{number}" / "wire.log")
    while keeper.poll() is None:
        try:
            os.write(keeper.stdin.fileno(), b'{"order": "go"}\n{"order": "beat"}\n')
        except BrokenPipeError:
            break
        for what in wanted(record):
            hands.send(what)
        if hung:
            end_s = time.monotonic() + 0.5
            while time.monotonic() < end_s and keeper.poll() is None:
                sum(range(200_000))
        else:
            time.sleep(0.02)
    keeper.wait()
    keeper.stdin.close()


def wanted(record: Follower) -> list[object]:
    """What the record wants of hands since it was last asked."""
    try:
        fresh = record.fresh()
    except OSError:
        return []  # not begun yet
    notes = [r.json() for r in fresh if r.kind is Kind.NOTE]
    return [note["what"] for note in notes if note.get("note") == "wanted"]


def percentile_ms(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return 1e3 * ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def trips(count: int, *, hung: bool) -> str:
    """So many trips; their percentiles, beside the machine's own lateness."""
    ours, theirs = multiprocessing.Pipe()
    process = multiprocessing.Process(target=stand, args=(theirs, count), daemon=True)
    process.start()
    port = ours.recv()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(count):
            client(port, Path(folder), number, ours, hung=hung)
            ours.send(NEXT)
    delays, late = ours.recv()
    process.join()
    got = f"{percentile_ms(delays, 0.5):.2f} median, {1e3 * max(delays):.2f} worst"
    floor = f"{percentile_ms(late, 0.5):.2f}, {percentile_ms(late, 0.999):.2f} p99.9"
    return f"{got} ms; timer late {floor} ms"


def measure(quick: bool) -> list[tuple[str, str]]:
    count = 6 if quick else 60
    return [
        (f"sample to stop, {count} trips, quiet", trips(count, hung=False)),
        (
            f"sample to stop, {count} trips, client hung 500 ms and burning",
            trips(count, hung=True),
        ),
    ]

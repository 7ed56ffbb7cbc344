"""``python -m tests.campaign.kills``: the real program killed and frozen at any moment.

The real command and its keeper spin on a served stand, in real time. At a seeded
moment between the first byte and the end, one of them or both are killed or frozen;
whoever is frozen goes on later, or is ended while frozen. Every pulse is seen from
inside the stand, to the tick, and all times are the stand's. Exit status 0 when every
law held, else 1.
"""

import argparse
import json
import os
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Final

from typing_extensions import override

from daq.machine_clock import MachineClock
from daq.records.read import Run, read_run
from daq.records.wirelog import MAGIC, NAME, Reader
from daq.stand.device import ZERO_PULSE_S
from daq.stand.endpoint import open_endpoint
from daq.stand.faults.stand import FaultyStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from daq.stand.serve import Server
from tests.served import Bench
from ui.articles import example_article
from ui.results import _seal_as_it_stands

CLOCK: Final = MachineClock()
LEASE_S: Final = 0.2
SERVO_S: Final = 0.003
TICK_S: Final = 0.001
BEAT_S: Final = 0.7  # a client is missed after this long
# What a busy machine adds: the kill on its way, the keeper waiting for its turn.
MACHINE_S: Final = 0.15
# From the first byte: when the supply goes on, when the plan has been walked, and
# when a spin that is left alone is over.
PLUGGED_S: Final = 2.8
WALKED_S: Final = 9.0
LAST_S: Final = 11.5
AFTER_S: Final = 1.2  # watched on after the end: nothing may come back
PATIENCE_S: Final = 60.0

PROTOCOL = """
format = 1
name = "short"
title = "One level, short"
why = "To be cut."
kind = "staircase"
levels_percent = [40]
up_and_down = false
ramp_percent_per_s = 100
settle_s = 0.6
dwell_s = 1.0
lease_ms = 200
[rest_s]
before = 2.0
after = 2.0
"""


@dataclass(frozen=True, slots=True)
class Way:
    """What is done to whom.

    Attributes:
        name: for the table.
        keeper: signal to the keeper, or none.
        client: signal to the client, or none.
        thaws: whoever was frozen goes on after a while.
        ends: the run has to be over then.
        beat_s: how long it may take to notice, on top of the lease.
    """

    name: str
    keeper: signal.Signals | None
    client: signal.Signals | None
    thaws: bool
    ends: bool
    beat_s: float = 0.0


KILL, STOP = signal.SIGKILL, signal.SIGSTOP
WAYS: Final = (
    Way("keeper killed", KILL, None, thaws=False, ends=True),
    Way("client killed", None, KILL, thaws=False, ends=True),
    Way("both killed", KILL, KILL, thaws=False, ends=True),
    Way("keeper frozen, goes on", STOP, None, thaws=True, ends=False),
    Way("client frozen, goes on", None, STOP, thaws=True, ends=False, beat_s=BEAT_S),
    Way("both frozen, go on", STOP, STOP, thaws=True, ends=False),
    Way("keeper frozen, client killed", STOP, KILL, thaws=True, ends=True),
)


@dataclass(frozen=True, slots=True)
class Case:
    """One spin and what is done to it.

    Attributes:
        seed: of it.
        way: what is done.
        after_s: how long after the stand's first byte.
        frozen_s: for how long whoever is frozen is.
    """

    seed: int
    way: Way
    after_s: float
    frozen_s: float


@dataclass(slots=True)
class Verdict:
    """What became of it.

    Attributes:
        case: what was done.
        state: the stand's state at that moment; "over" where all had ended before.
        driven: the pulse was up at that moment, or came up after it.
        plugged: with the supply on.
        to_zero_s: device time from then to the last moment with a pulse, while the
            host was gone; 0 where there was none.
        records: how many the log had then.
        ended: how the run ended by its record, and by what.
        broken: laws that did not hold.
    """

    case: Case
    state: str = "over"
    driven: bool = False
    plugged: bool = False
    to_zero_s: float = 0.0
    records: int = 0
    ended: str = ""
    broken: list[str] = field(default_factory=list)


def draw(seed: int) -> Case:
    """The case of a seed; the ways in turn."""
    rng = random.Random(seed)
    way = WAYS[seed % len(WAYS)]
    moments = (0.0, LAST_S) if rng.random() < 0.5 else (PLUGGED_S, WALKED_S)
    return Case(seed, way, rng.uniform(*moments), rng.uniform(0.05, 2.0))


class SeenStand(FaultyStand):
    """A stand that remembers every change of its pulse, to the tick.

    Attributes:
        pulses: since when one was up, until when, and whether the supply was on.
        up_since_s: since when one is up; None while there is none.
    """

    def begin(self) -> None:
        self.pulses: list[tuple[float, float, bool]] = []
        self.up_since_s: float | None = None

    @override
    def advance(self, ticks: int = 1) -> bytes:
        sent = b""
        for _ in range(ticks):
            sent += super().advance(1)
            up = self.pulse_s > ZERO_PULSE_S + 1e-6
            if up and self.up_since_s is None:
                self.up_since_s = self.elapsed_s
            elif not up and self.up_since_s is not None:
                over = (self.up_since_s, self.elapsed_s, self.plug_in)
                self.pulses.append(over)
                self.up_since_s = None
        return sent

    def last_up_s(
        self, from_s: float, to_s: float, *, plugged: bool = False
    ) -> float | None:
        """The last moment with a pulse in a stretch of time; None without any."""
        pulses = list(self.pulses)
        if self.up_since_s is not None:
            pulses.append((self.up_since_s, self.elapsed_s, self.plug_in))
        ends = [
            min(end_s, to_s)
            for start_s, end_s, is_in in pulses
            if start_s < to_s and end_s > from_s and (is_in or not plugged)
        ]
        return max(ends, default=None)


@contextmanager
def seen(folder: Path, seed: int) -> Iterator[tuple[Bench, SeenStand]]:
    """A served stand whose pulse is seen, and hands at it."""
    stand = SeenStand(Plant(shipped_truth(), seed))
    stand.begin()
    server = Server(stand, open_endpoint(), MachineClock())
    thread = threading.Thread(target=server.run)
    bench = Bench(server, folder)
    ended = threading.Event()
    hands = threading.Thread(target=bench.lend_hands, args=(ended,))
    thread.start()
    hands.start()
    try:
        yield bench, stand
    finally:
        bench.end_all()
        ended.set()
        hands.join(5.0)
        server.end()
        thread.join(5.0)


def start(bench: Bench) -> subprocess.Popen[str]:
    """The real command."""
    protocol = bench.folder / "short.toml"
    protocol.write_text(PROTOCOL)
    article = example_article()
    rest = ("--port", bench.server.name, "--article", str(article))
    return bench.start("spin", str(protocol), *rest, "--load-cell-g", "1000")


def judge(case: Case) -> Verdict:
    """One spin, from its start to its verdict."""
    verdict = Verdict(case)
    with (
        tempfile.TemporaryDirectory() as parent,
        seen(Path(parent), case.seed % 1000) as (bench, stand),
    ):
        client = start(bench)
        bench.wait_until(lambda: stand._received > 0, PATIENCE_S)
        keeper = _Process(bench.keeper_of(client))
        person = _Process(client.pid)
        try:
            CLOCK.sleep(case.after_s)
            _act(case, verdict, bench, stand, (keeper, person))
            _wait_for_the_end(client, keeper)
            CLOCK.sleep(AFTER_S)
            _judge_the_end(case, verdict, bench, stand)
        except _Hangs as hang:
            verdict.broken.append(str(hang))
        finally:
            keeper.end()
    return verdict


class _Hangs(Exception):
    """Something did not end."""


class _Process:
    """A process by its number, as long as it is the one that had it."""

    def __init__(self, number: int) -> None:
        self._number = number
        self._descriptor = os.pidfd_open(number)

    def signal(self, number: signal.Signals) -> None:
        """Send it, if the process is there."""
        try:
            signal.pidfd_send_signal(self._descriptor, number)
        except ProcessLookupError:
            pass

    @property
    def runs(self) -> bool:
        """Whether it has not ended; one that waits to be collected has."""
        try:
            stat = Path(f"/proc/{self._number}/stat").read_text()
            signal.pidfd_send_signal(self._descriptor, 0)
        except (OSError, ProcessLookupError):
            return False
        return stat.rpartition(")")[2].split()[0] not in "ZX"

    def end(self) -> None:
        """It may not go on."""
        self.signal(signal.SIGKILL)
        os.close(self._descriptor)


def _act(
    case: Case,
    verdict: Verdict,
    bench: Bench,
    stand: SeenStand,
    processes: tuple[_Process, _Process],
) -> None:
    """Do it, and judge what the stand did while the host was gone."""
    keeper, person = processes
    if not keeper.runs:
        return
    logs = list(bench.folder.glob("runs/*/" + NAME))
    verdict.state, verdict.plugged = stand.state.name.lower(), stand.plug_in
    before = logs[0].read_bytes() if logs else b""
    at_s = stand.elapsed_s
    for process, number in ((person, case.way.client), (keeper, case.way.keeper)):
        if number is not None:
            process.signal(number)
    limit_s = LEASE_S + SERVO_S + TICK_S + MACHINE_S + case.way.beat_s
    gone_s = case.frozen_s if case.way.thaws else limit_s + 0.3
    CLOCK.sleep(gone_s)
    until_s = stand.elapsed_s
    for process, number in ((person, case.way.client), (keeper, case.way.keeper)):
        if number is STOP:
            process.signal(signal.SIGCONT)
    # A proof with the supply off goes on without its client, and may.
    end_s = stand.last_up_s(at_s, until_s, plugged=case.way.beat_s > 0)
    verdict.driven = end_s is not None
    verdict.to_zero_s = 0.0 if end_s is None else end_s - at_s
    if verdict.to_zero_s > limit_s:
        verdict.broken.append(f"{1e3 * verdict.to_zero_s:.0f} ms to a pulse at zero")
    if case.way.ends and case.way.client is KILL and case.way.keeper is STOP:
        at_s = until_s  # it goes on, finds its client gone, and has to stop
    if case.way.ends:
        CLOCK.sleep(limit_s)
        after_s = stand.last_up_s(at_s + limit_s, stand.elapsed_s)
        if after_s is not None:
            verdict.broken.append("a pulse came back")
    _judge_bytes(verdict, bench, before)


def _judge_bytes(verdict: Verdict, bench: Bench, before: bytes) -> None:
    """Nothing that was on the disk at that moment is lost or changed."""
    whole = Reader(before) if len(before) >= len(MAGIC) else None
    records = list(whole.records()) if whole else []
    verdict.records = len(records)
    if not before:
        return
    (log,) = bench.folder.glob("runs/*/" + NAME)
    now = log.read_bytes()
    reader = Reader(now)
    read = list(reader.records())
    if not now.startswith(before):
        verdict.broken.append("bytes on the disk were changed")
    if read[: len(records)] != records:
        verdict.broken.append("records on the disk are not read")
    if reader.damage.places and not reader.damage.cut_short:
        verdict.broken.append(f"the log is damaged: {reader.damage}")


def _wait_for_the_end(client: subprocess.Popen[str], keeper: _Process) -> None:
    try:
        client.communicate(timeout=PATIENCE_S)
    except subprocess.TimeoutExpired:
        raise _Hangs("the command does not end") from None
    end_s = CLOCK.now_s() + PATIENCE_S
    while keeper.runs:
        if CLOCK.now_s() > end_s:
            raise _Hangs("the keeper does not end")
        CLOCK.sleep(0.02)


def _judge_the_end(
    case: Case, verdict: Verdict, bench: Bench, stand: SeenStand
) -> None:
    """No pulse, and a run that can be read and is or can be sealed."""
    now_s = stand.elapsed_s
    if stand.last_up_s(now_s - AFTER_S / 2, now_s) is not None:
        verdict.broken.append("a pulse at the very end")
    folders = list(bench.folder.glob("runs/*"))
    if not folders:
        verdict.ended = "no folder"
        return
    run = read_run(folders[0])
    if run.outcome is None and case.way.keeper is not KILL:
        verdict.broken.append("the keeper left no outcome")
    verdict.ended = "interrupted"
    if run.outcome is not None:
        verdict.ended = f"{run.outcome['ended']} {run.outcome['check']}".strip()
    cut = case.way.ends and verdict.state != "over" and not _was_at_its_end(run)
    if cut and verdict.ended == "completed":
        verdict.broken.append("completed, though it was cut")
    _seal_as_it_stands(folders[0])
    sealed = read_run(folders[0])
    if not (sealed.sealed and sealed.intact):
        verdict.broken.append("it cannot be sealed")
    if sealed.decisions != run.decisions:
        verdict.broken.append("sealing changed it")


def _was_at_its_end(run: Run) -> bool:
    """Whether the plan had been walked; what came then was too late to matter."""
    return any(True for _ in run.notes("walked"))


def table(verdicts: Sequence[Verdict]) -> str:
    """One row a way."""
    lines = [
        f"{'what':<30}{'times':>6}{'over':>6}{'pulse up':>10}{'ms to zero: middle':>20}"
        f"{'worst':>7}{'stated':>8}{'records kept':>16}{'broken':>8}"
    ]
    for way in WAYS:
        mine = [v for v in verdicts if v.case.way == way]
        if not mine:
            continue
        hit = [v for v in mine if v.state != "over"]
        taken = [1e3 * v.to_zero_s for v in hit if v.driven]
        middle = f"{statistics.median(taken):.0f}" if taken else "-"
        worst = f"{max(taken):.0f}" if taken else "-"
        stated = 1e3 * (LEASE_S + SERVO_S + way.beat_s)
        records = sum(v.records for v in hit)
        lines.append(
            f"{way.name:<30}{len(mine):>6}{len(mine) - len(hit):>6}{len(taken):>10}"
            f"{middle:>20}{worst:>7}{stated:>8.0f}{records:>16,}"
            f"{sum(bool(v.broken) for v in mine):>8}"
        )
    return "\n".join(lines)


def by_state(verdicts: Sequence[Verdict]) -> str:
    """When it struck, by the stand's state."""
    lines = [f"{'when, by the stand':<30}{'times':>6}{'pulse up':>10}{'worst ms':>10}"]
    rows: dict[str, Callable[[Verdict], bool]] = {
        "locked": lambda v: v.state == "locked",
        "proving, supply off": lambda v: v.state == "proving",
        "armed": lambda v: v.state == "armed",
        "spinning": lambda v: v.state == "spinning",
        "tripped": lambda v: v.state == "tripped",
        "all over before": lambda v: v.state == "over",
    }
    for name, is_mine in rows.items():
        mine = [v for v in verdicts if is_mine(v)]
        taken = [1e3 * v.to_zero_s for v in mine if v.driven]
        worst = f"{max(taken):.0f}" if taken else "-"
        lines.append(f"{name:<30}{len(mine):>6}{len(taken):>10}{worst:>10}")
    return "\n".join(lines)


def by_end(verdicts: Sequence[Verdict]) -> str:
    """How those ended that were struck."""
    lines = []
    for way in WAYS:
        ends = Counter(
            v.ended for v in verdicts if v.case.way == way and v.state != "over"
        )
        told = ", ".join(f"{end} {number}" for end, number in ends.most_common())
        lines.append(f"{way.name}: {told}")
    return "\n".join(lines)


def kept(path: Path | None) -> list[Verdict]:
    """Verdicts of an earlier run that did not come to its end."""
    if path is None or not path.exists():
        return []
    verdicts = []
    for line in path.read_text().splitlines():
        row = json.loads(line)
        verdicts.append(Verdict(draw(row.pop("seed")), **row))
    return verdicts


def keep(path: Path | None, verdict: Verdict) -> None:
    """One more, as a line."""
    if path is not None:
        row = asdict(verdict)
        row["seed"] = row.pop("case")["seed"]
        with path.open("a") as file:
            file.write(json.dumps(row) + "\n")


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign.kills")
    parser.add_argument("--times", type=int, default=500)
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    parser.add_argument("--at-once", type=int, default=4)
    parser.add_argument("--out", type=Path, help="verdicts, to go on from")
    options = parser.parse_args()
    verdicts = kept(options.out)
    done = {verdict.case.seed for verdict in verdicts}
    seeds = range(options.first, options.first + options.times)
    left = [draw(seed) for seed in seeds if seed not in done]
    with ProcessPoolExecutor(options.at_once) as pool:
        for verdict in pool.map(judge, left):
            verdicts.append(verdict)
            keep(options.out, verdict)
            if len(verdicts) % 20 == 0:
                print(f"{len(verdicts)} of {len(seeds)}", file=sys.stderr, flush=True)
    for part in (table, by_state, by_end):
        print(part(verdicts), end="\n\n")
    bad = [verdict for verdict in verdicts if verdict.broken]
    for verdict in bad[:40]:
        _tell(verdict)
    print(
        f"{len(verdicts)} spins, {len(bad)} with a broken law; "
        f"{1e3 * MACHINE_S:.0f} ms allowed to the machine on top of what is stated"
    )
    return 1 if bad else 0


def _tell(verdict: Verdict) -> None:
    case = verdict.case
    print(
        f"seed {case.seed}: {case.way.name} {case.after_s:.3f} s after the first byte, "
        f"{verdict.state}; {verdict.ended}"
    )
    for law in verdict.broken:
        print(f"  BROKEN: {law}")


if __name__ == "__main__":
    sys.exit(main())

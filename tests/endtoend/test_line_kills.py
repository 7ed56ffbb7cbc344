"""A stand without a lease, on a real port: whoever dies, its motor is stopped.

All of it at once, since each has to come to its plan in real time first.
"""

import json
import os
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
from typing_extensions import override

from daq.machine_clock import MachineClock
from daq.records.read import read_run
from daq.records.wirelog import Follower, Kind
from daq.stand.endpoint import open_endpoint
from daq.stand.faults.stand import FaultyStand
from daq.stand.lines import LineStand
from daq.stand.plant.bench import Plant
from daq.stand.plant.truth import shipped_truth
from daq.stand.serve import Server
from protocols.last_word import AGAIN_S, PATIENCE_S, STOPS
from protocols.task import Task
from tests.lined import DESCRIPTION, described, slow
from tests.served import ROOT
from tests.spins import LIMITS, NONCE, plan

pytestmark = [pytest.mark.endtoend, pytest.mark.timeout(90)]

LEVEL = 0.5
# What is stated: the second process's patience, and half a second for a machine.
STATED_S = PATIENCE_S + 0.5
TRIES = 3
AFTER_S = 0.8  # looked on for so long: no throttle comes back


class Watched(LineStand):
    """One whose every change of throttle is known, with when.

    Attributes:
        changes: moments and throttles.
    """

    def begin(self) -> None:
        self.changes: list[tuple[float, float]] = []

    @override
    def _obey(self, line: str) -> None:
        before = self.throttle_frac
        super()._obey(line)
        if self.throttle_frac != before:
            self.changes.append((time.monotonic(), self.throttle_frac))


@dataclass
class Driven:
    """A keeper at its plan on a served stand, and whoever started it.

    Attributes:
        stand: the stand.
        server: what serves it.
        keeper: the process.
        told: what it said at its end.
    """

    stand: Watched
    server: Server[Watched]
    keeper: subprocess.Popen[str]
    folder: Path
    told: list[dict[str, object]] = field(default_factory=list)
    gone: threading.Event = field(default_factory=threading.Event)

    def order(self, **order: object) -> None:
        if self.keeper.stdin is not None and not self.gone.is_set():
            self.keeper.stdin.write(json.dumps(order) + "\n")
            self.keeper.stdin.flush()

    def attend(self) -> None:
        """A client: beats, and says go when it is time."""
        follower: Follower | None = None
        try:
            while not self.gone.wait(0.1):
                self.order(order="beat")
                logs = list(self.folder.glob("*/wire.log"))
                if follower is None and logs:
                    follower = Follower(logs[0])
                notes = follower.fresh() if follower else []
                for record in notes:
                    if record.kind is Kind.NOTE and record.json()["note"] == "ready":
                        self.order(order="go")
        except (BrokenPipeError, ValueError):
            pass  # the keeper has gone

    def is_at_its_level(self) -> bool:
        """Whether it walks its plan.

        Raises:
            HeldUp: it does no more.
        """
        if self.keeper.poll() is not None:
            raise HeldUp(str(self.outcome()))
        return self.stand.throttle_frac >= LEVEL

    def last_word(self) -> int:
        """The second process's number."""
        children = Path(f"/proc/{self.keeper.pid}/task/{self.keeper.pid}/children")
        (number,) = children.read_text().split()
        return int(number)

    def leave(self) -> None:
        """The client is gone."""
        self.gone.set()
        if self.keeper.stdin is not None:
            with suppress(BrokenPipeError):
                self.keeper.stdin.close()

    def outcome(self) -> dict[str, object]:
        """What the keeper said last."""
        assert self.keeper.stdout is not None
        *_, last = self.keeper.stdout.read().splitlines()
        told = json.loads(last)["outcome"]
        assert isinstance(told, dict)
        return told


def wait_until(what: Callable[[], bool], seconds: float) -> None:
    end_s = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end_s, "it did not happen in time"
        time.sleep(0.002)


def driven(folder: Path, text: str, *, tcp: bool) -> Driven:
    """Started."""
    hardware = FaultyStand(Plant(shipped_truth(), 1), (), seed=1)
    stand = Watched(hardware, described(text))
    stand.begin()
    server = Server(stand, open_endpoint(tcp=tcp), MachineClock())
    keeper = subprocess.Popen(
        [sys.executable, "-m", "protocols.keeper"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        start_new_session=True,
    )
    made = Driven(stand, server, keeper, folder)
    # A busy machine holds everybody up; that is not what is looked for here.
    walked = replace(plan((LEVEL,), dwell_s=30.0), lease_s=0.5)
    limits = tuple(replace(limit, max_age_s=1.0) for limit in LIMITS)
    task = Task(walked, limits, NONCE, lines=text)
    made.order(
        port=server.name,
        baud=115_200,
        out=str(folder),
        name="run",
        task=task.to_dict(),
        header={"utc": "2026-05-09T14:02:00+00:00", "simulated": True, "versions": {}},
    )
    return made


# ------------------------------------------------------------- what is done to it


def kill(made: Driven) -> None:
    made.keeper.kill()


def freeze(made: Driven) -> None:
    made.keeper.send_signal(signal.SIGSTOP)


def terminate(made: Driven) -> None:
    made.keeper.terminate()


def close(made: Driven) -> None:
    made.server.end()


WAYS: dict[str, Callable[[Driven], None]] = {
    "killed": kill,
    "killed, on a socket": kill,
    "frozen": freeze,
    "terminated": terminate,
    "client gone": Driven.leave,
    "port closed": close,
}


@dataclass(frozen=True)
class Seen:
    """What became of one.

    Attributes:
        to_zero_s: until the throttle was zero; None where it stayed up.
        rose: whether it ever rose again.
        outcome: what the keeper said; None where it could not any more.
        is_over: no process of it is left.
    """

    to_zero_s: float | None
    rose: bool
    outcome: dict[str, object] | None
    is_over: bool


class HeldUp(Exception):
    """A busy machine ended the spin before its time."""


def done(way: str, folder: Path, text: str) -> Seen:
    """One keeper, from its start to its end; anew where the machine was too busy."""
    for attempt in range(TRIES - 1):
        try:
            return _done(way, folder / f"{attempt}", text)
        except HeldUp:
            continue
    return _done(way, folder / "last", text)


def _done(way: str, folder: Path, text: str) -> Seen:
    folder.mkdir(parents=True)
    made = driven(folder, text, tcp="socket" in way)
    threads = [threading.Thread(target=made.server.run)]
    threads.append(threading.Thread(target=made.attend))
    for thread in threads:
        thread.start()
    try:
        wait_until(made.is_at_its_level, 40.0)
        speaker = os.pidfd_open(made.last_word())
        at_s = time.monotonic()
        WAYS[way](made)
        time.sleep(STATED_S + 0.1)
        if way == "frozen":
            made.keeper.send_signal(signal.SIGCONT)
        time.sleep(AFTER_S)
        after = [change for change in made.stand.changes if change[0] >= at_s]
        zeros = [moment_s for moment_s, frac in after if frac == 0.0]
        told = None if WAYS[way] is kill else made.outcome()
        made.keeper.wait(10.0)
        (run,) = folder.iterdir()
        assert read_run(run).header["last_word"] is True
        is_over = _ends(speaker, STOPS * AGAIN_S + 1.0)
        return Seen(
            zeros[0] - at_s if zeros else None,
            any(frac > 0.0 for moment_s, frac in after if moment_s > zeros[0])
            if zeros
            else False,
            told,
            is_over,
        )
    finally:
        made.server.end()
        made.leave()
        made.keeper.kill()
        made.keeper.wait()
        for thread in threads:
            thread.join(5.0)
        if made.keeper.stdout is not None:
            made.keeper.stdout.close()


def _ends(descriptor: int, seconds: float) -> bool:
    """Whether a process ends within that time."""
    ended = bool(select.select([descriptor], [], [], seconds)[0])
    os.close(descriptor)
    return ended


def judge(way: str, seen: Seen) -> None:
    assert seen.is_over
    assert not seen.rose
    if way == "port closed":
        assert seen.to_zero_s is None  # and nothing here could have
        assert seen.outcome is not None
        assert seen.outcome["stop_confirmed"] is False
        assert "PULL THE ARMING PLUG" in str(seen.outcome["advice"])
        return
    assert seen.to_zero_s is not None
    assert seen.to_zero_s <= STATED_S
    if way in ("terminated", "client gone"):
        assert seen.outcome is not None
        assert seen.outcome["ended"] == "stopped"
        assert seen.outcome["stop_confirmed"] is True


@pytest.mark.slow
def test_whoever_dies_the_motor_is_stopped(tmp_path: Path) -> None:
    with ThreadPoolExecutor(len(WAYS)) as pool:
        found = list(pool.map(lambda way: done(way, tmp_path / way, DESCRIPTION), WAYS))
    for way, seen in zip(WAYS, found, strict=True):
        judge(way, seen)


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [10, 25])
def test_on_slow_stands_too(tmp_path: Path, rate_hz: float) -> None:
    text = slow(rate_hz=rate_hz)
    with ThreadPoolExecutor(3) as pool:
        found = list(pool.map(lambda way: done(way, tmp_path / way, text), WAYS))
    for way, seen in zip(WAYS, found, strict=True):
        judge(way, seen)

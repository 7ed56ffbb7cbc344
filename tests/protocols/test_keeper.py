"""The keeper's loop: what is written when, and writes that fail one by one."""

import errno
from collections.abc import Iterator
from pathlib import Path

import pytest
from typing_extensions import override

from daq.clock import JumpingClock
from daq.errors import InputFault
from daq.link.ports import PortLost
from daq.records.wirelog import MAGIC, Kind, Reader, Record, WireLog, to_json
from protocols.control import Control
from protocols.keeper import Keeper, give, read_start
from protocols.phases import Phase
from tests.spins import spin, task


class Wire:
    """A port whose far end is a device in the same virtual time."""

    name = "wire"
    descriptor: int | None = None

    def __init__(self) -> None:
        self.sent = b""
        self.fails = False

    def read(self) -> bytes:
        return b""

    def write(self, data: bytes) -> None:
        if self.fails:
            raise PortLost("The port wire is gone.")
        self.sent += data

    def close(self) -> None:
        """Nothing to let go of."""


class FailingLog(WireLog):
    """A log whose n-th write fails, once or from then on."""

    def __init__(self, path: Path, fails_at: int, *, for_good: bool) -> None:
        self.fails_at = fails_at
        self.for_good = for_good
        self.count = -1
        super().__init__(path)

    @override
    def append(self, kind: Kind, time_ns: int, data: bytes = b"") -> None:
        self.count += 1
        past = self.count >= self.fails_at
        if past and (self.for_good or self.count == self.fails_at):
            raise OSError(errno.ENOSPC, "No space left on device")
        super().append(kind, time_ns, data)


@pytest.fixture(scope="module")
def inputs() -> list[Record]:
    """What comes in during the first seconds of a spin, until it turns."""
    run = spin()
    run.run(until_s=7.6)
    assert run.device.pulse_s > 1.2e-3
    kinds = (Kind.BYTES_IN, Kind.ORDER, Kind.TICK)
    return [r for r in run.records if r.kind in kinds]


def fed(keeper: Keeper, inputs: list[Record]) -> Iterator[Record]:
    for record in inputs:
        keeper._take(record)
        while not keeper._arrivals.empty():
            own = keeper._arrivals.get()
            keeper._take(Record(own.kind, record.time_ns, own.data))
        yield record


def test_the_port_is_written_before_the_record(
    inputs: list[Record], tmp_path: Path
) -> None:
    order: list[str] = []

    class Loud(Wire):
        @override
        def write(self, data: bytes) -> None:
            order.append("port")

    class Slow(WireLog):
        @override
        def append(self, kind: Kind, time_ns: int, data: bytes = b"") -> None:
            order.append(kind.name)

    log = Slow(tmp_path / "l")
    keeper = Keeper(Control(task()), Loud(), log, JumpingClock())
    for _ in fed(keeper, inputs[:50]):
        pass
    log.close()
    first = order.index("port")
    assert order[first + 1] in ("TICK", "BYTES_IN", "ORDER")
    assert "BYTES_OUT" in order[first + 1 : first + 4]


@pytest.mark.parametrize(
    "for_good",
    [False, pytest.param(True, marks=pytest.mark.slow)],
    ids=["once", "from then on"],
)
def test_every_write_failed_in_turn_stops_the_motor(
    for_good: bool, inputs: list[Record], tmp_path: Path
) -> None:
    total = _writes_without_failure(inputs, tmp_path)
    tried = sorted({*range(12), *range(12, total, max(1, total // 40))})
    for fails_at in tried:
        path = tmp_path / f"{for_good}-{fails_at}.log"
        log = FailingLog(path, fails_at, for_good=for_good)
        wire, control = Wire(), Control(task())
        keeper = Keeper(control, wire, log, JumpingClock())
        armed = False
        for _ in fed(keeper, inputs):
            armed = armed or control.phase in (Phase.ARMING, Phase.RUNNING)
        log.close()
        assert keeper.disk_fault == "No space left on device"
        assert control.phase in (Phase.STOPPING, Phase.LINGERING, Phase.ENDED)
        # What was written before the failure is whole.
        reader = Reader(path.read_bytes())
        assert len(list(reader.records())) == fails_at
        assert reader.damage.bytes == 0


def _writes_without_failure(inputs: list[Record], tmp_path: Path) -> int:
    log = FailingLog(tmp_path / "whole.log", 10**9, for_good=True)
    keeper = Keeper(Control(task()), Wire(), log, JumpingClock())
    for _ in fed(keeper, inputs):
        pass
    log.close()
    assert not keeper.disk_fault
    return log.count + 1


def test_a_port_that_fails_on_write_is_a_lost_link(
    inputs: list[Record], tmp_path: Path
) -> None:
    wire, control, log = Wire(), Control(task()), WireLog(tmp_path / "l")
    keeper = Keeper(control, wire, log, JumpingClock())
    for number, _ in enumerate(fed(keeper, inputs)):
        wire.fails = number > len(inputs) - 50
    log.close()
    assert control.phase is Phase.ENDED
    assert control.outcome is not None
    assert control.outcome.check == "link lost"


def test_a_bug_in_the_loop_still_sends_a_stop(tmp_path: Path) -> None:
    wire, control, log = Wire(), Control(task()), WireLog(tmp_path / "l")
    keeper = Keeper(control, wire, log, JumpingClock())

    def broken(*_: object) -> object:
        raise RuntimeError("a bug")

    control.tick = broken  # type: ignore[assignment,method-assign]
    with pytest.raises(RuntimeError):
        keeper.run()
    log.close()
    assert wire.sent.count(b"\0") >= 2


def test_an_unreadable_order_is_noted_and_ignored() -> None:
    outputs = give(Control(task()), Kind.ORDER, 0, b"{")
    assert {"note": "ignored", "order": "unreadable"} in outputs.notes


@pytest.mark.parametrize("line", ["", "{", "[]", '{"port": "x"}'])
def test_a_start_order_that_is_none_is_said(line: str) -> None:
    with pytest.raises(InputFault, match="start order cannot be read"):
        read_start(line)


def test_a_start_order_is_read_whole() -> None:
    row = {
        "port": "/dev/x",
        "out": "runs",
        "name": "a",
        "task": task().to_dict(),
        "header": {"utc": "now"},
    }
    start = read_start(to_json(row).decode())
    assert start.task == task()
    assert start.baud == 500_000


def test_the_log_begins_with_its_magic(tmp_path: Path) -> None:
    WireLog(tmp_path / "l").close()
    assert (tmp_path / "l").read_bytes() == MAGIC

"""A record replayed through the core gives the same decisions, byte for byte."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from daq.link import messages as m
from daq.records.wirelog import Kind, Reader, Record, WireLog, to_json
from protocols.control import Control
from protocols.keeper import give
from protocols.task import Task
from tests.spins import spin
from tests.virtual import VirtualSpin

INPUTS = (Kind.BYTES_IN, Kind.ORDER, Kind.LOST, Kind.TICK)


def replayed(records: list[Record]) -> list[Record]:
    """The records that a fresh core makes of the inputs in these."""
    header = records[0].json()
    control = Control(Task.from_dict(header["task"]), str(header["port"]))
    again = [records[0]]
    for record in records[1:]:
        if record.kind not in INPUTS:
            continue
        outputs = give(control, record.kind, record.time_ns, record.data)
        again.append(record)
        at = record.time_ns
        again += [Record(Kind.BYTES_OUT, at, write) for write in outputs.writes]
        again += [Record(Kind.NOTE, at, to_json(note)) for note in outputs.notes]
    return again


def record_of(run: VirtualSpin) -> list[Record]:
    """A virtual spin's records with the header that a keeper would write."""
    header = {"task": run.control.task.to_dict(), "port": "test port"}
    first = Record(Kind.HEADER, run.records[0].time_ns, to_json(header))
    return [first, *run.records]


def nothing(run: VirtualSpin) -> None:
    """A good spin."""


def stop(run: VirtualSpin) -> None:
    """A person stops it."""
    run.order(order="stop")


def restart(run: VirtualSpin) -> None:
    """The stand restarts."""
    run.device.reset(m.Cause.BROWN_OUT)


def freeze_client(run: VirtualSpin) -> None:
    """The client falls silent."""
    run.beats = False


@pytest.mark.parametrize("act", [nothing, stop, restart, freeze_client])
def test_a_replay_decides_the_same(
    act: Callable[[VirtualSpin], None], tmp_path: Path
) -> None:
    run = spin()
    run.at(5.0, act)
    run.run()
    live = record_of(run)
    log = WireLog(tmp_path / "wire.log")
    for record in live:
        log.append(record.kind, record.time_ns, record.data)
    log.close()
    read = list(Reader.open(tmp_path / "wire.log").records())
    assert read == live
    assert replayed(read) == live


def test_a_replay_notices_a_changed_limit() -> None:
    run = spin()
    run.run()
    live = record_of(run)
    header = live[0].json()
    header = json.loads(json.dumps(header))
    header["task"]["limits"][0]["high"] = 2.0
    changed = [Record(Kind.HEADER, live[0].time_ns, to_json(header)), *live[1:]]
    assert replayed(changed)[1:] != live[1:]

"""Run folders for tests: a virtual spin written as the keeper would write it."""

import itertools
from collections.abc import Mapping
from pathlib import Path

from daq.records import folder as folders
from daq.records.wirelog import NAME, Kind, WireLog, to_json
from protocols.keeper import end_of
from tests.virtual import VirtualSpin

_numbers = itertools.count()


def header_of(run: VirtualSpin, article: dict[str, object] | None) -> dict[str, object]:
    """The header that a keeper would write."""
    header: dict[str, object] = {
        "format": 1,
        "utc": "2026-05-09T14:02:00+00:00",
        "port": "test port",
        "monotonic_ns": run.records[0].time_ns,
        "simulated": True,
        "task": run.control.task.to_dict(),
        "versions": {"gramwatt": "0"},
    }
    if article is not None:
        header["article"] = article
    return header


def write_run(
    run: VirtualSpin,
    parent: Path,
    *,
    article: dict[str, object] | None = None,
    more: Mapping[str, object] | None = None,
    seal: bool = True,
) -> Path:
    """Write a virtual spin's records as a run folder, with more in its header."""
    header = header_of(run, article) | dict(more or {})
    folder = folders.create(parent, f"run-{next(_numbers)}", header)
    log = WireLog(folder / NAME)
    log.append(Kind.HEADER, run.records[0].time_ns, to_json(header))
    for record in run.records:
        log.append(record.kind, record.time_ns, record.data)
    outcome = run.control.outcome.to_dict() if run.control.outcome else {}
    if seal:
        log.append(Kind.END, run.host_ns, end_of(run.control))
    log.close()
    if seal:
        folders.seal(folder, outcome)
    return folder

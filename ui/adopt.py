"""A log that was recorded elsewhere, made a run that can be analysed like any other.

The log's own bytes go into the record, with the description that says how to read
them, and with the levels that the throttle in it was held at. What gramwatt did not
do, drive and guard, the record does not claim; every figure made of it says where it
is from.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from daq.errors import InputFault, WorldFault

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from daq.analysis.held import Level
    from daq.link.columns.description import Description

PULSE: Final = "pulse"
ZERO_PULSE_S: Final = 1.0e-3
PULSE_SPAN_S: Final = 1.0e-3
MAX_BYTES: Final = 64_000_000
OUTCOME: Final[Mapping[str, object]] = {
    "ended": "elsewhere",
    "cause": "Recorded elsewhere: gramwatt neither drove this motor nor guarded it.",
    "check": "",
    "advice": "",
    "data": "elsewhere",
}
NO_PULSE: Final = (
    "it describes no channel named pulse, and without the throttle no levels can be "
    'found. Describe the column that holds it, with unit = "us" (a percentage: '
    "scale = 10 and offset = 1000)."
)


@dataclass(slots=True)
class _Heard:
    """What a log holds by its description."""

    time_s: list[float] = field(default_factory=list)
    throttle_frac: list[float] = field(default_factory=list)
    not_taken: str = ""


def adopt(
    log: Path,
    lines: str,
    description: Description,
    facts: Mapping[str, object],
    out: Path,
) -> Path:
    """Make a run's folder of a log.

    Args:
        log: the file, as it was recorded.
        lines: text of the description.
        description: the same, read.
        facts: for the header: utc, article, versions.
        out: folder that gets the run's folder.

    Returns:
        The run's folder, sealed.

    Raises:
        InputFault: log or description hold nothing that could be analysed.
        WorldFault: the log cannot be read, or the folder cannot be written.
    """
    from daq.link.columns.session import SIMULATED_LINE
    from daq.records.read import ADOPTED

    if not any(channel.name == PULSE for channel in description.channels):
        raise InputFault(f"{description.name}: {NO_PULSE}")
    data = _read(log)
    pieces = list(_pieces(data, description.rate_hz))
    heard = _hear(pieces, description)
    levels = _levels(heard, log)
    digest = hashlib.sha256(data).hexdigest()
    header = {
        **facts,
        "simulated": SIMULATED_LINE.encode() in data,
        "task": {"lines": lines},
        ADOPTED: {"file": log.name, "bytes": len(data), "sha256": digest},
    }
    # Read anew with another description or article, it is another run.
    told = json.dumps([digest, lines, facts.get("article")]).encode()
    tag = hashlib.sha256(told).hexdigest()[:4]
    return _write(out, f"log-{tag}", header, pieces, levels)


def _read(log: Path) -> bytes:
    try:
        with log.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as fault:
        raise WorldFault(f"{log} cannot be read: {fault.strerror}.") from None
    if len(data) > MAX_BYTES:
        raise InputFault(f"{log} is larger than {MAX_BYTES // 1_000_000} MB; cut it.")
    return data if data.endswith((b"\n", b"\r")) else data + b"\n"


def _pieces(data: bytes, rate_hz: float) -> Iterator[tuple[int, bytes]]:
    """Each line with the time it is taken to have come, in nanoseconds.

    Nobody kept when it came: its number at the described rate has to do, which a
    clock of the stand's own then overrules.
    """
    for number, line in enumerate(data.splitlines(keepends=True)):
        yield round(number / rate_hz * 1e9), line


def _hear(pieces: list[tuple[int, bytes]], description: Description) -> _Heard:
    """What the lines say, by the code that reads them in a run."""
    from daq.link import session as s
    from daq.link.columns.session import LineSession

    session, heard = LineSession(description, begins_whole=True), _Heard()
    session.identify(0.0)
    for time_ns, line in pieces:
        for happening in session.receive(line, time_ns * 1e-9):
            if not isinstance(happening, s.Sampled):
                continue
            for page, count in zip(
                happening.layout.channels, happening.counts, strict=True
            ):
                if page.name == PULSE:
                    frac = (page.to_si(count) - ZERO_PULSE_S) / PULSE_SPAN_S
                    heard.time_s.append(happening.device_s)
                    heard.throttle_frac.append(min(max(frac, 0.0), 1.0))
    heard.not_taken = session.not_taken()
    return heard


def _levels(heard: _Heard, log: Path) -> list[Level]:
    import numpy as np

    from daq.analysis.held import LEAST_S, find_levels

    if not heard.time_s:
        why = heard.not_taken or "It holds none."
        raise InputFault(
            f"{log}: no line of it can be used. {why} Does the description fit? "
            f"'gramwatt describe {log}' proposes one."
        )
    levels = find_levels(np.array(heard.time_s), np.array(heard.throttle_frac))
    if not any(level.step >= 0 for level in levels):
        highest = 100 * max(heard.throttle_frac)
        raise InputFault(
            f"{log}: its throttle (highest {highest:.0f} %) is nowhere held for "
            f"{LEAST_S:g} s above zero, so there is no level to read. Does the pulse "
            "channel's scale fit?"
        )
    return levels


# ------------------------------------------------------------------ the record


def _notes(levels: list[Level]) -> Iterator[tuple[float, dict[str, object]]]:
    """The levels as notes of a walk, each with the time on the stand's clock."""
    from daq.analysis.held import SETTLE_S

    frac, index = 0.0, 0
    for level in levels:
        parts = [("settle", level.start_s), ("dwell", level.start_s + SETTLE_S)]
        if level.step < 0:
            parts = [("rest", level.start_s)]
        frac = level.throttle_frac
        for kind, start_s in (*parts, ("ramp", level.end_s)):
            moves = kind == "ramp"
            yield (
                start_s,
                {
                    "note": "segment",
                    "index": index,
                    "kind": kind,
                    "leg": "rest" if moves else level.leg,
                    "step": -1 if moves else level.step,
                    "throttle_frac": frac,
                    "device_s": start_s,
                },
            )
            index += 1
    end_s = levels[-1].end_s
    yield end_s, {"note": "walked", "device_s": end_s}


def _write(
    out: Path,
    name: str,
    header: Mapping[str, object],
    pieces: list[tuple[int, bytes]],
    levels: list[Level],
) -> Path:
    from daq.records import folder as folders
    from daq.records.wirelog import NAME, Kind, WireLog, to_json

    whole = {**header, "format": 1, "monotonic_ns": 0}
    utc = str(header["utc"])
    stamp, _, tag = name.partition("-")
    named = folders.folder_name(utc, stamp, tag)
    if (out / named).exists():
        raise InputFault(
            f"{out / named} is this log already, with this description and article. "
            "Remove it, or choose another place with --out."
        )
    folder = folders.create(out, named, whole)
    last_ns = pieces[-1][0]
    try:
        log = WireLog(folder / NAME)
        try:
            log.append(Kind.HEADER, 0, to_json(whole))
            for time_ns, line in pieces:
                log.append(Kind.BYTES_IN, time_ns, line)
            for _, note in _notes(levels):
                log.append(Kind.NOTE, last_ns, to_json(note))
            log.append(Kind.END, last_ns, to_json(dict(OUTCOME)))
            log.sync()
        finally:
            log.close()
        folders.seal(folder, OUTCOME, simulated=header["simulated"] is True)
    except OSError as fault:
        raise WorldFault(
            f"The record in {folder} cannot be written: {fault.strerror}."
        ) from None
    return folder

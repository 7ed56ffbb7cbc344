"""``gramwatt describe``: propose a description of a stand that prints lines.

Listens to a port for some seconds, or reads a log, and writes what it saw and what
it guessed as a TOML file with comments, for a person to check and finish.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ui.cli.language import check_baud

if TYPE_CHECKING:
    from daq.clock import Clock
    from daq.link.columns.proposal import Proposal

# Tried in this order where nobody says; what sketches are usually set to.
USUAL_BAUDS: Final = (115_200, 57_600, 9_600, 250_000, 500_000, 38_400, 19_200)
# A board that opening resets begins to print after seconds.
TRY_S: Final = 4.0
LISTEN_S: Final = 8.0
LOG_MAX_BYTES: Final = 8_000_000


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "describe",
        help="propose a description of a stand that prints lines of text",
        description=(
            "Listen to a port, or read a log, and propose a description (TOML) of a "
            "stand that prints lines. Units are never guessed where the stand does not "
            'name them: fill in every "?" and check what says guessed. Sends nothing.'
        ),
    )
    parser.add_argument(
        "source", metavar="PORT_OR_LOG", help="device path, pyserial URL, or a log file"
    )
    parser.add_argument(
        "--baud", type=int, help="speed of the port (default: the usual ones are tried)"
    )
    parser.add_argument(
        "--seconds", type=float, default=LISTEN_S, help="how long to listen (default 8)"
    )
    parser.add_argument(
        "--name", default="my stand", help="what the stand shall be called"
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="write it there (default: print it)"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Propose; the exit status is 0 also when something has to be filled in.

    Raises:
        GramwattError: the source cannot be read, or holds nothing that can be
            described, or the file is there already.
    """
    from daq.errors import InputFault
    from daq.fresh_file import refuse_taken, write_fresh

    if not 0.5 <= args.seconds <= 600:
        raise InputFault(f"--seconds is {args.seconds:g}; it must be 0.5 to 600.")
    check_baud(args.baud)
    refuse_taken(args.out)
    log = Path(args.source)
    if log.is_dir():
        raise InputFault(f"{log} is a folder; name a log in it, or a port.")
    found = _of_log(log, args) if log.is_file() else _of_port(args)
    if args.out is not None:
        write_fresh(args.out, found.text.encode())
    if args.json:
        print(json.dumps(_said(found, args.out)))
        return 0
    if args.out is None:
        print(found.text, end="", flush=True)
    for words in found.seen:
        _tell(words)
    _tell_next(found, args)
    return 0


def _said(found: Proposal, out: Path | None) -> dict[str, object]:
    """What it found, as ``--json`` prints it."""
    return {
        "file": None if out is None else str(out),
        "description": found.text,
        "seen": list(found.seen),
        "to_fill_in": found.to_fill_in,
    }


def _of_log(path: Path, args: argparse.Namespace) -> Proposal:
    from daq.errors import InputFault
    from daq.link.columns.proposal import propose

    try:
        with path.open("rb") as file:
            data = file.read(LOG_MAX_BYTES)
    except OSError as fault:
        raise InputFault(f"{path} cannot be read: {fault.strerror}.") from None
    try:
        return propose(data, baud=args.baud, begins_whole=True, name=args.name)
    except InputFault as fault:
        raise InputFault(f"{path}: {fault}") from None


def _of_port(args: argparse.Namespace) -> Proposal:
    """Listen at the speed asked for, or at the first that makes sense."""
    from daq.errors import InputFault
    from daq.link.columns.proposal import propose
    from daq.machine_clock import MachineClock

    _refuse_a_missing_log(args.source)
    clock = MachineClock()
    bauds = (args.baud,) if args.baud else USUAL_BAUDS
    refused = ""
    for baud in bauds:
        _tell(f"Listening to {args.source} at {baud} baud.")
        trial = args.seconds if args.baud else min(TRY_S, args.seconds)
        data, took_s = _heard(args.source, baud, trial, clock, args.seconds)
        try:
            return propose(data, duration_s=took_s, baud=baud, name=args.name)
        except InputFault as fault:
            refused = refused or str(fault)
    tried = "" if args.baud else " None of the usual speeds fitted; say --baud."
    raise InputFault(f"{args.source}: {refused}{tried}")


def _refuse_a_missing_log(source: str) -> None:
    """A name with an ending is a file's, unless it is a port's that is there.

    Raises:
        InputFault: there is no such file.
    """
    from daq.errors import InputFault

    path = Path(source)
    if path.suffix and "://" not in source and not path.exists():
        raise InputFault(f"{source}: there is no such file, and no such port.")


def _heard(
    name: str, baud: int, trial_s: float, clock: Clock, whole_s: float
) -> tuple[bytes, float]:
    """What came, and in how long; longer than the trial only where it made sense.

    The time counts from the first byte: what opening resets is silent for a while.

    Raises:
        GramwattError: the port cannot be opened or is lost.
    """
    from daq.link.columns.proposal import looks_like_lines
    from daq.link.ports import open_port

    port = open_port(name, baud)
    data, begun_s = b"", clock.now_s()
    first_s, end_s = begun_s, begun_s + trial_s
    extended = trial_s >= whole_s
    try:
        while clock.now_s() < end_s:
            came = port.read()
            if came and not data:
                first_s = clock.now_s()
            data += came
            if clock.now_s() >= end_s and not extended and looks_like_lines(data):
                end_s, extended = first_s + whole_s, True
    except KeyboardInterrupt:
        print(file=sys.stderr)
    finally:
        port.close()
    return data, max(clock.now_s() - first_s, 1e-3)


def _tell_next(found: Proposal, args: argparse.Namespace) -> None:
    """What a person has to do now."""
    where = str(args.out) if args.out else "it, saved in a file,"
    if found.to_fill_in:
        blanks = f'fill in {found.to_fill_in} "?"'
        _tell(f"Next: {blanks} in {where} and check what says guessed.")
    else:
        _tell(f"Next: check in {where} what says guessed.")
    file = str(args.out) if args.out else "FILE"
    if Path(args.source).is_file():
        if 'name = "pulse"' not in found.text:
            _tell(
                "Name the channel that holds the throttle pulse: the levels are found "
                "by it."
            )
        _tell(f"Then: gramwatt adopt {args.source} --lines {file} --article ARTICLE")
        return
    _tell(f"Then see whether it fits: gramwatt watch {args.source} --lines {file}")
    _tell(
        "To let a motor be spun, add a [commands] table with the throttle that your "
        "sketch takes; the comments at the end show how."
    )


def _tell(words: str) -> None:
    from ui.cli.text import wrapped

    print(wrapped(words), file=sys.stderr)

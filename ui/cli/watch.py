"""``gramwatt watch``: live readings and the link's health; never arms."""

from __future__ import annotations

import argparse
import math
import shutil
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from daq.clock import Clock
    from daq.link.ports import Port
    from daq.link.session import Session, Stand


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "watch",
        help="live readings and link health; never arms anything",
        description=(
            "Identify the stand on PORT and show its state, readings (by the stand's "
            "own constants, not zeroed) and the link's health, twice a second."
        ),
    )
    parser.add_argument("port", metavar="PORT", help="device path or pyserial URL")
    parser.add_argument("--baud", type=int, default=500_000, help="default: 500000")
    parser.add_argument(
        "--seconds", type=float, default=math.inf, help="end after so long"
    )
    parser.add_argument("--json", action="store_true", help="a JSON object a line")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Watch until ctrl-C, the end of the time asked for, or the port's end.

    Raises:
        GramwattError: the port cannot be opened, is lost, or is no stand's.
    """
    from daq.errors import InputFault
    from daq.link.ports import open_port
    from daq.machine_clock import MachineClock

    if not args.seconds > 0:
        raise InputFault(f"--seconds is {args.seconds:g}; it must be above zero.")
    if args.baud <= 0:
        raise InputFault(f"--baud is {args.baud}; it must be above zero.")
    clock = MachineClock()
    port = open_port(args.port, args.baud)
    try:
        _watch(port, clock, args)
    except KeyboardInterrupt:
        print()
    finally:
        port.close()
    return 0


def _watch(port: Port, clock: Clock, args: argparse.Namespace) -> None:
    from daq.errors import StandFault
    from daq.link import session as s
    from protocols.explain import not_a_stand

    session = s.Session()
    end_s = clock.now_s() + args.seconds
    session.identify(clock.now_s())
    newest: dict[str, float] = {}
    next_s = clock.now_s() + 0.5
    while clock.now_s() < end_s:
        write, happenings = session.poll(clock.now_s())
        if write:
            port.write(write)
        happenings += session.receive(port.read(), clock.now_s())
        for happening in happenings:
            if isinstance(happening, s.WrongVersion | s.NotIdentified):
                outcome = not_a_stand(happening, args.port)
                raise StandFault(f"{outcome.cause} {outcome.advice}")
            if isinstance(happening, s.Identified) and not args.json:
                _introduce(happening.stand)
            if isinstance(happening, s.Sampled):
                pages = happening.layout.channels
                for page, count in zip(pages, happening.counts, strict=True):
                    newest[page.name] = page.to_si(count)
        if session.stand is not None and clock.now_s() >= next_s:
            next_s = clock.now_s() + 0.5
            _show(session, newest, as_json=args.json)
    if session.stand is None:
        raise StandFault(f"No stand answered on {args.port} in {args.seconds:g} s.")


def _introduce(stand: Stand) -> None:
    identity = stand.identity
    print(
        f"Stand {identity.stand_id:08x} on {identity.board}, firmware "
        f"{identity.firmware_major}.{identity.firmware_minor}, boot {identity.boot}."
    )
    print("Readings by the stand's own constants, not zeroed; ctrl-C ends.")


def _show(session: Session, newest: dict[str, float], *, as_json: bool) -> None:
    from protocols.limits import to_trade

    health = session.health
    lost = health.lost + session.drops
    if as_json:
        import json

        values = {n: v if math.isfinite(v) else None for n, v in newest.items()}
        state = session.state.name.lower()
        print(
            json.dumps({"state": state, "si": values, "lost_frames": lost}), flush=True
        )
        return
    parts = [session.state.name.lower()]
    for name in ("thrust", "current", "voltage", "speed"):
        if name in newest:
            value, unit = to_trade(name, newest[name])
            digits = {"gf": 1, "A": 2, "V": 2}.get(unit, 0)
            parts.append(f"{name} {value:.{digits}f} {unit}")
    parts.append(f"{lost} of {health.frames + lost} lost")
    line = "  ".join(parts)
    if sys.stdout.isatty():
        width = shutil.get_terminal_size().columns - 1
        sys.stdout.write("\r" + line[:width].ljust(width))
        sys.stdout.flush()
    else:
        print(line, flush=True)

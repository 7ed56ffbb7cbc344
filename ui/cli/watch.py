"""``gramwatt watch``: live readings and the link's health; never arms."""

from __future__ import annotations

import argparse
import math
import shutil
import sys
from typing import TYPE_CHECKING

from ui.cli.heard import Heard
from ui.cli.language import add_language_options, baud_of, described

if TYPE_CHECKING:
    from daq.clock import Clock
    from daq.link.columns.description import Description
    from daq.link.conversation import Conversation
    from daq.link.ports import Port
    from daq.link.session import Happening, Stand


SHOW_PERIOD_S = 0.5


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
    add_language_options(parser)
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
    _, description = described(args.lines)
    baud = baud_of(args.baud, description)
    clock = MachineClock()
    port = open_port(args.port, baud)
    try:
        _watch(port, clock, description, args)
    except KeyboardInterrupt:
        print()
    finally:
        port.close()
    return 0


def _watch(
    port: Port,
    clock: Clock,
    description: Description | None,
    args: argparse.Namespace,
) -> None:
    from daq.errors import StandFault
    from daq.link.conversation import conversation_with

    session = conversation_with(description)
    end_s = clock.now_s() + args.seconds
    session.identify(clock.now_s())
    heard = Heard()
    next_s = clock.now_s() + SHOW_PERIOD_S
    while clock.now_s() < end_s:
        write, happenings = session.poll(clock.now_s())
        if write:
            port.write(write)
        happenings += session.receive(port.read(), clock.now_s())
        for happening in happenings:
            _happened(happening, heard, description, args)
        if session.stand is not None and clock.now_s() >= next_s:
            next_s = clock.now_s() + SHOW_PERIOD_S
            _show(session, heard, clock.now_s(), as_json=args.json)
    if session.stand is None:
        raise StandFault(f"No stand answered on {args.port} in {args.seconds:g} s.")
    _tell_not_taken(session, as_json=args.json)


def _happened(
    happening: Happening,
    heard: Heard,
    description: Description | None,
    args: argparse.Namespace,
) -> None:
    """Take one thing that the stand said or did not say.

    Raises:
        StandFault: it is none.
    """
    from daq.errors import StandFault
    from daq.link import session as s
    from protocols.explain import not_a_stand

    if isinstance(happening, s.WrongVersion | s.NotIdentified):
        outcome = not_a_stand(happening, args.port)
        raise StandFault(f"{outcome.cause} {outcome.advice}")
    if isinstance(happening, s.Identified) and not args.json:
        _introduce(happening.stand, description)
    if isinstance(happening, s.Sampled):
        heard.take(happening)


def _tell_not_taken(session: Conversation, *, as_json: bool) -> None:
    from ui.cli.text import wrapped

    told = session.not_taken()
    if told and not as_json:
        print("\n" * sys.stdout.isatty() + wrapped(told))


def _introduce(stand: Stand, description: Description | None) -> None:
    from daq.link.messages import Ability
    from protocols.unprotected import lacks
    from ui.cli.text import labelled, wrapped

    identity = stand.identity
    simulated = "SIMULATED s" if Ability.SIMULATED in identity.abilities else "S"
    if description is not None:
        print(
            f'{simulated}tand "{description.name}", which prints '
            f"{', '.join(c.name for c in description.channels)} in lines of text."
        )
        for words in lacks(description):
            print(labelled("lacks", words))
        print(wrapped("Readings as described, not zeroed; ctrl-C ends."))
        return
    print(
        f"{simulated}tand {identity.stand_id:08x} on {identity.board}, firmware "
        f"{identity.firmware_major}.{identity.firmware_minor}, boot {identity.boot}."
    )
    print("Readings by the stand's own constants, not zeroed; ctrl-C ends.")


def _show(session: Conversation, heard: Heard, now_s: float, *, as_json: bool) -> None:
    from protocols.limits import to_trade

    newest, slow = heard.newest, heard.slow(now_s)
    health = session.health
    lost = health.lost + session.drops
    if session.stands_in:
        lost = health.malformed + health.unknown + session.drops
    if as_json:
        import json

        values = {n: v if math.isfinite(v) else None for n, v in newest.items()}
        said: dict[str, object] = {"state": session.state.name.lower(), "si": values}
        said["lost_frames"] = lost
        if slow:
            said["slow_hz"] = {name: round(hz, 1) for name, (hz, _) in slow.items()}
        print(json.dumps(said), flush=True)
        return
    parts = [] if session.stands_in else [session.state.name.lower()]
    for name in ("thrust", "current", "voltage", "speed"):
        if name in newest:
            value, unit = to_trade(name, newest[name])
            digits = {"gf": 1, "A": 2, "V": 2}.get(unit, 0)
            parts.append(f"{name} {value:.{digits}f} {unit}")
            if name in slow:
                parts.append("({:.0f} readings/s, not {:.0f})".format(*slow[name]))
    called = "lines not used" if session.stands_in else "lost"
    parts.append(f"{lost} of {health.frames + lost} {called}")
    line = "  ".join(parts)
    if sys.stdout.isatty():
        width = shutil.get_terminal_size().columns - 1
        sys.stdout.write("\r" + line[:width].ljust(width))
        sys.stdout.flush()
    else:
        print(line, flush=True)

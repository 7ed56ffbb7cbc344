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
    from collections.abc import Mapping

    from daq.clock import Clock
    from daq.link.columns.description import Description
    from daq.link.conversation import Conversation
    from daq.link.ports import Port
    from daq.link.session import Happening, Stand


SHOW_PERIOD_S = 0.5
_ALWAYS = ("thrust", "current", "voltage", "speed")


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
            _show(session, heard, clock.now_s(), description, as_json=args.json)
    if session.stand is None:
        raise StandFault(_nobody(session, args))
    _tell_not_taken(session, as_json=args.json)


def _nobody(session: Conversation, args: argparse.Namespace) -> str:
    """Why there is no stand after the seconds asked for."""
    if not session.stands_in:
        return f"No stand answered on {args.port} in {args.seconds:g} s."
    why = session.not_taken() or "Nothing was heard."
    return f"No line on {args.port} could be used in {args.seconds:g} s. {why}"


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
    from ui.cautions import lacks_of
    from ui.cli.text import labelled, wrapped

    identity = stand.identity
    simulated = "SIMULATED s" if Ability.SIMULATED in identity.abilities else "S"
    if description is not None:
        channels = ", ".join(c.name for c in description.channels)
        words = f'tand "{description.name}", which prints {channels} in lines of text.'
        print(wrapped(f"{simulated}{words}"))
        for words in lacks_of(description):
            print(labelled("lacks", words))
        print(wrapped("Readings as described, not zeroed; ctrl-C ends."))
        return
    print(
        f"{simulated}tand {identity.stand_id:08x} on {identity.board}, firmware "
        f"{identity.firmware_major}.{identity.firmware_minor}, boot {identity.boot}."
    )
    print("Readings by the stand's own constants, not zeroed; ctrl-C ends.")


def _reading(name: str, value_si: float, slow: tuple[float, float] | None) -> str:
    from protocols.limits import to_trade

    value, unit = to_trade(name, value_si)
    digits = {"gf": 1, "A": 2, "V": 2}.get(unit, 0)
    came = "  ({:.0f} readings/s, not {:.0f})".format(*slow) if slow else ""
    return f"{name} {value:.{digits}f} {unit}{came}"


def _others(description: Description | None, newest: Mapping[str, float]) -> list[str]:
    """Whatever else a stand prints, in the unit that it is described in."""
    from daq.link.columns.trade_units import UNITS
    from protocols.limits import brief

    told = []
    for channel in description.channels if description else ():
        if channel.name in _ALWAYS or channel.name not in newest:
            continue
        to_si = UNITS[channel.unit].to_si
        zero_si = to_si(0.0)
        value = (newest[channel.name] - zero_si) / (to_si(1.0) - zero_si)
        told.append(f"{channel.name} {brief(value)} {channel.unit}")
    return told


def _show(
    session: Conversation,
    heard: Heard,
    now_s: float,
    description: Description | None,
    *,
    as_json: bool,
) -> None:
    newest, slow = heard.newest, heard.slow(now_s)
    health = session.health
    lost = health.lost + session.drops
    if session.stands_in:
        # The piece that it began to listen in is no line that was lost.
        lost = health.malformed + health.unknown
    if as_json:
        import json

        values = {n: v if math.isfinite(v) else None for n, v in newest.items()}
        said: dict[str, object] = {"state": session.state.name.lower(), "si": values}
        said["lost_frames"] = lost
        if slow:
            said["slow_hz"] = {name: round(hz, 1) for name, (hz, _) in slow.items()}
        print(json.dumps(said), flush=True)
        return
    of = f"{lost} of {health.frames + lost}"
    # At the head: a narrow terminal cuts what is at the end.
    parts = [
        f"{of} lines not used" if session.stands_in else session.state.name.lower()
    ]
    shown = [name for name in _ALWAYS if name in newest]
    parts += [_reading(name, newest[name], slow.get(name)) for name in shown]
    parts += _others(description, newest)
    parts += [] if session.stands_in else [f"{of} lost"]
    line = "  ".join(parts)
    if sys.stdout.isatty():
        width = shutil.get_terminal_size().columns - 1
        sys.stdout.write("\r" + line[:width].ljust(width))
        sys.stdout.flush()
    else:
        print(line, flush=True)

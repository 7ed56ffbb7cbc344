"""``gramwatt capture``: many samples of one channel, close together; never arms."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ui.cli.language import baud_of

if TYPE_CHECKING:
    from daq.clock import Clock
    from daq.link.bursts import Captured, NoTrigger
    from daq.link.ports import Port
    from daq.link.session import Happening, Session, Stand
    from ui.capturing import Wish

SAMPLES_MOST = 65_535
PATIENCE_MOST_S = 5.0
SOME_LOST = 4


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "capture",
        help="a fast look at voltage or current; never arms anything",
        description=(
            "Identify the stand on PORT, take one capture of a channel while it is "
            "locked (its motor does not turn), and say what came. Without a trigger it "
            "is taken at once."
        ),
    )
    parser.add_argument("port", metavar="PORT", help="device path or pyserial URL")
    parser.add_argument("--baud", type=int, help="default: 500000")
    parser.add_argument(
        "--channel", default="voltage", help="which one (default: voltage)"
    )
    trigger = parser.add_mutually_exclusive_group()
    trigger.add_argument(
        "--rising", type=float, metavar="X", help="wait until it rises through X (V, A)"
    )
    trigger.add_argument(
        "--falling", type=float, metavar="X", help="wait until it falls through X"
    )
    parser.add_argument(
        "--patience",
        type=float,
        default=PATIENCE_MOST_S,
        metavar="S",
        help="how long to wait for that, up to 5 s (default: 5)",
    )
    parser.add_argument(
        "--samples", type=int, default=250, metavar="N", help="default: 250"
    )
    parser.add_argument(
        "--before",
        type=float,
        default=25.0,
        metavar="PERCENT",
        help="how much of it from before the trigger (default: 25)",
    )
    parser.add_argument(
        "--seconds",
        type=float,
        default=0.0,
        metavar="S",
        help="how long it should last (default: as fast as the stand can)",
    )
    parser.add_argument(
        "--csv", type=Path, metavar="FILE", help="write the samples there as well"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Take one capture and say what came.

    Raises:
        GramwattError: an option makes no sense, the port cannot be opened or is lost,
            or the stand cannot, will not, or saw no trigger.
    """
    from importlib import import_module

    from daq.errors import StandFault
    from daq.fresh_file import refuse_taken
    from daq.link.bursts import NoTrigger
    from daq.link.ports import open_port
    from daq.machine_clock import MachineClock

    wish = _wish(args)
    baud = baud_of(args.baud, None)
    refuse_taken(args.csv)
    # What shows the samples takes longer to load than to run: not when they are there.
    import_module("ui.cli.capture_text")
    clock = MachineClock()
    port = open_port(args.port, baud)
    try:
        stand, result = _take(port, clock, wish, args)
    finally:
        port.close()
    if isinstance(result, NoTrigger):
        raise StandFault(
            f"No trigger within {wish.patience_s:g} s: {wish.channel} did not "
            f"{'rise' if args.rising is not None else 'fall'} through "
            f"{wish.level_si:g}. A level that is passed already is no crossing; "
            "'gramwatt watch' shows where it is."
        )
    return _show(stand, result, args)


def _wish(args: argparse.Namespace) -> Wish:
    """What the options ask for.

    Raises:
        InputFault: an option is out of its range.
    """
    import math

    from daq.errors import InputFault
    from daq.link.messages import Trigger
    from ui.capturing import Wish

    at_once = args.rising is None and args.falling is None
    level = next((x for x in (args.rising, args.falling) if x is not None), 0.0)
    name = "--rising" if args.rising is not None else "--falling"
    for ok, words in (
        (math.isfinite(level), f"{name} is {level:g}; give a number."),
        (
            1e-3 <= args.patience <= PATIENCE_MOST_S,
            f"--patience is {args.patience:g} s; it must be above zero, and at most 5.",
        ),
        (
            1 <= args.samples <= SAMPLES_MOST,
            f"--samples is {args.samples}; it must be 1 to {SAMPLES_MOST}.",
        ),
        (
            0.0 <= args.before < 100.0,
            f"--before is {args.before:g} %; it must be 0 or more, and below 100.",
        ),
        (
            0.0 <= args.seconds < math.inf,
            f"--seconds is {args.seconds:g}; it must be zero or more.",
        ),
    ):
        if not ok:
            raise InputFault(words)
    rising = Trigger.RISING if args.rising is not None else Trigger.FALLING
    return Wish(
        channel=args.channel,
        trigger=Trigger.AT_ONCE if at_once else rising,
        level_si=level,
        samples=args.samples,
        before=0 if at_once else int(args.samples * args.before / 100.0),
        span_s=args.seconds,
        patience_s=args.patience,
    )


def _take(
    port: Port, clock: Clock, wish: Wish, args: argparse.Namespace
) -> tuple[Stand, Captured | NoTrigger]:
    """The one capture.

    Raises:
        GramwattError: there is no stand, or it cannot.
    """
    from daq.link.session import Session
    from ui.capturing import Capturing

    session = Session()
    session.identify(clock.now_s())
    taking = Capturing(wish, int(clock.now_s() * 1e3) & 0xFF)
    stand: Stand | None = None
    while taking.result is None or stand is None:
        write, happenings = session.poll(clock.now_s())
        if write:
            port.write(write)
        happenings += session.receive(port.read(), clock.now_s())
        for happening in happenings:
            _must_be_a_stand(happening, args.port)
            stand = _introduced(session, stand, as_json=args.json)
            command = taking.hear(happening, session, clock.now_s())
            if command is not None:
                port.write(session.send(command, clock.now_s()))
        taking.look(clock.now_s())
    return stand, taking.result


def _must_be_a_stand(happening: Happening, name: str) -> None:
    from daq.errors import StandFault
    from daq.link import session as s
    from protocols.explain import not_a_stand

    if isinstance(happening, s.WrongVersion | s.NotIdentified):
        outcome = not_a_stand(happening, name)
        raise StandFault(f"{outcome.cause} {outcome.advice}")


def _introduced(
    session: Session, known: Stand | None, *, as_json: bool
) -> Stand | None:
    """The stand, said once to a person when it is known."""
    stand = session.stand
    if stand is None or known is not None:
        return known
    if not as_json:
        identity = stand.identity
        version = f"{identity.firmware_major}.{identity.firmware_minor}"
        print(
            f"Stand {identity.stand_id:08x} on {identity.board}, firmware {version}, "
            f"boot {identity.boot}.",
            flush=True,
        )
    return stand


def _show(stand: Stand, captured: Captured, args: argparse.Namespace) -> int:
    """Print it, write it, and the exit status."""
    from daq.fresh_file import write_fresh
    from ui.cli import capture_text as words

    if args.csv is not None:
        write_fresh(args.csv, words.as_csv(captured, stand).encode())
    if args.json:
        import json

        print(json.dumps(words.as_json(captured, stand)))
    else:
        print(words.paragraphs(words.told(captured, stand)))
        if args.csv is not None:
            print(f"Samples written to {args.csv}.")
    return SOME_LOST if captured.lost else 0

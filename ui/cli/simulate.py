"""``gramwatt simulate``: a simulated stand on a port, until stopped."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from daq.stand.faults.stand import FaultyStand
    from daq.stand.serve import Server, Simulated


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "simulate",
        help="serve a simulated stand on a port, until stopped",
        description=(
            "Serve a simulated stand and print its port; ctrl-C ends it. Spin it with "
            "'gramwatt spin --port PORT' from another terminal. Nothing turns. While "
            "it runs, type what a hand would do: plug out, plug in, loop open, loop "
            "closed."
        ),
    )
    add_stand_options(parser)
    add_mounting_options(parser)
    parser.add_argument(
        "--faults",
        type=Path,
        metavar="FILE",
        help="what goes wrong with it, and when, TOML (default: nothing)",
    )
    parser.add_argument(
        "--plug-out", action="store_true", help="start with the arming plug out"
    )
    parser.add_argument(
        "--bare",
        action="store_true",
        help="start without a propeller, as an idle spin wants it",
    )
    parser.add_argument(
        "--lines",
        type=Path,
        metavar="FILE",
        help="let it print lines of text, as this description (TOML) says",
    )
    parser.add_argument("--tcp", action="store_true", help="loopback TCP, no terminal")
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def add_stand_options(parser: argparse.ArgumentParser) -> None:
    """What a simulated stand can be asked for, by any command that starts one."""
    parser.add_argument(
        "--truth",
        type=Path,
        metavar="FILE",
        help="the simulated plant's figures, TOML, or rough: a stand as people "
        "build them (default: the demo's)",
    )
    add_seed_option(parser)


def add_seed_option(parser: argparse.ArgumentParser) -> None:
    """What is random in a simulated stand, by any command that starts one."""
    parser.add_argument(
        "--seed",
        type=int,
        default=1,
        help="of the simulated noise and errors: another seed is another stand, with "
        "a number of its own (default: 1)",
    )


def add_mounting_options(parser: argparse.ArgumentParser) -> None:
    """Which motor is on the simulated stand, and how it was mounted."""
    parser.add_argument(
        "--specimen",
        type=int,
        metavar="N",
        help="another motor and propeller of the same make, with --truth rough",
    )
    parser.add_argument(
        "--mounting",
        type=int,
        metavar="N",
        help="mounted again, a little differently each time, with --truth rough",
    )
    parser.add_argument(
        "--mating",
        type=int,
        metavar="N",
        help="its plug put together again, with --truth rough",
    )
    parser.add_argument(
        "--no-capacitor",
        action="store_true",
        help="the capacitor on its bus taken off, with --truth rough",
    )


def run(args: argparse.Namespace) -> int:
    """Serve until ctrl-C."""
    import signal
    import threading
    from functools import partial

    from daq.machine_clock import MachineClock
    from daq.stand.endpoint import open_endpoint
    from daq.stand.serve import Server, as_asked

    hardware, stand = as_asked(args)
    server = Server(stand, open_endpoint(tcp=args.tcp), MachineClock())
    _introduce(server.name, hardware, args.lines, json_wanted=args.json)
    if hasattr(signal, "SIGTTIN"):
        # In the background its terminal is not its own: a failed read, not a halt.
        signal.signal(signal.SIGTTIN, signal.SIG_IGN)
    threading.Thread(
        target=partial(_lend_hands, server, stand, json_wanted=args.json), daemon=True
    ).start()
    try:
        server.run()
    except KeyboardInterrupt:
        print("\nThe simulated stand is gone.")
    return 0


def _introduce(
    port: str, stand: FaultyStand, lines: Path | None, *, json_wanted: bool
) -> None:
    """Say the port, what will go wrong, and what can be typed."""
    import json

    from daq.stand.faults.fault import describe
    from daq.stand.hands import HANDS

    faults = [describe(fault) for fault in stand.faults]
    if json_wanted:
        said: dict[str, object] = {"port": port, "simulated": True}
        print(json.dumps(said | ({"faults": faults} if faults else {})), flush=True)
        return
    print(f"Simulated stand on {port}; ctrl-C ends it.")
    if lines is not None:
        print(f"It prints lines as {lines} says, and protects nothing.")
    for fault in faults:
        print(f"Fault: {fault}.")
    print(f"Type: {', '.join(' '.join(words) for words in HANDS)}.", flush=True)


def _lend_hands(
    server: Server[Simulated], stand: Simulated, *, json_wanted: bool
) -> None:
    """Do what is typed, line by line; a stand goes on when nobody types any more."""
    import json
    from functools import partial

    from daq.errors import GramwattError
    from daq.stand.hands import by_hand, lines_of

    for line in lines_of(0):
        part, _, state = " ".join(line.lower().split()).partition(" ")
        if not part:
            continue
        try:
            told = server.ask(partial(by_hand, stand, part, state))
        except GramwattError as fault:
            said = json.dumps({"error": str(fault)}) if json_wanted else str(fault)
            print(said, flush=True)
            continue
        print(json.dumps({"done": {part: state}}) if json_wanted else told, flush=True)

"""``gramwatt ports``: the serial ports of this machine."""

from __future__ import annotations

import argparse


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "ports",
        help="list the serial ports of this machine",
        description="List the serial ports of this machine, and what each is.",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Print them; the exit status is 0 also when there are none."""
    from daq.link.ports import found_ports

    ports = found_ports()
    if args.json:
        import json

        print(json.dumps([{"name": p.name, "what": p.description} for p in ports]))
    elif not ports:
        print("No serial port found. Plug the stand in, or try 'gramwatt simulate'.")
    for port in [] if args.json else ports:
        print(f"{port.name:<24}{port.description}")
    return 0

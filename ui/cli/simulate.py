"""``gramwatt simulate``: a simulated stand on a port, until stopped."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "simulate",
        help="serve a simulated stand on a port, until stopped",
        description=(
            "Serve a simulated stand and print its port; ctrl-C ends it. Spin it with "
            "'gramwatt spin --port PORT' from another terminal. Nothing turns."
        ),
    )
    add_stand_options(parser)
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
        help="the simulated plant's figures, TOML (default: the demo's)",
    )
    parser.add_argument(
        "--seed",
        type=int,
        default=1,
        help="of the simulated noise and errors (default: 1)",
    )


def run(args: argparse.Namespace) -> int:
    """Serve until ctrl-C."""
    import json

    from daq.machine_clock import MachineClock
    from daq.stand.serve import Server, build, open_endpoint

    server = Server(
        build(args.truth, args.seed), open_endpoint(tcp=args.tcp), MachineClock()
    )
    if args.json:
        print(json.dumps({"port": server.name, "simulated": True}), flush=True)
    else:
        print(f"Simulated stand on {server.name}; ctrl-C ends it.", flush=True)
    try:
        server.run()
    except KeyboardInterrupt:
        print("\nThe simulated stand is gone.")
    return 0

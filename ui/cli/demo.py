"""``gramwatt demo``: the whole job on a simulated stand, in one command."""

from __future__ import annotations

import argparse
from contextlib import closing

from ui.cli.simulate import add_seed_option
from ui.cli.spin import SIMULATED_LOAD_CELL_G, Spin, add_out_option
from ui.ordered import order_for

PROTOCOL = "short-staircase"


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "demo",
        help="the whole job on a simulated stand, in 45 seconds",
        description=(
            "Serve a simulated stand on a port, identify it, take its zero, send the "
            "limits, arm, walk a staircase, record, stop, seal, analyse, and write a "
            "page. No hardware; nothing turns. Takes about 45 seconds."
        ),
    )
    add_seed_option(parser)
    parser.add_argument("--tcp", action="store_true", help="loopback TCP, no terminal")
    add_out_option(parser)
    parser.add_argument("--json", action="store_true", help="print JSON at the end")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Do it; 0 completed, 1 stopped or failed, 3 tripped.

    Raises:
        GramwattError: the simulated stand or the folder for the run failed.
    """
    from daq.link.ports import DEFAULT_BAUD
    from ui.cli.plan import chosen_article
    from ui.simulation import SimulatedStand

    spin = Spin(order_for(PROTOCOL, chosen_article(None), SIMULATED_LOAD_CELL_G))
    stand = SimulatedStand(seed=args.seed, tcp=args.tcp, plug_in=False)
    with closing(stand):
        if not args.json:
            print(
                "A whole bench test on a SIMULATED stand: no hardware, nothing turns."
            )
        return spin.on(stand.port, DEFAULT_BAUD, args.out, own=stand, as_json=args.json)

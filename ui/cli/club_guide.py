"""``gramwatt club guide``: how a club lets an article go round."""

from __future__ import annotations

import argparse


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command."""
    parser = subparsers.add_parser(
        "guide",
        help="how a club lets an article go round its stands",
        description="Print the guide to a round robin: who sends what, in which order.",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Print the guide as it is."""
    from ui.club.guide import guide

    if args.json:
        import json

        print(json.dumps({"guide": guide()}))
    else:
        print(guide(), end="")
    return 0

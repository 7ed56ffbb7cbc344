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
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Print the guide as it is."""
    from ui.club.guide import guide

    del args
    print(guide(), end="")
    return 0

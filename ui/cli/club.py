"""``gramwatt club``: what a club does with bundles, one module a subcommand."""

from __future__ import annotations

import argparse
import importlib
from typing import Final

COMMANDS: Final = ("build",)


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its subcommands."""
    parser = subparsers.add_parser(
        "club",
        help="a club's bundles as a site of plain files",
        description="What a club does with the bundles that its members share.",
    )
    inner = parser.add_subparsers(metavar="WHAT", required=True)
    for name in COMMANDS:
        importlib.import_module(f"ui.cli.club_{name}").add_parser(inner)
    return parser

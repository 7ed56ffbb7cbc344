"""``gramwatt club``: what a club does together, one part a file."""

from __future__ import annotations

import argparse
import importlib
from typing import Final

#: Each in a module of its own, ``club_`` before its name.
PARTS: Final = ("build", "agree", "guide")


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its parts."""
    parser = subparsers.add_parser(
        "club",
        help="what a club does together: a site of its bundles, how its stands agree",
        description=(
            "What a club does with the bundles that its members share: a site of plain "
            "files, and round robins that show how far its stands agree."
        ),
    )
    parts = parser.add_subparsers(metavar="PART", required=True)
    for name in PARTS:
        importlib.import_module(f"ui.cli.club_{name}").add_parser(parts)
    return parser

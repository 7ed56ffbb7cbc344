"""``gramwatt club``: what a club does together, one part a file."""

from __future__ import annotations

import argparse
import importlib
from typing import Final

#: Each in a module of its own, ``club_`` before its name.
PARTS: Final = ("agree", "guide")


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its parts."""
    parser = subparsers.add_parser(
        "club",
        help="what a club does together: how far its stands agree",
        description="What the stands of a club have in common, and what they do not.",
    )
    parts = parser.add_subparsers(metavar="PART", required=True)
    for name in PARTS:
        importlib.import_module(f"ui.cli.club_{name}").add_parser(parts)
    return parser

"""``gramwatt bundle``: runs packed for somebody else, and what came looked into."""

from __future__ import annotations

import argparse
import importlib
from typing import Final

#: Each in a module of its own, ``bundle_`` before its name.
PARTS: Final = ("pack", "check", "unpack", "key", "trust")


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its parts."""
    parser = subparsers.add_parser(
        "bundle",
        help="pack runs for somebody else; check and unpack what came",
        description=(
            "A bundle is one file with a run or several: wire logs, what they rest on, "
            "what was derived. What comes from others is checked before it is trusted: "
            "its logs are read again and every figure is derived anew."
        ),
    )
    parts = parser.add_subparsers(metavar="PART", required=True)
    for name in PARTS:
        importlib.import_module(f"ui.cli.bundle_{name}").add_parser(parts)
    return parser

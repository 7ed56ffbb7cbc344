"""``gramwatt desktop``: the window."""

from __future__ import annotations

import argparse


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "desktop",
        help="the window: bench, scale, spin, curves, club",
        description=(
            "Open the window. It is one client of the part that drives the motor: "
            "closed, killed or hung it does no harm but to itself."
        ),
    )
    parser.set_defaults(run=run)
    return parser


def run(_: argparse.Namespace) -> int:
    """Show the window until it is closed.

    Raises:
        WorldFault: what it is drawn with is not installed.
    """
    from daq.errors import WorldFault

    try:
        from ui.desktop.app import run as run_window
    except ImportError as fault:
        raise WorldFault(
            f"The window needs PySide6 and pyqtgraph ({fault.name} is missing): "
            "install gramwatt with its extra, pip install '.[desktop]'."
        ) from None
    return run_window()

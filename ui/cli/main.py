"""The ``gramwatt`` command: parses, runs one command, turns faults into a sentence.

Exit status: 0 done, 1 refused or failed with one sentence, 2 wrong usage, 3 a
run that ended in a trip, 4 done from a record of which some is lost, or that says
otherwise than its sender. Commands import what they need when they run, so that
``--help`` stays fast.
"""

import argparse
import importlib
import sys
from collections.abc import Sequence

from daq.errors import GramwattError

COMMANDS = (
    "demo",
    "desktop",
    "simulate",
    "firmware",
    "ports",
    "describe",
    "watch",
    "capture",
    "calibrate",
    "plan",
    "spin",
    "adopt",
    "findings",
    "compare",
    "report",
    "rebuild",
    "bundle",
    "club",
)
FAILED = 1


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    from importlib.metadata import version

    top = argparse.ArgumentParser(
        prog="gramwatt",
        description=(
            "Bench tests of small motors on a thrust stand: spin under protection, "
            "record, and get curves with honest intervals."
        ),
        epilog=(
            "Exit status: 0 done, 1 refused or failed, 2 wrong usage, 3 a run that "
            "ended in a trip, 4 done from a record of which some is lost, or that says "
            "otherwise than its sender."
        ),
    )
    top.add_argument("--version", action="version", version=version("gramwatt"))
    subparsers = top.add_subparsers(metavar="COMMAND", required=True)
    for name in COMMANDS:
        importlib.import_module(f"ui.cli.{name}").add_parser(subparsers)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    try:
        options = parser().parse_args(arguments)
        status: int = options.run(options)
    except GramwattError as fault:
        print(f"gramwatt: {fault}", file=sys.stderr)
        return FAILED
    except BrokenPipeError:
        # Whoever read our output has seen enough.
        sys.stderr.close()
        return FAILED
    except KeyboardInterrupt:
        print("\ngramwatt: ended by ctrl-C.", file=sys.stderr)
        return FAILED
    return status


if __name__ == "__main__":
    sys.exit(main())

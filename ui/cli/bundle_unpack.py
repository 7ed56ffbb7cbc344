"""``gramwatt bundle unpack``: runs that came, put among one's own once checked."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Final

from ui.cli.bundle_check import status_of

#: Nothing of it can be a run of one's own.
NOTHING: Final = 1


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add this part and its options."""
    parser = subparsers.add_parser(
        "unpack",
        help="check a bundle and put its runs among yours",
        description=(
            "Check a bundle and put its runs into a folder: each wire log as it was "
            "checked, and what was derived from it here. What the sender derived stays "
            "out, and what is there already is not touched."
        ),
    )
    parser.add_argument("bundle", metavar="FILE", type=Path, help="the bundle")
    parser.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        default=Path("runs"),
        help="folder that gets the runs (default: %(default)s)",
    )
    parser.add_argument(
        "--only",
        metavar="RUN",
        nargs="+",
        default=[],
        help="only these of its runs (default: all)",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Unpack it and name what is there now.

    Returns:
        4 where the sender's figures differ, 1 where there is no wire log to unpack.

    Raises:
        GramwattError: it is refused, or cannot be read or written.
    """
    from ui.cli.bundle_check import print_checked, to_dict
    from ui.club.inspecting import Inspector, scratch_folder
    from ui.club.taking import take_runs

    with Inspector() as inspector, scratch_folder() as scratch:
        checked = inspector.inspect(args.bundle, scratch)
        taken = take_runs(checked, scratch, args.out, args.only)
    logs = any(run.log_hash is not None for run in checked.runs)
    status = status_of(checked) if logs else NOTHING
    if args.json:
        import json

        told = {
            "runs": [str(folder) for folder in taken.runs],
            "left": list(taken.left),
            "checked": to_dict(checked),
        }
        print(json.dumps(told, indent=2))
        return status
    from ui.cli.text import labelled

    print_checked(checked)
    print()
    for words in taken.left:
        print(labelled("left", words))
    for folder in taken.runs:
        print(folder)
    return status

"""``gramwatt club build``: a folder of bundles as a site of plain files."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ui.club.building import Club


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "build",
        help="make a site of a folder of bundles",
        description=(
            "Check every bundle of a folder and make a site of them that any web host, "
            "shared drive or memory stick serves: a table to search, filter and sort, "
            "curves laid over each other, verdicts, and for each run what it rests on "
            "and its bundle. Only what changed since the last time is written."
        ),
    )
    parser.add_argument(
        "folder", metavar="FOLDER", type=Path, help="folder of bundles (zip files)"
    )
    parser.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        default=Path("club-site"),
        help="folder for the site (default: %(default)s, here)",
    )
    parser.add_argument(
        "--name",
        metavar="TEXT",
        default="Our club",
        help="what the club is called (default: %(default)s)",
    )
    parser.add_argument(
        "--agreement",
        metavar="FILE",
        type=Path,
        help="how the stands agree, as club agree wrote it (default: from the round "
        "robins among the runs)",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Build the site and say what is in it.

    Raises:
        GramwattError: the folder cannot be read, or the site cannot be written.
    """
    from ui.club.agreement import read_agreement
    from ui.club.building import build_club

    agreement = None if args.agreement is None else read_agreement(args.agreement)
    club = build_club(
        args.folder, args.out, args.name, agreement=agreement, progress=_progress
    )
    if args.json:
        _print_json(club)
    else:
        _print(club)
    return 0


def _progress(done: int, of: int) -> None:
    """Where somebody looks on; a thousand bundles take a minute the first time."""
    if sys.stderr.isatty():
        end = "\n" if done == of else ""
        print(f"\r{done} of {of} bundles looked into", end=end, file=sys.stderr)


def _print_json(club: Club) -> None:
    import json
    from dataclasses import asdict

    told = {
        "site": str(club.index),
        **asdict(club.built),
        "refused": [asdict(one) for one in club.refused],
        "round_robins": [told.to_dict() for told in club.rounds.agreements],
        "round_robins_not_used": list(club.rounds.unused),
    }
    print(json.dumps(told))


def _print(club: Club) -> None:
    from ui.cli.text import labelled

    built, files = club.built, club.built.files
    for one in club.refused:
        print(labelled("refused", f"{one.bundle}: {one.why}"))
    for words in club.rounds.words():
        print(labelled("round", words))
    twice = f", {built.repeated} came twice" if built.repeated else ""
    print(
        f"{_counted(built.runs, 'run')}{twice}, "
        f"{_counted(built.refused, 'bundle')} refused; "
        f"{_counted(files.written, 'file')} written, {files.left} as they were, "
        f"{files.removed} removed."
    )
    print(club.index)


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"

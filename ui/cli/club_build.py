"""``gramwatt club build``: a folder of bundles as a site of plain files."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from ui.club.site.build import Built
    from ui.club.site.shared import Refused

LONGEST_NAME: Final = 80


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
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Build the site and say what is in it.

    Raises:
        GramwattError: the folder cannot be read, or the site cannot be written.
    """
    from daq.errors import InputFault
    from ui.club.library import shared_in
    from ui.club.site.build import build_site

    name = " ".join(args.name.split())
    if not 0 < len(name) <= LONGEST_NAME:
        raise InputFault(f"--name takes a text of {LONGEST_NAME} signs at most.")
    if args.out.resolve().is_relative_to(args.folder.resolve()):
        raise InputFault(
            f"{args.out} lies in {args.folder}: the site's copies of bundles would be "
            "taken for more of them. Give another folder with --out."
        )
    shared, refused = shared_in(args.folder)
    built = build_site(shared, refused, None, name, args.out, args.folder)
    if args.json:
        _print_json(built, refused, args.out)
    else:
        _print(built, refused, args.out)
    return 0


def _print_json(built: Built, refused: list[Refused], out: Path) -> None:
    import json
    from dataclasses import asdict

    told = {
        "site": str(out / "index.html"),
        **asdict(built),
        "refused": [asdict(one) for one in refused],
    }
    print(json.dumps(told))


def _print(built: Built, refused: list[Refused], out: Path) -> None:
    for one in refused:
        print(f"Refused {one.bundle}: {one.why}")
    twice = f", {built.repeated} came twice" if built.repeated else ""
    files = built.files
    print(
        f"{_counted(built.runs, 'run')}{twice}, "
        f"{_counted(built.refused, 'bundle')} refused; "
        f"{_counted(files.written, 'file')} written, {files.left} as they were, "
        f"{files.removed} removed."
    )
    print(out / "index.html")


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"

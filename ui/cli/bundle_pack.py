"""``gramwatt bundle pack``: some runs as one file."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Final

ENDING: Final = ".zip"


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add this part and its options."""
    parser = subparsers.add_parser(
        "pack",
        help="pack a run or several into one file",
        description=(
            "Pack runs for somebody else. Port names, folders, the names of this "
            "computer and of its user, and the notes on articles stay here; the "
            "stand's number goes along, and its calibrations, with your notes on them, "
            "the names that you gave to masses and meters and how far north your place "
            "lies. What a "
            "stand printed, or a log that was adopted, is in the wire log to the byte, "
            "and such a stand keeps the name that you gave it."
        ),
    )
    parser.add_argument(
        "run_folders", metavar="RUN", type=Path, nargs="+", help="run folders"
    )
    parser.add_argument(
        "--out",
        metavar="FILE",
        type=Path,
        help="the bundle (default: named after the first run, here)",
    )
    parser.add_argument(
        "--by", metavar="NAME", default="", help="the name that you want to be known by"
    )
    parser.add_argument(
        "--licence",
        metavar="NAME",
        default="",
        help="CC0-1.0, CC-BY-4.0, CC-BY-SA-4.0 or ODbL-1.0 (default: none stated)",
    )
    parser.add_argument(
        "--tables-only",
        action="store_true",
        help="leave the wire logs out: smaller, and nobody can check it",
    )
    parser.add_argument(
        "--with-notes", action="store_true", help="the notes on articles go along"
    )
    parser.add_argument(
        "--sign", action="store_true", help="sign it with your key (bundle key)"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Pack them and say what went along.

    Raises:
        GramwattError: a run cannot be packed, or the bundle not be written.
    """
    from ui.club.packing import Wishes, pack_runs
    from ui.club.signing import own_key

    out = args.out or Path(f"{args.run_folders[0].resolve().name}{ENDING}")
    wishes = Wishes(
        by=args.by,
        licence=args.licence,
        tables_only=args.tables_only,
        keep_notes=args.with_notes,
        key=own_key(make=True) if args.sign else None,
    )
    packed = pack_runs(args.run_folders, out, wishes)
    if args.json:
        import json

        told = {
            "bundle": str(packed.path),
            "bytes": packed.size,
            "signed": args.sign,
            "runs": [
                {"run": entry.run, "rests_on": entry.evidence.words}
                for entry in packed.entries
            ],
        }
        print(json.dumps(told, indent=2))
        return 0
    from ui.cli.text import labelled

    for entry in packed.entries:
        print(labelled("run", f"{entry.run}, {entry.article.name}"))
        print(labelled("rests on", f"{entry.evidence.words}."))
    print(labelled("licence", args.licence or "none stated (--licence)"))
    print(labelled("by", args.by or "nobody is named (--by)"))
    signed = "with your key" if args.sign else "no (--sign)"
    print(labelled("signed", signed))
    print(labelled("size", f"{packed.size / 1e6:.1f} MB"))
    print(packed.path)
    return 0

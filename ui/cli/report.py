"""``gramwatt report``: the page of a run."""

from __future__ import annotations

import argparse
from pathlib import Path

from ui.cli.findings import add_run_argument, status_of


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "report",
        help="one self-contained HTML page for a run",
        description=(
            "Analyse a run and write its page: findings, curves with bands, plateaus, "
            "limits and cautions in one file that needs nothing else."
        ),
    )
    add_run_argument(parser)
    parser.add_argument(
        "--out",
        metavar="DIR",
        type=Path,
        default=Path(),
        help="folder for the page (default: here)",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Write the page and name it; 4 where some of the record is lost.

    Raises:
        GramwattError: it is no run folder, or the page cannot be written.
    """
    from daq.errors import WorldFault
    from ui.report.page import write_report
    from ui.results import analyse_folder

    results = analyse_folder(args.run_folder)
    page = args.out / f"{args.run_folder.resolve().name}.html"
    try:
        args.out.mkdir(parents=True, exist_ok=True)
        write_report(results, page)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{page} cannot be written: {why}.") from None
    if args.json:
        import json

        print(json.dumps({"report": str(page)}))
    else:
        print(page)
    return status_of(results.run)

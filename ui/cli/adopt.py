"""``gramwatt adopt``: a log recorded elsewhere, analysed like a run."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    from ui.cli.spin import add_out_option

    parser = subparsers.add_parser(
        "adopt",
        help="analyse a log of lines that was recorded elsewhere",
        description=(
            "Make a run of a log that a stand printed and somebody kept, and analyse "
            "it: levels are found where the throttle in it was held. The run says "
            "everywhere that gramwatt neither drove nor guarded it."
        ),
    )
    parser.add_argument("log", metavar="LOG", type=Path, help="the file, unchanged")
    parser.add_argument(
        "--lines",
        metavar="FILE",
        type=Path,
        required=True,
        help="what its lines hold (TOML); 'gramwatt describe LOG' proposes one",
    )
    parser.add_argument(
        "--article", metavar="FILE", type=Path, help="what was tested (TOML)"
    )
    add_out_option(parser)
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Make the run and print its findings.

    Raises:
        GramwattError: log, description or article are wrong, or nothing can be
            made of them, or the folder cannot be written.
    """
    from importlib.metadata import version

    from daq.errors import InputFault
    from daq.machine_clock import utc_of_file
    from daq.records.shelf import load_article
    from ui.adopt import adopt
    from ui.cli.ending import tell_findings
    from ui.cli.language import described
    from ui.cli.text import labelled
    from ui.results import derive

    if not args.log.is_file():
        raise InputFault(f"{args.log}: there is no such file.")
    lines, description = described(args.lines)
    if description is None:
        raise InputFault("--lines is needed: what the log's lines hold.")
    facts: dict[str, object] = {
        "utc": utc_of_file(args.log).isoformat(timespec="seconds"),
        "versions": {"gramwatt": version("gramwatt")},
    }
    if args.article is not None:
        facts["article"] = load_article(args.article).to_dict()
    folder = adopt(args.log, lines, description, facts, args.out)
    if args.json:
        import json

        results = derive(folder)
        said = {"run": str(folder), "findings": results.findings()}
        print(json.dumps(said | {"report": str(results.report)}))
        return 0
    print(labelled("record", str(folder)))
    tell_findings(folder)
    return 0

"""``gramwatt findings``: analyse a run and print what it says; writes nothing."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from daq.analysis.run import Analysis
    from daq.calibration.value import Calibration
    from daq.records.read import Run
    from ui.results import Results

LOSSY: Final = 4
NOMINAL: Final = "nominal, not calibrated"


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "findings",
        help="analyse a run and print what it says",
        description=(
            "Read a run's record, analyse it and print its findings with what each "
            "rests on. Writes nothing; works on runs that were cut short or damaged."
        ),
    )
    add_run_argument(parser)
    add_calibration_option(parser)
    parser.add_argument(
        "--budget",
        action="store_true",
        help="below each figure, which cause contributes how much to its interval",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def add_run_argument(parser: argparse.ArgumentParser) -> None:
    """The run's folder, for any command that reads one."""
    parser.add_argument("run_folder", metavar="RUN", type=Path, help="a run's folder")


def add_calibration_option(parser: argparse.ArgumentParser) -> None:
    """Other calibrations than the run came with, for commands that analyse it."""
    parser.add_argument(
        "--calibration",
        metavar="FILE",
        type=Path,
        action="append",
        default=[],
        help="read a channel by this calibration; once for each channel",
    )


def given_calibrations(args: argparse.Namespace) -> list[Calibration]:
    """The calibrations that were asked for.

    Raises:
        InputFault: one cannot be read.
    """
    from ui.calibrations import read_calibration

    return [read_calibration(path) for path in args.calibration]


def status_of(run: Run) -> int:
    """0, or 4 where some of the record is lost: done, but not from all of it."""
    return 0 if run.whole else LOSSY


def run(args: argparse.Namespace) -> int:
    """Print the findings; 4 where some of the record is lost.

    Raises:
        GramwattError: it is no run folder, or its log cannot be read.
    """
    from ui.cli.text import labelled, sentence, wrapped
    from ui.results import analyse_folder, how_far

    results = analyse_folder(args.run_folder, given_calibrations(args))
    outcome = results.outcome
    if args.json:
        import json

        print(
            json.dumps(
                {
                    "run": str(args.run_folder),
                    "simulated": results.run.simulated,
                    "outcome": outcome,
                    "how_far": how_far(results.run),
                    "calibrations": {
                        name: use.calibration.id for name, use in results.uses().items()
                    },
                    "plateaus": results.analysis.rows() if results.analysis else [],
                    "findings": results.findings(),
                },
                indent=2,
            )
        )
        return status_of(results.run)
    simulated = " (simulated)" if results.run.simulated else ""
    print(labelled("run", f"{args.run_folder.name}{simulated}"))
    if results.article is not None and results.article.travels is not None:
        words = f"this very article, in the round robin {results.article.travels}"
        print(labelled("travels", words))
    print(labelled(str(outcome.get("ended")), sentence(str(outcome.get("cause")))))
    if outcome.get("advice"):
        print(labelled("advice", str(outcome["advice"])))
    if outcome.get("stop_confirmed") is False:
        ran_on = "THE MOTOR RUNS ON" in str(outcome.get("cause"))
        words = "the motor ran on after it" if ran_on else "not confirmed by the stand"
        print(labelled("stop", words))
    for warning in results.warnings():
        print(labelled("note", warning))
    if results.run.not_taken:
        print(labelled("not used", results.run.not_taken))
    if args.budget and results.analysis is not None:
        _print_with_budgets(results.analysis)
    else:
        for finding in results.sentences():
            print(wrapped(finding, indent=2, hang=4))
    for caution in _cautions(results):
        print(labelled("caution", caution))
    return status_of(results.run)


def _cautions(results: Results) -> list[str]:
    """Each caution once, and none that the notes at the head have told."""
    told = set(results.warnings())
    analysis = results.analysis
    all_nominal = analysis is not None and not results.uses()
    found = [c for f in results.findings() for c in _texts(f["cautions"])]
    return [
        caution
        for caution in dict.fromkeys(found)
        if caution not in told and not (all_nominal and caution.endswith(NOMINAL))
    ]


def _print_with_budgets(analysis: Analysis) -> None:
    from daq.analysis.rounding import figure
    from ui.cli.text import wrapped

    print(wrapped("below each: share of the variance, standard uncertainty, cause"))
    for finding in analysis.findings:
        print(wrapped(finding.sentence, indent=2, hang=4))
        for part in finding.budget:
            size = f"{figure(part.u, part.u)} {finding.unit}".strip()
            print(f"      {part.percent:>9}  {size:<12} {part.words}")
        if finding.narrower:
            print(wrapped(finding.narrower, indent=6))


def _texts(value: object) -> list[str]:
    return [str(item) for item in value] if isinstance(value, list) else []

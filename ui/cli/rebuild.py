"""``gramwatt rebuild``: everything derived, again, from the wire log alone."""

from __future__ import annotations

import argparse

from ui.cli.findings import (
    add_calibration_option,
    add_run_argument,
    given_calibrations,
    status_of,
)


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "rebuild",
        help="everything derived, again, from the wire log",
        description=(
            "Read a run's wire log and write samples, plateaus, curves, findings and "
            "the page again, under derived/. The log is not touched; a run whose "
            "keeper was killed is sealed as it stands. With --calibration, what "
            "follows stands in a folder of its own."
        ),
    )
    add_run_argument(parser)
    add_calibration_option(parser)
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Write it and say what was lost; 4 where some of the record is.

    Raises:
        GramwattError: it is no run folder, its log cannot be read, or the derived
            files cannot be written.
    """
    from ui.cli.text import labelled
    from ui.results import derive

    results = derive(args.run_folder, given_calibrations(args))
    run = results.run
    lost = {
        "log_bytes": run.damage.bytes,
        "log_places": run.damage.places,
        "frames_lost": run.health.lost,
        "frames_damaged": run.drops,
    }
    if args.json:
        import json

        print(
            json.dumps(
                {"derived": str(results.folder), "intact": run.intact, "lost": lost}
            )
        )
        return status_of(run)
    print(labelled("derived", str(results.folder)))
    if run.intact is False:
        print(labelled("changed", "The wire log was changed after it was sealed."))
    if run.damage.places:
        print(
            labelled(
                "damage",
                f"{run.damage.bytes} bytes of the wire log, at {run.damage.places} "
                "place(s), cannot be read and were left out.",
            )
        )
    if run.outcome is None:
        print(labelled("cut short", "The record stops before its end."))
    print(labelled("link", f"{run.health.lost} frames lost, {run.drops} damaged"))
    return status_of(run)

"""``gramwatt compare``: whether articles can be told apart, and which does best."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from ui.choosing import Chosen
    from ui.comparing import Comparison

LOSSY: Final = 4
MATTERS_PERCENT: Final = 3.0


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "compare",
        help="whether articles can be told apart, and by how much they differ",
        description=(
            "Hold two or more runs against each other: specific thrust at the same "
            "thrust, thrust at the same throttle and bus voltage, and what each does "
            "on its aircraft. Runs of one article are taken as mountings of it: spin "
            "each two or three times, taken off and put back in between, taking turns "
            "(A, B, B, A). Without that there are figures, but no verdict."
        ),
    )
    parser.add_argument(
        "run_folders",
        metavar="RUN",
        type=Path,
        nargs="+",
        help="run folders; the others are held against the article of the first",
    )
    parser.add_argument(
        "--learn-from",
        metavar="RUN",
        type=Path,
        nargs="+",
        default=[],
        help="more runs of this stand, only to learn what mounting again does",
    )
    parser.add_argument(
        "--agreement",
        metavar="FILE",
        type=Path,
        help="how the stands agree, from club agree --out, for runs of several stands",
    )
    parser.add_argument(
        "--matters",
        metavar="PERCENT",
        type=float,
        default=MATTERS_PERCENT,
        help="a difference that would matter to you (default: %(default)g)",
    )
    parser.add_argument(
        "--out", metavar="PAGE", type=Path, help="write the comparison as a page too"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Print the comparison; 4 where some of a record is lost.

    Raises:
        GramwattError: the runs cannot be compared, or the page cannot be written.
    """
    from daq.errors import InputFault
    from ui.comparing import compare_folders

    if not (math.isfinite(args.matters) and 0 < args.matters < 100):
        raise InputFault(
            f"--matters is {args.matters:g}; give a percentage above 0 and below 100."
        )
    agreement = None
    if args.agreement is not None:
        from ui.club.agreement import read_agreement

        agreement = read_agreement(args.agreement)
    comparison = compare_folders(args.run_folders, args.learn_from, agreement)
    if args.out is not None:
        from ui.report.comparison import write_comparison

        write_comparison(comparison, args.matters / 100, args.out)
    if args.json:
        _print_json(comparison, args)
    else:
        _print(comparison, args.matters / 100)
        if args.out is not None:
            print(args.out)
    lost = [r for group in comparison.groups for r in group.results if not r.run.whole]
    return LOSSY if lost else 0


def _print_json(comparison: Comparison, args: argparse.Namespace) -> None:
    import json

    from ui.compared import to_dict

    told = to_dict(comparison, args.matters / 100)
    if args.out is not None:
        told["page"] = str(args.out)
    print(json.dumps(told, indent=2))


def _print(comparison: Comparison, matters: float) -> None:
    from ui.cli.text import labelled, wrapped
    from ui.compared import learned_words, noise_words

    for place, group in enumerate(comparison.groups):
        letter = chr(ord("A") + place)
        names = ", ".join(results.run.folder.name for results in group.results)
        print(labelled(letter, f"{group.name}: {names}", width=4))
    if comparison.order.count(" ") > 1:
        print(wrapped(f"in the order {comparison.order}", indent=4))
    parts = [chosen for chosen in comparison.chosen if chosen.part]
    whole = [chosen for chosen in comparison.chosen if not chosen.part]
    noises = noise_words(comparison)
    if parts or noises:
        print()
    for chosen in parts:
        _print_chosen(chosen)
    for words in noises:
        print(wrapped(words, indent=2, hang=4))
    _print_compared(comparison, matters)
    if len(comparison.groups) == 1:
        print()
        for words in learned_words(comparison):
            print(wrapped(words, indent=2, hang=4))
    print()
    for chosen in whole:
        _print_chosen(chosen)
    for caution in comparison.cautions:
        print(labelled("caution", caution))


def _print_compared(comparison: Comparison, matters: float) -> None:
    """Each article against the first."""
    from daq.analysis.verdicts import rests_on, to_settle, verdict
    from ui.cli.text import wrapped

    first = comparison.groups[0].name
    for name, found in comparison.compared.items():
        print()
        for difference in found.differences:
            print(wrapped(verdict(difference, first, name), indent=2, hang=4))
            print(wrapped(rests_on(difference), indent=4))
            print(wrapped(to_settle(difference, matters), indent=4))
        for what, why in found.missing.items():
            print(wrapped(f"{name}, {what}: not compared. {why}", indent=2, hang=4))


def _print_chosen(chosen: Chosen) -> None:
    from ui.cli.text import wrapped
    from ui.compared import chosen_words, value_words

    print(wrapped(chosen_words(chosen), indent=2, hang=4))
    for candidate in chosen.candidates:
        line = f"{candidate.article}: {value_words(chosen, candidate)}"
        print(wrapped(line, indent=6, hang=8))

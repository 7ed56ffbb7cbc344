"""``gramwatt club agree``: how far stands agree, by an article that travelled."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from daq.analysis.round_robin import RoundFound
    from ui.club.agreeing import Round

LOSSY: Final = 4


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "agree",
        help="how far stands agree, by an article that travelled between them",
        description=(
            "Hold stands against each other by runs of one article that travelled: "
            "repeatability and reproducibility after ISO 5725-2, each stand's bias "
            "against the robust mean of all with its interval, and whether what the "
            "stand claims holds it: beyond 1, E_n says no; z warns beyond 2; h and k "
            "(Mandel's) show a stand that lies apart or scatters. The article file "
            'says travels = "NAME OF THE ROUND"; gramwatt club guide says how a club '
            "does it."
        ),
    )
    parser.add_argument(
        "paths",
        metavar="RUN_OR_BUNDLE",
        type=Path,
        nargs="+",
        help="runs of the round, bundles, and folders with either in them",
    )
    parser.add_argument(
        "--round", metavar="NAME", help="which round, where there are several"
    )
    parser.add_argument(
        "--out",
        metavar="FILE",
        type=Path,
        help="write the agreement, for compare --agreement and for the club",
    )
    parser.add_argument(
        "--page", metavar="FILE", type=Path, help="write the round as a page too"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Print what the round says; 4 where some of a record is lost.

    Raises:
        GramwattError: the runs are no round, or a file cannot be written.
    """
    from ui.club.agreeing import hold_round
    from ui.club.unpacked import unpacked

    with unpacked(args.paths) as found:
        held = hold_round(found.runs, args.round)
        return _told(args, held, found.left)


def _told(args: argparse.Namespace, held: Round, left: Sequence[str]) -> int:
    """Write what is asked for, print what the round says, and say how whole it is."""
    from ui.cli.text import labelled
    from ui.club.agreement import write_agreement
    from ui.club.agreement_use import agreement_of

    written: dict[str, str] = {}
    if args.out is not None:
        write_agreement(agreement_of(held), args.out)
        written["agreement"] = str(args.out)
    if args.page is not None:
        from ui.report.robin import write_round

        write_round(held, args.page)
        written["page"] = str(args.page)
    if args.json:
        _print_json(held, {**written, "left": list(left)})
    else:
        _print(held)
        for words in left:
            print(labelled("left", words))
        for path in written.values():
            print(path)
    whole = all(results.run.whole for results in held.results)
    return 0 if whole else LOSSY


def _print_json(held: Round, more: dict[str, Any]) -> None:
    import json

    from ui.club.told import to_dict

    told: dict[str, Any] = to_dict(held) | more
    print(json.dumps(told, indent=2))


def _print(held: Round) -> None:
    from ui.cli.text import labelled, wrapped

    simulated = " (simulated)" if held.simulated else ""
    print(labelled("round", f"{held.name}{simulated}"))
    print(labelled("article", held.article))
    for member in held.members:
        runs = "run" if member.runs == 1 else "runs"
        words = f"{member.words}; {member.runs} {runs}"
        print(labelled(member.name, words, width=11))
    for found in held.found.values():
        _print_found(held, found)
    for what, why in held.missing.items():
        print(wrapped(f"{what}: {why}", indent=2, hang=4))
    print()
    for caution in held.cautions:
        print(labelled("caution", caution))
    if held.set_aside:
        print(labelled("not of it", ", ".join(held.set_aside)))


def _print_found(held: Round, found: RoundFound) -> None:
    from daq.analysis.round_words import agreement, doubts, head, stand_words
    from ui.cli.text import wrapped
    from ui.club.told import rows

    names = held.names
    print()
    print(wrapped(head(found)))
    table = [("stand", "runs", "bias", "95 % interval", "claims", "E_n", "z", "h", "k")]
    for line in (*table, *rows(found, names)):
        stand, runs, bias, interval, claims, e_n, z, h, k = line
        print(
            f"  {stand:<10}{runs:>4} {bias:>8} {interval:>18} {claims:>8}"
            f"{e_n:>6}{z:>6}{h:>6}{k:>6}".rstrip()
        )
    for words in agreement(found):
        print(wrapped(words, indent=2, hang=4))
    for one in found.stands:
        print(wrapped(stand_words(one, names[one.scale]), indent=2, hang=4))
    for words in doubts(found, names):
        print(wrapped(words, indent=2, hang=4))

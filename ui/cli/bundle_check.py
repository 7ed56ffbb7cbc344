"""``gramwatt bundle check``: a bundle that came, looked into before it is trusted."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from ui.club.checked import Checked

#: Done, and what was found differs from what was sent.
DIFFERS: Final = 4


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add this part and its options."""
    parser = subparsers.add_parser(
        "check",
        help="look into a bundle that came, and derive its figures anew",
        description=(
            "Check a bundle in a process of its own: how it is laid out, the hash of "
            "every file, its signature; then read each wire log again and say where "
            "the sender's figures differ. Nothing is kept. Exit status 4 where they "
            "differ, 1 where the bundle is refused."
        ),
    )
    parser.add_argument("bundle", metavar="FILE", type=Path, help="the bundle")
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Check it and say what was found.

    Raises:
        GramwattError: it is refused, or cannot be read.
    """
    from ui.club.inspecting import Inspector, scratch_folder

    with Inspector() as inspector, scratch_folder() as scratch:
        checked = inspector.inspect(args.bundle, scratch)
    if args.json:
        import json

        print(json.dumps(to_dict(checked), indent=2))
    else:
        print_checked(checked)
    return status_of(checked)


def status_of(checked: Checked) -> int:
    """0 where the sender's figures are those of the logs, as far as there are logs."""
    return DIFFERS if any(run.differences for run in checked.runs) else 0


def to_dict(checked: Checked) -> dict[str, object]:
    """What was found, for JSON."""
    from ui.club.checking import as_json
    from ui.club.words import signed_words

    words = signed_words(checked.signed_by, _names())
    return {**as_json(checked), "signature": words}


def _names() -> dict[str, str]:
    """Names by key: those that are kept, and the person's own."""
    from daq.errors import GramwattError
    from ui.club.signing import known_signers, own_key, public_text

    try:
        own = own_key(make=False)
    except GramwattError:
        own = None  # no reason against looking at what came; signing says what is wrong
    return known_signers() | ({} if own is None else {public_text(own): "you"})


def print_checked(checked: Checked) -> None:
    """What was found, in sentences."""
    from ui.cli.text import labelled, wrapped
    from ui.club.words import (
        evidence_words,
        replicate_words,
        run_title,
        run_words,
        signed_words,
        terms_words,
    )

    print(labelled("bundle", checked.title or "without a title"))
    print(labelled("signature", signed_words(checked.signed_by, _names())))
    print(labelled("terms", terms_words(checked)))
    for run in checked.runs:
        print()
        print(labelled("run", run_title(run)))
        print(labelled("rests on", evidence_words(run)))
        print(labelled("mounted", replicate_words(run, checked.runs)))
        print(labelled("figures", run_words(run)))
        for difference in run.differences:
            print(wrapped(difference, indent=11, hang=13))
        for finding in run.entry.findings[:2]:
            print(wrapped(finding.sentence, indent=2, hang=4))
    if checked.notes:
        print()
    for note in checked.notes:
        print(labelled("note", note))

"""``gramwatt bundle key``: what others know one's signature by."""

from __future__ import annotations

import argparse


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add this part and its options."""
    parser = subparsers.add_parser(
        "key",
        help="your public key, for those who want to know your bundles",
        description=(
            "Print your public key, making one the first time. Give it to others, and "
            "read the sixteen digits to them in person: anybody can make a key and say "
            "that it is yours. The key that signs stays on this computer."
        ),
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Print it.

    Raises:
        GramwattError: it cannot be read or made.
    """
    from ui.club.signing import fingerprint, own_key, public_text

    key = own_key(make=True)
    if key is None:
        return 1
    public = public_text(key)
    if args.json:
        import json

        print(json.dumps({"key": public, "digits": fingerprint(public)}))
        return 0
    from ui.cli.text import labelled

    print(labelled("digits", fingerprint(public)))
    print(public)
    return 0

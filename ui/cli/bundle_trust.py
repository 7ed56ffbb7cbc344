"""``gramwatt bundle trust``: whose signatures a person knows."""

from __future__ import annotations

import argparse


def add_parser(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> argparse.ArgumentParser:
    """Add this part and its options."""
    parser = subparsers.add_parser(
        "trust",
        help="keep somebody's key under their name; without one, say who is kept",
        description=(
            "Keep the public key of somebody whose bundles you get. Compare its "
            "sixteen digits with its owner in person first. A known signature says who "
            "packed a bundle, and nothing about whether it is right."
        ),
    )
    parser.add_argument("name", metavar="NAME", nargs="?", help="whose key it is")
    parser.add_argument(
        "key", metavar="KEY", nargs="?", help="what their `gramwatt bundle key` prints"
    )
    parser.add_argument("--forget", metavar="NAME", help="forget somebody's key")
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Keep or forget, and say who is kept.

    Raises:
        GramwattError: it is no key, no name, or cannot be kept.
    """
    from daq.errors import InputFault
    from ui.club.signing import fingerprint, forget_signer, keep_signer, known_signers

    if (args.name is None) != (args.key is None):
        raise InputFault(
            'a name comes with its key: gramwatt bundle trust "Anna" ed25519:...'
        )
    if args.forget:
        forget_signer(args.forget)
    if args.name:
        keep_signer(args.key, args.name)
    known = known_signers()
    if args.json:
        import json

        print(json.dumps({name: key for key, name in known.items()}, indent=2))
        return 0
    if not known:
        print("Nobody is kept: unsigned bundles, and keys not kept, are said to be so.")
    for key, name in sorted(known.items(), key=lambda pair: pair[1]):
        print(f"{fingerprint(key)}  {name}")
    return 0

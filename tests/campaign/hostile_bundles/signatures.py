"""What can be wrong with a signature."""

import base64
import json
from collections.abc import Callable, Iterator
from functools import partial

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from tests.bundles import (
    together,
    with_entry,
)
from tests.campaign.hostile_bundles.case import (
    SCRIPT,
    Hostile,
    Json,
    tables,
)
from ui.club import layout, signing


def signed(change: Callable[[Json], None], *, of: bytes | None = None) -> bytes:
    """A bundle with a signature that is not right."""
    files = tables()
    key = Ed25519PrivateKey.generate()
    made = json.loads(signing.signature_of(of or files[layout.DESCRIPTOR], key))
    change(made)
    return together(files | {layout.SIGNATURE: json.dumps(made).encode()})


def spelt_otherwise(key: str) -> str:
    """The same bytes: two bits of the last letter but one stand for nothing."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
    return f"{key[:-2]}{letters[letters.index(key[-2]) + 1]}="


def by_nobody() -> bytes:
    """Signed under a key for which one signature fits every text."""
    neutral = (1).to_bytes(32, "little")
    made = {
        "format": 1,
        "key": signing.SCHEME + base64.b64encode(neutral).decode(),
        "signature": base64.b64encode(neutral + bytes(32)).decode(),
    }
    return together(tables() | {layout.SIGNATURE: json.dumps(made).encode()})


def changed_after() -> bytes:
    """Signed, and a figure changed afterwards, with every hash set right."""
    files = tables()
    key = Ed25519PrivateKey.generate()
    made = signing.signature_of(files[layout.DESCRIPTOR], key)
    better = with_entry(
        files, lambda e: e["full"]["thrust_n"].update(value=9.0, high=9.1)
    )
    return together(better | {layout.SIGNATURE: made})


def signature_level() -> Iterator[Hostile]:
    """What can be wrong with a signature."""
    other = signing.public_text(Ed25519PrivateKey.generate())
    yield Hostile(
        "signed something else", lambda: signed(_as_it_is, of=b"{}"), "pretends"
    )
    yield Hostile(
        "signed in another's name",
        lambda: signed(lambda made: made.update(key=other)),
        "pretends",
    )
    yield Hostile("changed after it was signed", changed_after, "pretends")
    yield Hostile("signed by nobody", by_nobody, "cannot be read")
    yield Hostile(
        "signed under another spelling of a key",
        lambda: signed(lambda made: made.update(key=spelt_otherwise(made["key"]))),
        "cannot be read",
    )
    for name, given in (
        ("a signature too short", {"signature": "AAAA"}),
        ("a signature of no letters", {"signature": "\x00"}),
        ("a signature of another format", {"format": 2}),
        ("a signature with more in it", {"name": "Anna"}),
        ("a key of another kind", {"key": "rsa:" + "A" * 40}),
        ("a key that is a number", {"key": 5}),
    ):
        yield Hostile(
            name,
            partial(signed, partial(_updated, given=given)),
            "pretends" if name == "a signature too short" else "cannot be read",
        )
    yield Hostile(
        "a signature that is a page",
        lambda: together(tables() | {layout.SIGNATURE: SCRIPT.encode()}),
        "cannot be read",
    )
    yield Hostile(
        "an endless signature",
        lambda: together(tables() | {layout.SIGNATURE: b" " * 5000}),
        "may have",
    )


def _updated(made: Json, given: Json) -> None:
    made.update(given)


def _as_it_is(made: Json) -> None:
    del made

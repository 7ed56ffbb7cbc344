"""Who packed a bundle, if they want it known: a signature that nobody else can make.

Ed25519 (RFC 8032) by a maintained library, over the bundle's descriptor, which holds
the hash of everything else. A person's own key is made when first asked for and kept
where nobody else of this computer may read it; the keys of others are kept with the
names that the person gave them. A signature says who packed a bundle and that nobody
changed it since, and nothing about whether it is right.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, Literal

from pydantic import Field, ValidationError

from daq.errors import InputFault, WorldFault
from daq.places import data_folder
from daq.typed_toml import Table

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

OWN: Final = "signing-key.pem"
KNOWN: Final = "signers.json"
#: What is signed begins with this, so that a signature serves for nothing else.
PURPOSE: Final = b"gramwatt bundle signature 1\n"
#: How a key is written down.
SCHEME: Final = "ed25519:"
KEY_BYTES: Final = 32
#: The field of the curve, and the y of its points of small order: under such a key one
#: signature fits nearly any text, so it is nobody's (RFC 8032, section 8; the eighth
#: parts of a turn recomputed in the tests).
FIELD: Final = 2**255 - 19
_EIGHTH: Final = int.from_bytes(
    bytes.fromhex("26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05"),
    "little",
)
SMALL_ORDER_Y: Final = frozenset((0, 1, FIELD - 1, _EIGHTH, FIELD - _EIGHTH))
MOST_NAME: Final = 60


class _Signed(Table):
    """The file of a signature."""

    format: Literal[1]
    key: Annotated[str, Field(max_length=80)]
    signature: Annotated[str, Field(max_length=100)]


def own_key(*, make: bool) -> Ed25519PrivateKey | None:
    """The person's own key.

    Args:
        make: whether to make one where there is none.

    Raises:
        WorldFault: it cannot be read or written.
        InputFault: the file is there and holds no such key.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    path = data_folder() / OWN
    try:
        text = path.read_bytes()
    except FileNotFoundError:
        return _made(path) if make else None
    except OSError as fault:
        raise WorldFault(f"{path} cannot be read: {fault.strerror}.") from None
    try:
        key = load_pem_private_key(text, password=None)
    except (ValueError, TypeError):
        key = None
    if not isinstance(key, Ed25519PrivateKey):
        raise InputFault(f"{path} holds no signing key: move it away to have one made.")
    return key


def _made(path: Path) -> Ed25519PrivateKey:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import (
        Encoding,
        NoEncryption,
        PrivateFormat,
    )

    key = Ed25519PrivateKey.generate()
    text = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # Nobody else's from its first byte on.
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
        with os.fdopen(os.open(path, flags, 0o600), "wb") as file:
            file.write(text)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{path} cannot be written: {why}.") from None
    return key


def public_text(key: Ed25519PrivateKey) -> str:
    """What others need to know one's signature by, as a line of text."""
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    raw = key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
    return SCHEME + base64.b64encode(raw).decode()


def fingerprint(public: str) -> str:
    """A key as two people can read it to each other: sixteen digits in fours."""
    digits = hashlib.sha256(_raw_key(public)).hexdigest()[:16]
    return " ".join(digits[place : place + 4] for place in range(0, 16, 4))


def _raw_key(public: str) -> bytes:
    """The bytes of a key as it is written down.

    Raises:
        InputFault: it is none.
    """
    try:
        if public.startswith(SCHEME):
            raw = base64.b64decode(public.removeprefix(SCHEME), validate=True)
            # Base64 writes some bytes in several ways, and a key is kept by its text.
            as_ours = SCHEME + base64.b64encode(raw).decode() == public
            if as_ours and len(raw) == KEY_BYTES and _can_be_owned(raw):
                return raw
    except (binascii.Error, ValueError):
        pass
    raise InputFault(
        f'"{_plain(public)[:60]}" is no public key: it begins with {SCHEME} and has 44 '
        "characters after that. Ask its owner for what `gramwatt bundle key` prints."
    )


def _can_be_owned(raw: bytes) -> bool:
    """Whether somebody alone can sign for a key."""
    y = int.from_bytes(raw, "little") & ((1 << 255) - 1)
    return y < FIELD and y not in SMALL_ORDER_Y


# ------------------------------------------------------------------ signatures


def signature_of(descriptor: bytes, key: Ed25519PrivateKey) -> bytes:
    """The file that holds a bundle's signature."""
    made = {
        "format": 1,
        "key": public_text(key),
        "signature": base64.b64encode(key.sign(PURPOSE + descriptor)).decode(),
    }
    return (json.dumps(made, indent=2) + "\n").encode()


def signer_of(descriptor: bytes, signature: bytes) -> str:
    """The key that a bundle was signed by, as it is written down.

    Args:
        descriptor: the bundle's, as it stands in it.
        signature: the file of the signature.

    Raises:
        InputFault: it is no signature, or not one of this descriptor.
    """
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        made = _Signed.model_validate_json(signature)
        raw = _raw_key(made.key)
        proof = base64.b64decode(made.signature, validate=True)
    except (ValidationError, ValueError, InputFault):
        raise InputFault("its signature cannot be read") from None
    try:
        Ed25519PublicKey.from_public_bytes(raw).verify(proof, PURPOSE + descriptor)
    except (InvalidSignature, ValueError):
        raise InputFault(
            "it pretends to be signed: the signature is not of this bundle, so it was "
            "changed after it was signed, or whoever signed it signed something else"
        ) from None
    return made.key


# ------------------------------------------------------------------ who is known


def known_signers() -> dict[str, str]:
    """Names by key; empty where nobody is kept.

    Raises:
        InputFault: the file is there and cannot be understood.
        WorldFault: it cannot be read.
    """
    path = data_folder() / KNOWN
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except OSError as fault:
        raise WorldFault(f"{path} cannot be read: {fault.strerror}.") from None
    except (ValueError, RecursionError):
        content = None
    if not isinstance(content, dict) or not all(
        isinstance(name, str) for name in content.values()
    ):
        raise InputFault(f"{path} holds no list of signers: mend it, or move it away.")
    return dict(content)


def keep_signer(public: str, name: str) -> None:
    """Keep a key under the name of its owner.

    Raises:
        InputFault: it is no key, no name, or the name is somebody else's.
        WorldFault: it cannot be written.
    """
    _raw_key(public)
    if not (name.strip() and name.isprintable() and len(name) <= MOST_NAME):
        raise InputFault(
            f"a signer's name has 1 to {MOST_NAME} plain characters; this one has not."
        )
    known = known_signers()
    taken = next((key for key, other in known.items() if other == name), public)
    if taken != public:
        raise InputFault(
            f"{name} is kept already with another key, {fingerprint(taken)}: if that "
            f'key is of no more use, forget it first with --forget "{name}".'
        )
    _write({**known, public: name})


def forget_signer(name: str) -> None:
    """Forget a key by the name of its owner.

    Raises:
        InputFault: nobody is kept by that name.
        WorldFault: it cannot be written.
    """
    known = known_signers()
    left = {key: other for key, other in known.items() if other != name}
    if len(left) == len(known):
        names = ", ".join(sorted(known.values())) or "nobody"
        raise InputFault(f"nobody is kept as {_plain(name)[:60]}; known: {names}.")
    _write(left)


def _write(known: Mapping[str, str]) -> None:
    path = data_folder() / KNOWN
    fresh = path.with_suffix(".new")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh.write_text(json.dumps(known, indent=2) + "\n", encoding="utf-8")
        fresh.replace(path)
    except OSError as fault:
        why = fault.strerror or str(fault)
        raise WorldFault(f"{path} cannot be written: {why}.") from None


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)

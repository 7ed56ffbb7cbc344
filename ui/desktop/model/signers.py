"""Whose signature a bundle bears, and whose keys a person keeps.

A signature says who packed a bundle and that nobody changed it since, and nothing
about whether it is right.
"""

from dataclasses import dataclass
from typing import Final

from daq.errors import GramwattError
from ui.club.checked import Checked
from ui.club.signing import fingerprint, known_signers, own_key, public_text
from ui.club.words import signed_words
from ui.desktop.model.words import one_line

OWN: Final = "own"
KNOWN: Final = "known"
UNKNOWN: Final = "unknown"
UNSIGNED: Final = "unsigned"
#: In a word or two, beside the sentence.
HEADS: Final = {
    OWN: "Signed by you",
    KNOWN: "Signed, known",
    UNKNOWN: "Signed, not known",
}


@dataclass(frozen=True, slots=True)
class Signature:
    """Whose signature a bundle bears.

    Attributes:
        kind: own, known, unknown or unsigned.
        words: a sentence.
        key: of it; "" where it is unsigned.
        digits: of the key, for two people to read to each other; "" for none.
    """

    kind: str
    words: str
    key: str = ""
    digits: str = ""


@dataclass(frozen=True, slots=True)
class Signer:
    """Somebody whose key is kept."""

    name: str
    key: str
    digits: str


@dataclass(frozen=True, slots=True)
class Keys:
    """The keys of this computer.

    Attributes:
        own: what others know one's signature by; "" where there is no key yet.
        digits: of it.
        known: whose keys are kept, by name.
        fault: why any of it cannot be read, a sentence; "" for nothing.
    """

    own: str = ""
    digits: str = ""
    known: tuple[Signer, ...] = ()
    fault: str = ""

    @property
    def by_key(self) -> dict[str, str]:
        """Names by key."""
        return {signer.key: signer.name for signer in self.known}


def signature_of(checked: Checked, keys: Keys) -> Signature:
    """Whose signature a bundle bears, by the keys of this computer."""
    key, known = checked.signed_by, keys.by_key
    words = signed_words(key, known)
    if key is None:
        return Signature(UNSIGNED, words)
    digits = fingerprint(key)
    if key == keys.own:
        words = "Signed with the key of this computer, and not changed since."
        return Signature(OWN, words, key, digits)
    return Signature(KNOWN if key in known else UNKNOWN, words, key, digits)


def read_keys(*, make: bool = False) -> Keys:
    """The keys of this computer as they are now.

    Args:
        make: whether to make one's own where there is none.
    """
    faults = []
    own, known = "", {}
    try:
        key = own_key(make=make)
        own = public_text(key) if key is not None else ""
    except GramwattError as fault:
        faults.append(str(fault))
    try:
        known = known_signers()
        signers = [Signer(one_line(n), k, fingerprint(k)) for k, n in known.items()]
    except GramwattError as fault:
        signers = []
        faults.append(str(fault))
    return Keys(
        own,
        fingerprint(own) if own else "",
        tuple(sorted(signers, key=lambda signer: signer.name.casefold())),
        " ".join(faults),
    )

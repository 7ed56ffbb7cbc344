"""What the site is made of: runs that were taken in, and bundles that were refused."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ui.club.entry import Entry


@dataclass(frozen=True, slots=True)
class Shared:
    """A run out of a bundle that was checked.

    Attributes:
        entry: what the club keeps of it.
        bundle: its bundle inside the folder, with forward slashes.
        bundle_sha256: of that file, in hexadecimal.
        signed_by: name of a known signer; empty for a good signature by a key that
            nobody knows; None where it is unsigned.
        licence: as the sender stated it; empty for none.
        by: as the sender wants to be named; empty for not at all.
        checked: what the check said, in sentences.
        report: our own report page of it, where its wire log was there.
    """

    entry: Entry
    bundle: str
    bundle_sha256: str
    signed_by: str | None = None
    licence: str = ""
    by: str = ""
    checked: tuple[str, ...] = ()
    report: Path | None = None


@dataclass(frozen=True, slots=True)
class Refused:
    """A bundle of which nothing was taken in, and why."""

    bundle: str
    why: str

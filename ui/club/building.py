"""A club's site from a folder of bundles, in one call: for command and window.

Bundles are looked through, round robins found among their runs, and the site written
as far as it changed. Nothing here draws or computes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from daq.errors import InputFault
from ui.club.library import shared_in
from ui.club.looking import Progress, quiet
from ui.club.rounds import Rounds, agreement_by_keys, rounds_in
from ui.club.site.build import Built, build_site
from ui.club.site.listing import listed

if TYPE_CHECKING:
    from pathlib import Path

    from ui.club.agreement import AgreementTold
    from ui.club.site.shared import Refused

LONGEST_NAME: Final = 80


@dataclass(frozen=True, slots=True)
class Club:
    """A club's site as it was built.

    Attributes:
        index: its first page.
        built: what is in it, and what was written.
        refused: bundles that were not taken in.
        rounds: round robins among the runs.
    """

    index: Path
    built: Built
    refused: tuple[Refused, ...]
    rounds: Rounds


def build_club(
    folder: Path,
    out: Path,
    name: str,
    *,
    agreement: AgreementTold | None = None,
    progress: Progress = quiet,
) -> Club:
    """Build a club's site.

    Args:
        folder: with bundles, and in folders below it.
        out: folder of the site; not inside the other.
        name: of the club.
        agreement: how its stands agree, from a file; None takes it from the round
            robins among the runs.
        progress: is told how many bundles are done, and of how many.

    Raises:
        InputFault: a folder or the name cannot be taken.
        WorldFault: something cannot be read or written.
    """
    name = " ".join(name.split())
    if not 0 < len(name) <= LONGEST_NAME:
        raise InputFault(
            f"the club's name has 1 to {LONGEST_NAME} signs; this one has {len(name)}."
        )
    if out.resolve().is_relative_to(folder.resolve()):
        raise InputFault(
            f"{out} lies in {folder}: the site's copies of bundles would be taken for "
            "more of them. Give another folder for the site."
        )
    shared, refused = shared_in(folder, progress)
    once, _ = listed(shared)
    rounds = rounds_in([row.shared.entry for row in once])
    agreed = rounds.best if agreement is None else agreement_by_keys(agreement)
    built = build_site(shared, refused, agreed, name, out, folder)
    return Club(out / "index.html", built, tuple(refused), rounds)

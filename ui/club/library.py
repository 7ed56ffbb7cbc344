"""A folder of bundles as the club's site takes it: what may be shown, what was refused.

The one place where the site meets bundles. Nothing of a bundle that is refused gets
any further than its name and the reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from ui.club.looking import Looked, look_through, quiet
from ui.club.signing import known_signers
from ui.club.site.shared import Refused, Shared
from ui.club.words import run_words

if TYPE_CHECKING:
    from pathlib import Path

    from ui.club.checked import Checked, RunChecked
    from ui.club.looking import Progress


def shared_in(
    folder: Path, progress: Progress = quiet
) -> tuple[list[Shared], list[Refused]]:
    """Every bundle of a folder and of those below it: runs, and what was refused.

    Args:
        folder: with bundles; links are not followed.
        progress: is told how many are done, and of how many.

    Raises:
        InputFault: there is no such folder.
        WorldFault: it cannot be read.
    """
    known = known_signers()
    shared: list[Shared] = []
    refused: list[Refused] = []
    for looked in look_through(folder, progress):
        name = looked.path.relative_to(folder).as_posix()
        if looked.checked is None:
            refused.append(Refused(name, looked.refused))
        else:
            shared += _runs(looked, looked.checked, name, known)
    return shared, refused


def _runs(
    looked: Looked, checked: Checked, name: str, known: Mapping[str, str]
) -> Iterator[Shared]:
    signed_by = None
    if checked.signed_by is not None:
        signed_by = known.get(checked.signed_by, "")
    for run in checked.runs:
        yield Shared(
            entry=run.entry,
            bundle=name,
            bundle_sha256=looked.sha256,
            signed_by=signed_by,
            licence=checked.licence,
            by=checked.by,
            checked=_said(run, checked),
            report=(looked.reports or {}).get(run.entry.run),
        )


def _said(run: RunChecked, checked: Checked) -> tuple[str, ...]:
    """What the check said of a run; of a bundle only what concerns differences."""
    notes = checked.notes if run.differences else ()
    return (run_words(run), *run.differences, *notes)

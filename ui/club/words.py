"""What a check found, in sentences: the same for terminal, window and site."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ui.club.checked import Checked, RunChecked
from ui.club.plainly import plainly
from ui.club.signing import fingerprint

UNSIGNED = "Not signed, as is usual: nobody vouches for who packed it."


def signed_words(signed_by: str | None, known: Mapping[str, str]) -> str:
    """Who signed a bundle, a sentence.

    Args:
        signed_by: the key of a good signature; None where there is none.
        known: names by key, as the person keeps them.
    """
    if signed_by is None:
        return UNSIGNED
    digits = fingerprint(signed_by)
    name = known.get(signed_by)
    if name is not None:
        return f"Signed by {name} ({digits}), and not changed since."
    return (
        f"Signed, and not changed since, by somebody whose key you do not keep "
        f"({digits}): anybody can make a key."
    )


def terms_words(checked: Checked) -> str:
    """Whose it is and what may be done with it, a sentence."""
    by = f"Packed by {checked.by}, as they say." if checked.by else "No name is stated."
    licence = (
        f"Licence: {checked.licence}."
        if checked.licence
        else "No licence is stated: ask before you pass it on."
    )
    return f"{by} {licence}"


def run_title(run: RunChecked) -> str:
    """Which run, and of what."""
    return f"{run.entry.run}, {plainly(run.entry.article.name)}"


def replicate_words(run: RunChecked, runs: Sequence[RunChecked]) -> str:
    """How often its article was run, mounted again, on the same stand; a sentence."""
    own = run.entry
    alike = [
        other
        for other in runs
        if (other.entry.article.key, other.entry.stand) == (own.article.key, own.stand)
    ]
    if len(alike) < 2:
        return "The only run of this article on its stand here: no verdict rests on it."
    return f"One of {len(alike)} runs of this article on its stand here."


def run_words(run: RunChecked) -> str:
    """How far a run's figures can be relied on, a sentence."""
    if not run.rederived:
        return "Not re-derived: there is no wire log."
    if run.differences:
        return "Re-derived here; the sender's figures differ:"
    return "Re-derived here from its wire log: the sender's figures are the same."


def evidence_words(run: RunChecked) -> str:
    """What its figures rest on."""
    words = plainly(run.entry.evidence.words, 1200)
    return f"{words[:1].upper()}{words[1:]}."

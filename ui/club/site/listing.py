"""Which runs the site lists: each once, in one order, under an address of its own.

A run that came in two bundles must not count twice, or its article would seem to have
been mounted again. The one whose record was re-read comes first, then the one that a
known signer signed; the other is told, and whether it says the same.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ui.club.entry import key_of

if TYPE_CHECKING:
    from ui.club.site.shared import Shared

#: Most other runs of an article that a page names.
MOST_SIBLINGS: Final = 24
_RECORDS: Final = ("re-read", "damaged", "tables only", "changed")


@dataclass(frozen=True, slots=True)
class Sibling:
    """Another run of the same article."""

    id: str
    day: str
    stand: str
    same_stand: bool


@dataclass(frozen=True, slots=True)
class Listed:
    """A run as the site lists it.

    Attributes:
        id: its address, which stays when bundles are renamed.
        shared: the run.
        siblings: other runs of its article, newest first, no more than are told.
        more_siblings: how many more there are.
    """

    id: str
    shared: Shared
    siblings: tuple[Sibling, ...] = ()
    more_siblings: int = 0


@dataclass(frozen=True, slots=True)
class Repeated:
    """A run that came once more.

    Attributes:
        run: its name.
        bundle: where it came once more.
        listed_from: the bundle that it is listed from.
        same: whether both say the same of it.
    """

    run: str
    bundle: str
    listed_from: str
    same: bool


def identity(shared: Shared) -> str:
    """Sixteen digits that stand for a run, whichever bundle it came in."""
    entry = shared.entry
    return key_of([entry.run, entry.utc, entry.stand, entry.article.key])


def listed(shared: Sequence[Shared]) -> tuple[list[Listed], list[Repeated]]:
    """Every run once, newest first, and those that came once more."""
    met: dict[str, list[Shared]] = defaultdict(list)
    for one in shared:
        met[identity(one)].append(one)
    kept: list[tuple[str, Shared]] = []
    repeated: list[Repeated] = []
    for name, several in met.items():
        first, *others = sorted(several, key=_preference)
        kept.append((name, first))
        repeated += [
            Repeated(first.entry.run, one.bundle, first.bundle, _same(one, first))
            for one in others
        ]
    kept.sort(key=lambda one: one[0])
    kept.sort(key=lambda one: one[1].entry.utc, reverse=True)
    repeated.sort(key=lambda one: (one.bundle, one.run))
    return _with_siblings(kept), repeated


def _same(one: Shared, other: Shared) -> bool:
    """Whether two say the same of a run, though one of them may lack its wire log."""
    kept = other.entry.evidence
    evidence = one.entry.evidence
    records = {evidence.record, kept.record}
    if "tables only" in records and len(records) > 1:  # which the words say too
        update = {"record": kept.record, "words": kept.words}
        evidence = evidence.model_copy(update=update)
    return one.entry.model_copy(update={"evidence": evidence}) == other.entry


def _preference(shared: Shared) -> tuple[int, bool, str, str]:
    return (
        _RECORDS.index(shared.entry.evidence.record),
        not shared.signed_by,
        shared.bundle,
        shared.entry.model_dump_json(),
    )


def _with_siblings(kept: list[tuple[str, Shared]]) -> list[Listed]:
    families: dict[str, list[tuple[str, Shared]]] = defaultdict(list)
    for one in kept:
        families[one[1].entry.article.key].append(one)
    rows = []
    for name, shared in kept:
        family = families[shared.entry.article.key]
        near = family[: MOST_SIBLINGS + 1]
        told = [_sibling(*one, shared) for one in near if one[0] != name]
        told = told[:MOST_SIBLINGS]
        rows.append(Listed(name, shared, tuple(told), len(family) - 1 - len(told)))
    return rows


def _sibling(name: str, other: Shared, of: Shared) -> Sibling:
    return Sibling(
        name,
        other.entry.utc[:10],
        other.entry.evidence.stand,
        other.entry.stand == of.entry.stand,
    )

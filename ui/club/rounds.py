"""Round robins that a club's bundles hold: how its stands agree, learned from entries.

Runs of an article that says that it travels, from any number of bundles. Nothing here
reads a bundle, and nothing is believed of who says that it travelled but what the
parts that travel are called.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from daq.errors import InputFault
from ui.club.agreeing import Member, letters
from ui.club.agreement_use import Held, agreement_told, summary_of_entry

if TYPE_CHECKING:
    from daq.analysis.agreed import Agreement
    from daq.analysis.round_robin import RoundFound
    from daq.analysis.summaries import Summary
    from ui.club.agreement import AgreementTold
    from ui.club.entry import Entry

QUANTITIES: Final = ("specific thrust", "thrust")


@dataclass(frozen=True, slots=True)
class Rounds:
    """What a club's entries say of its stands.

    Attributes:
        agreements: of each round that says something, the one of the most stands
            first, of those the newest.
        unused: why a round says nothing, a sentence each.
    """

    agreements: tuple[AgreementTold, ...]
    unused: tuple[str, ...]

    @property
    def best(self) -> Agreement | None:
        """What comparisons take, stands by their keys; None where none travelled."""
        return agreement_by_keys(self.agreements[0]) if self.agreements else None

    def words(self) -> tuple[str, ...]:
        """Each round in a sentence: of how many stands, or why it says nothing."""
        told = [
            f'Round robin "{one.round}": {len(one.stands)} stands, '
            f"{one.utc_from[:10]} to {one.utc_to[:10]}."
            for one in self.agreements
        ]
        return (*told, *self.unused)


def rounds_in(entries: Sequence[Entry]) -> Rounds:
    """Every round robin among some runs.

    Args:
        entries: of runs, each once.
    """
    rounds: dict[str, list[Entry]] = defaultdict(list)
    for entry in entries:
        if entry.article.travels is not None:
            rounds[entry.article.travels].append(entry)
    measured = any(not _unreal(entry) for entry in entries)
    agreements, unused = [], []
    for name, several in sorted(rounds.items()):
        try:
            agreements.append(_agreement(name, several, measured=measured))
        except InputFault as fault:
            unused.append(f'The round robin "{name}" is not used: {fault}')
    agreements.sort(key=lambda told: (len(told.stands), told.utc_to), reverse=True)
    return Rounds(tuple(agreements), tuple(unused))


def agreement_by_keys(told: AgreementTold) -> Agreement:
    """An agreement as comparisons of entries take it: stands by their keys."""
    from daq.analysis.agreed import Agreement

    return Agreement.from_dict(told.to_dict()["quantities"])


def _agreement(name: str, entries: Sequence[Entry], *, measured: bool) -> AgreementTold:
    """What one round leaves.

    Args:
        name: of the round.
        entries: its runs.
        measured: whether it is to serve runs that were measured.

    Raises:
        InputFault: it says nothing, or its runs are not of one article.
    """
    entries = sorted(entries, key=lambda entry: (entry.utc, entry.run))
    _check_alike(entries)
    if measured and _unreal(entries[0]):
        raise InputFault("nothing in it was measured, and other runs were.")
    found, taken = _found(entries)
    return agreement_told(
        Held(
            name,
            entries[0].article.name,
            tuple(entry.utc for entry in entries),
            any(_unreal(entry) for entry in entries),
            _members(taken),
            found,
        ),
        key=str,  # stands go by their keys already
    )


def _unreal(entry: Entry) -> bool:
    return entry.evidence.simulated or entry.evidence.invented


def _check_alike(entries: Sequence[Entry]) -> None:
    """That what travels is called the same everywhere, and is as real everywhere.

    Raises:
        InputFault: it is not.
    """
    for what in ("motor", "propeller", "esc", "mount"):
        names = {
            " ".join(getattr(entry.article, what).casefold().split()): getattr(
                entry.article, what
            )
            for entry in entries
        }
        if len(names) > 1:
            one, other = sorted(names.values())[:2]
            raise InputFault(
                f'its {what} is "{one}" in one run and "{other}" in another: what is '
                "in the parcel has one name everywhere."
            )
    if len({_unreal(entry) for entry in entries}) > 1:
        raise InputFault("some of its runs were measured and some were not.")


def _found(
    entries: Sequence[Entry],
) -> tuple[dict[str, RoundFound], list[Summary]]:
    from daq.analysis.round_robin import round_robin

    found: dict[str, RoundFound] = {}
    taken: list[Summary] = []
    why: list[str] = []
    for what in QUANTITIES:
        told = [summary_of_entry(entry, what) for entry in entries]
        runs = [one for one in told if one is not None]
        try:
            found[what] = round_robin(what, runs)
        except InputFault as fault:
            why.append(str(fault))
        else:
            taken = max(taken, runs, key=len)
    if not found:
        raise InputFault(" ".join(dict.fromkeys(why)))
    return found, taken


def _members(runs: Sequence[Summary]) -> tuple[Member, ...]:
    """The stands in the order in which they were first visited."""
    counted: dict[tuple[str, str], int] = {}
    for run in runs:
        counted[run.scale, run.stand] = counted.get((run.scale, run.stand), 0) + 1
    return tuple(
        Member(scale, stand, f"Stand {letters(place)}", stand, number)
        for place, ((scale, stand), number) in enumerate(counted.items())
    )

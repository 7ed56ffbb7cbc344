"""Runs of an article that travelled: read, put in order, held against each other.

The glue between run folders and the analysis of a round robin, for command and page.
Nothing here computes a figure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from daq.errors import InputFault
from ui.comparable import begun
from ui.travelling import differing, refuse_another

if TYPE_CHECKING:
    from daq.analysis.round_robin import RoundFound
    from daq.analysis.summaries import Summary
    from ui.results import Results

#: What a round is read from; nominal scales of these are said.
MEASURED_BY: Final = ("thrust", "current", "voltage")


@dataclass(frozen=True, slots=True)
class Member:
    """One stand with its calibrations, in a round.

    Attributes:
        scale: the stand with its calibrations, in words.
        stand: the stand.
        name: what it is called here: a letter, by when it was first visited.
        words: who it is, for those who may know.
        runs: how many it made.
    """

    scale: str
    stand: str
    name: str
    words: str
    runs: int


@dataclass(frozen=True, slots=True)
class Round:
    """A round robin, and what it says.

    Attributes:
        name: of the round.
        results: of its runs, in the order in which they were made.
        members: the stands, in the order in which they were first visited.
        found: by quantity.
        missing: why a quantity says nothing, by quantity.
        cautions: what must be known.
        set_aside: runs that were looked at and are not of the round.
    """

    name: str
    results: tuple[Results, ...]
    members: tuple[Member, ...]
    found: Mapping[str, RoundFound]
    missing: Mapping[str, str]
    cautions: tuple[str, ...]
    set_aside: tuple[str, ...]

    @property
    def simulated(self) -> bool:
        """Whether anything of it was only simulated."""
        return any(one.run.simulated for one in self.results)

    @property
    def article(self) -> str:
        """What travelled, as the first who spun it calls it."""
        article = self.results[0].article
        return "" if article is None else article.name

    @property
    def names(self) -> dict[str, str]:
        """What each scale is called."""
        return {member.scale: member.name for member in self.members}


def hold_round(paths: Sequence[Path], asked: str | None = None) -> Round:
    """Read the runs of a round robin and hold its stands against each other.

    Args:
        paths: run folders, and folders with runs in them.
        asked: name of the round; None where the runs are of one only.

    Raises:
        InputFault: there are no such runs, they are of several rounds or of several
            articles, or of fewer than two stands.
        RecordFault: a log cannot be read.
    """
    results, set_aside = _of_one_round(paths, asked)
    told = [
        (one.run.folder.name, one.article) for one in results if one.article is not None
    ]
    refuse_another(told)
    found, missing, summaries = _found(results)
    return Round(
        name=told[0][1].travels or "",
        results=tuple(results),
        members=_members(results, summaries),
        found=found,
        missing=missing,
        cautions=(*_cautions(results), *differing(told)),
        set_aside=tuple(set_aside),
    )


# ---------------------------------------------------------------- reading


def runs_in(path: Path) -> list[Path]:
    """The runs that a path names: itself, or those in it at any depth.

    Raises:
        InputFault: there is none.
    """
    from daq.records.wirelog import NAME

    if (path / NAME).is_file():
        return [path]
    if not path.is_dir():
        raise InputFault(f"{path}: there is no such folder; name runs, or folders.")
    found = sorted(log.parent for log in path.rglob(NAME) if log.is_file())
    if not found:
        raise InputFault(f"{path} is no run and has none in it.")
    return found


def _of_one_round(
    paths: Sequence[Path], asked: str | None
) -> tuple[list[Results], list[str]]:
    """Runs of one round in their order, and the names of those that are not."""
    from ui.results import analyse_folder

    folders = {run.resolve(): run for path in paths for run in runs_in(path)}
    rounds: dict[str, list[Results]] = {}
    others: list[str] = []
    silent: list[str] = []
    for folder in folders.values():
        results = analyse_folder(folder)
        name = results.article.travels if results.article is not None else None
        if name is None or asked not in (None, name):
            others.append(folder.name)
        elif (why := _says_nothing(results)) is not None:
            silent.append(f"{folder.name} ({why})")
        else:
            rounds.setdefault(name, []).append(results)
    if len(rounds) > 1:
        names = ", ".join(f'"{name}"' for name in sorted(rounds))
        raise InputFault(
            f"these are runs of several round robins, {names}: name one with --round."
        )
    if not rounds:
        if silent:
            raise InputFault(
                f"no run of a round can be held against another: {', '.join(silent)}."
            )
        of = f'the round robin "{asked}"' if asked else "an article that travels"
        raise InputFault(
            f"none of these {len(folders)} runs is of {of}: give it travels = "
            '"NAME OF THE ROUND" in its article file before it is spun.'
        )
    (several,) = rounds.values()
    return sorted(several, key=begun), others + silent


def _says_nothing(results: Results) -> str | None:
    analysis = results.analysis
    if analysis is None or not len(analysis.plateaus):
        return "it has no plateau"
    if analysis.evidence.propeller_off:
        return "it was spun without a propeller"
    return None


def _found(
    results: Sequence[Results],
) -> tuple[dict[str, RoundFound], dict[str, str], list[Summary]]:
    from daq.analysis.quantities import QUANTITIES
    from daq.analysis.round_robin import round_robin

    found, missing = {}, {}
    every: list[Summary] = []
    for what in QUANTITIES:
        runs = _summaries(what, results)
        if len(runs) < len(results):
            lacking = len(results) - len(runs)
            missing[what] = (
                f"{lacking} of {len(results)} runs have no curve of it: it takes "
                "thrust, voltage and current at five levels or more."
            )
        try:
            found[what] = round_robin(what, runs)
            every += runs
        except InputFault as fault:
            missing[what] = str(fault)
    if not found:
        raise InputFault(" ".join(dict.fromkeys(missing.values())))
    return found, missing, every


def _summaries(what: str, results: Sequence[Results]) -> list[Summary]:
    from daq.analysis.summaries import summary_of
    from daq.analysis.unseen import TRAVELS
    from ui.comparable import mounting_of

    mountings = [mounting_of("the traveller", one) for one in results]
    runs = [summary_of(what, one, alike=TRAVELS) for one in mountings]
    return [run for run in runs if run is not None]


def _members(
    results: Sequence[Results], summaries: Sequence[Summary]
) -> tuple[Member, ...]:
    from ui.comparable import calibrated_words, scale_of

    stands = {run.scale: run.stand for run in summaries}
    words: dict[str, str] = {}
    runs: dict[str, int] = {}
    for one in results:
        scale = scale_of(one)
        words.setdefault(scale, calibrated_words(one))
        runs[scale] = runs.get(scale, 0) + 1
    return tuple(
        Member(
            scale, stands.get(scale, scale), f"Stand {letters(n)}", told, runs[scale]
        )
        for n, (scale, told) in enumerate(words.items())
    )


def letters(place: int) -> str:
    """A, B, ... Z, AA, AB, ..."""
    more, last = divmod(place, 26)
    head = letters(more - 1) if more else ""
    return head + chr(ord("A") + last)


# ---------------------------------------------------------------- saying


def _cautions(results: Sequence[Results]) -> list[str]:
    from ui.comparable import SIMULATED, scale_of, stand_of

    said = [
        "a stand is held against the others, not against the truth: what all have "
        "wrong alike is not seen"
    ]
    said += [
        f"{one.run.folder.name} did not come to its end: {ended}"
        for one in results
        if (ended := str(one.outcome.get("ended", "interrupted"))) != "completed"
    ]
    nominal = {
        stand_of(one)
        for one in results
        if one.analysis is not None
        and any(name in MEASURED_BY for name in one.analysis.evidence.nominal)
    }
    if nominal:
        said.append(
            f"nominal, not calibrated, in thrust, current or voltage: "
            f"{', '.join(sorted(nominal))}; such a bias says little of the stand once "
            "it is calibrated"
        )
    by_stand: dict[str, set[str]] = {}
    for one in results:
        by_stand.setdefault(stand_of(one), set()).add(scale_of(one))
    said += [
        f"{stand} was calibrated again within the round: it counts as "
        f"{len(scales)} stands, each with a bias of its own"
        for stand, scales in by_stand.items()
        if len(scales) > 1
    ]
    if any(one.run.simulated for one in results):
        said.append(SIMULATED)
    return said


def sentences_on(
    by_quantity: Mapping[str, RoundFound], names: Mapping[str, str]
) -> list[str]:
    """All that a round says, in sentences.

    Args:
        by_quantity: what was found.
        names: what each scale is called.
    """
    from daq.analysis.round_words import agreement, doubts, head, stand_words

    said: list[str] = []
    for found in by_quantity.values():
        said += [head(found), *agreement(found)]
        said += [stand_words(one, names[one.scale]) for one in found.stands]
        said += doubts(found, names)
    return said

"""Runs that are compared: read, sorted by article, held against each other.

The glue between run folders and the analysis, for command line, page and window.
Nothing here computes a figure or prints one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from daq.errors import InputFault
from ui.choosing import Chosen, choices
from ui.comparable import (
    NOT_THE_ARTICLE,
    article_of,
    begun,
    mounting_of,
    scale_of,
)
from ui.comparing_doubts import cautions_on, order_of
from ui.travelling import one_article, refuse_another

if TYPE_CHECKING:
    from daq.analysis.agreed import Agreement
    from daq.analysis.compare import Compared, Mounting
    from daq.analysis.noise import Figure
    from daq.analysis.noise_apart import NoiseDifference
    from daq.analysis.remounting import Reproducibility
    from daq.records.shelf import Article
    from ui.club.agreement import AgreementTold
    from ui.results import Results


@dataclass(frozen=True, slots=True)
class Group:
    """One article and its runs.

    Attributes:
        name: of the article.
        results: of its runs, in the order in which they were made.
        mountings: the same for the analysis.
    """

    name: str
    results: tuple[Results, ...]
    mountings: tuple[Mounting, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that is said of some runs together.

    Attributes:
        groups: the articles; the first is what the others are held against.
        compared: by article, the others against the first.
        learned: what mounting again does, by quantity.
        chosen: the questions to all articles.
        noises: by article, its supply noise against the first's.
        cautions: what must be known.
        order: the articles in the order of the runs, as letters.
    """

    groups: tuple[Group, ...]
    compared: Mapping[str, Compared]
    learned: Mapping[str, Reproducibility]
    chosen: tuple[Chosen, ...]
    noises: Mapping[str, tuple[NoiseDifference, ...]]
    cautions: tuple[str, ...]
    order: str

    @property
    def simulated(self) -> bool:
        """Whether anything of it was only simulated."""
        return any(r.run.simulated for group in self.groups for r in group.results)


def compare_folders(
    folders: Sequence[Path],
    learn_from: Sequence[Path] = (),
    agreement: AgreementTold | None = None,
) -> Comparison:
    """Read runs and compare them.

    Args:
        folders: run folders, in any order; the article of the first one named is what
            the others are held against.
        learn_from: more runs, only to learn what mounting again does.
        agreement: how the stands agree, from a round robin.

    Raises:
        InputFault: there are too few runs, one says nothing that can be compared, two
            articles go by one name, or the agreement is of simulated stands and the
            runs are not.
        RecordFault: one is no run folder, or its log cannot be read.
    """
    from daq.analysis.compare import compare, learn

    _each_once([*folders, *learn_from])
    if len(folders) < 2:
        raise InputFault("a comparison takes two runs or more: name their folders.")
    groups = _grouped(folders)
    teachers = [group.mountings for group in (*groups, *_grouped(learn_from))]
    learned = learn(_by_article(teachers))
    known = _agreement_for(groups, agreement)
    if known is not None:
        learned = _with_the_clubs(learned, known)
    first = groups[0].mountings
    compared = {
        group.name: compare(first, group.mountings, learned, known)
        for group in groups[1:]
    }
    chosen = choices(groups, learned)
    answered = any(one.choice is not None for one in chosen)
    noises = {group.name: _noises(groups[0], group) for group in groups[1:]}
    different = any(found.differences for found in compared.values())
    if compared and not (different or answered or any(noises.values())):
        reasons = next(iter(compared.values())).missing.values()
        raise InputFault(" ".join(dict.fromkeys(reasons)))
    return Comparison(
        groups=groups,
        compared=compared,
        learned=learned,
        chosen=chosen,
        noises=noises,
        cautions=tuple(cautions_on(groups, agreement)),
        order=order_of(groups),
    )


def _agreement_for(
    groups: Sequence[Group], told: AgreementTold | None
) -> Agreement | None:
    """How the stands agree, by what the runs call their scales."""
    from ui.club.agreement_use import agreement_for

    if told is None:
        return None
    everything = [results for group in groups for results in group.results]
    if told.simulated and not all(one.run.simulated for one in everything):
        raise InputFault(
            f'the agreement of the round "{told.round}" is of simulated stands, and '
            "says nothing of real ones; leave it out, or let an article go round."
        )
    return agreement_for(told, [scale_of(one) for one in everything])


def _with_the_clubs(
    learned: Mapping[str, Reproducibility], known: Agreement
) -> dict[str, Reproducibility]:
    """What mounting again does, by these runs and on the club's stands together."""
    from daq.analysis.remounting import Reproducibility, pooled

    found = dict(learned)
    for what, one in known.quantities.items():
        if one.within is not None:
            words = "the club's round robin"
            clubs = Reproducibility(one.within.sd, one.within.dof, words)
            own = learned.get(what)
            found[what] = clubs if own is None else pooled(own, clubs)
    return found


def _noises(first: Group, second: Group) -> tuple[NoiseDifference, ...]:
    """Supply noise of two articles, in every figure that all their runs have."""
    from daq.analysis.noise_apart import READ, hold_apart

    each = [_figures(first), _figures(second)]
    found = []
    for what in READ:
        values = [[run[what] for run in runs if what in run] for runs in each]
        apart = hold_apart(*values)
        if apart is not None:
            found.append(apart)
    return tuple(found)


def _figures(group: Group) -> list[dict[str, Figure]]:
    """What each run is compared by, its sources named as in a comparison."""
    from daq.analysis.compare import belonging
    from daq.analysis.noise import figures

    return [
        {
            what: replace(one, value=belonging(one.value, mounting))
            for what, one in figures(mounting.analysis.evidence.noise).items()
        }
        for mounting in group.mountings
    ]


def _each_once(folders: Sequence[Path]) -> None:
    seen: set[Path] = set()
    for folder in folders:
        resolved = folder.resolve()
        if resolved in seen:
            raise InputFault(f"the run {folder} is named twice; name each run once.")
        seen.add(resolved)


def _grouped(folders: Sequence[Path]) -> tuple[Group, ...]:
    """Runs by article, in the order in which the articles are named."""
    from ui.results import analyse_folder

    found: dict[str, list[Results]] = {}
    for folder in folders:
        results = analyse_folder(folder)
        _refuse_what_says_nothing(results)
        found.setdefault(_name_of(results, found), []).append(results)
    groups = []
    for name, several in found.items():
        in_order = tuple(sorted(several, key=begun))
        mountings = tuple(mounting_of(name, one) for one in in_order)
        groups.append(Group(name, in_order, mountings))
    return tuple(groups)


def _refuse_what_says_nothing(results: Results) -> None:
    analysis = results.analysis
    emptied = analysis is not None and analysis.evidence.emptied is not None
    if analysis is None or not (len(analysis.plateaus) or emptied):
        raise InputFault(
            f"{results.run.folder.name} has no plateau, so there is nothing to compare."
        )
    if analysis.evidence.propeller_off:
        raise InputFault(
            f"{results.run.folder.name} was spun without a propeller: it has no thrust "
            "to compare."
        )


def _name_of(results: Results, found: Mapping[str, Sequence[Results]]) -> str:
    """What the run's article goes by among those that were found so far.

    Raises:
        InputFault: the run does not say what was tested, or two articles go by one
            name.
    """
    article = article_of(results)
    for name, several in found.items():
        if one_article(article, article_of(several[0])):
            refuse_another(
                [(r.run.folder.name, article_of(r)) for r in (several[0], results)]
            )
            return name
    known = found.get(article.name)
    if known is not None and _described(article_of(known[0])) != _described(article):
        raise InputFault(
            f'two different articles are called "{article.name}" (one is in '
            f"{results.run.folder}); give them names that tell them apart."
        )
    return article.name


def _described(article: Article) -> dict[str, Any]:
    return {
        key: value
        for key, value in article.to_dict().items()
        if key not in NOT_THE_ARTICLE
    }


def _by_article(groups: Sequence[Sequence[Mounting]]) -> list[list[Mounting]]:
    """Runs of one article on one stand together, wherever they were named."""
    found: dict[tuple[str, str], list[Mounting]] = {}
    for group in groups:
        for mounting in group:
            found.setdefault((mounting.article, mounting.scale), []).append(mounting)
    return list(found.values())

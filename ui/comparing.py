"""Runs that are compared: read, sorted by article, held against each other.

The glue between run folders and the analysis, for command line, page and window.
Nothing here computes a figure or prints one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from daq.errors import InputFault
from ui.choosing import Chosen, choices
from ui.travelling import differing, one_article, refuse_another

if TYPE_CHECKING:
    from daq.analysis.agreed import Agreement
    from daq.analysis.compare import Compared, Mounting
    from daq.analysis.noise import Figure
    from daq.analysis.noise_apart import NoiseDifference
    from daq.analysis.remounting import Reproducibility
    from daq.records.shelf import Article
    from ui.club.agreement import AgreementTold
    from ui.results import Results

# What of an article may differ without making another article of it.
NOT_THE_ARTICLE: Final = ("note", "air", "format", "travels")
# What a comparison is read from.
MEASURED_BY: Final = ("thrust", "current", "voltage")
# Air this much denser or thinner is worth saying: it moves thrust by nearly as much.
DENSITY_TOLD_REL: Final = 0.01
# Thrusts held within this are one load.
LOAD_TOLD_REL: Final = 0.05
# A full pack rests within this of its full voltage.
BEGUN_TOLD_REL: Final = 0.01


SIMULATED: Final = "simulated: no hardware, no motor, nothing was measured"


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
        cautions=tuple(_cautions(groups, agreement)),
        order=_order(groups),
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
        in_order = tuple(sorted(several, key=_begun))
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
    article = _article_of(results)
    for name, several in found.items():
        if one_article(article, _article_of(several[0])):
            refuse_another(
                [(r.run.folder.name, _article_of(r)) for r in (several[0], results)]
            )
            return name
    known = found.get(article.name)
    if known is not None and _described(_article_of(known[0])) != _described(article):
        raise InputFault(
            f'two different articles are called "{article.name}" (one is in '
            f"{results.run.folder}); give them names that tell them apart."
        )
    return article.name


def _article_of(results: Results) -> Article:
    if results.article is None:
        raise InputFault(
            f"{results.run.folder.name} does not say what was tested, so it cannot be "
            "compared."
        )
    return results.article


def _described(article: Article) -> dict[str, Any]:
    return {
        key: value
        for key, value in article.to_dict().items()
        if key not in NOT_THE_ARTICLE
    }


def _begun(results: Results) -> tuple[str, str]:
    return str(results.run.header.get("utc", "")), results.run.folder.name


def mounting_of(name: str, results: Results) -> Mounting:
    """A run for the analysis.

    Raises:
        InputFault: it has nothing to compare.
    """
    from daq.analysis.compare import Mounting

    if results.analysis is None:
        raise InputFault(f"{results.run.folder.name} has nothing to compare.")
    return Mounting(
        name=results.run.folder.name,
        article=name,
        scale=scale_of(results),
        analysis=results.analysis,
        bench=stand_of(results),
    )


def calibrated_words(results: Results) -> str:
    """The stand, and when its calibrations were made."""
    from ui.calibrations import calibrated

    stand = stand_of(results)
    uses = calibrated(results.run).uses.values()
    days = sorted({use.calibration.made_utc[:10] for use in uses})
    return f"{stand}, calibrated {' and '.join(days)}" if days else f"{stand}, nominal"


def scale_of(results: Results) -> str:
    """What stood for the scale factors: the stand, and its calibrations."""
    from ui.calibrations import calibrated

    stand, name = stand_of(results), calibrated(results.run).name
    return f"{stand}, {name}" if name else stand


def stand_of(results: Results) -> str:
    """The stand, by the number that it gives or by what it prints."""
    run = results.run
    if run.described is not None:
        return f"stand {run.described.name}"
    if run.stand is None:
        return "no stand"
    return f"stand {run.stand.identity.stand_id:08x}"


def _by_article(groups: Sequence[Sequence[Mounting]]) -> list[list[Mounting]]:
    """Runs of one article on one stand together, wherever they were named."""
    found: dict[tuple[str, str], list[Mounting]] = {}
    for group in groups:
        for mounting in group:
            found.setdefault((mounting.article, mounting.scale), []).append(mounting)
    return list(found.values())


# ------------------------------------------------------------------- saying


def _order(groups: Sequence[Group]) -> str:
    """Which article each run was of, in the order of the runs, as letters."""
    runs = [
        (_begun(results), chr(ord("A") + place))
        for place, group in enumerate(groups)
        for results in group.results
    ]
    return " ".join(letter for _, letter in sorted(runs))


def _cautions(groups: Sequence[Group], agreement: AgreementTold | None) -> list[str]:
    said = ["each article is one specimen: nothing here speaks of a model"]
    letters = _order(groups).split()
    turns = 1 + sum(a != b for a, b in pairwise(letters))
    if len(letters) > len(groups) > 1 and turns == len(groups):
        said.append(
            "all runs of one article came before all runs of the next: what drifted "
            "meanwhile looks like a difference; take turns (A, B, B, A)"
        )
    everything = [results for group in groups for results in group.results]
    said += [
        f"{results.run.folder.name} did not come to its end: {_ended(results)}"
        for results in everything
        if _ended(results) != "completed"
    ]
    if len({scale_of(results) for results in everything}) > 1:
        said += _apart(agreement)
    nominal = {
        name
        for results in everything
        if results.analysis is not None
        for name in results.analysis.evidence.nominal
        if name in MEASURED_BY
    }
    if nominal:
        said.append(
            f"nominal, not calibrated: {', '.join(sorted(nominal))}; scale factors "
            "cancel between runs of one stand, as far as its sensors are straight"
        )
    said += _air(groups)
    said += _travelled(groups)
    said += _loads(everything)
    if any(results.run.simulated for results in everything):
        said.append(SIMULATED)
    return said


def _apart(agreement: AgreementTold | None) -> list[str]:
    """What has to be known of runs of different stands."""
    if agreement is None:
        return [
            "they were measured on different stands: no error of scale cancels, and "
            "what differs between the stands is not known"
        ]
    said = [
        "they were measured on different stands: what differs between them is taken "
        f'from the round robin "{agreement.round}" of {len(agreement.stands)} stands; '
        "which article does best is told without it"
    ]
    if agreement.changed:
        said.append("the article of that round robin changed on its way")
    return said


def _travelled(groups: Sequence[Group]) -> list[str]:
    """Where descriptions of an article that travels differ in what matters."""
    said = []
    for group in groups:
        told = [(r.run.folder.name, _article_of(r)) for r in group.results]
        if any(article.travels for _, article in told):
            said += differing(told)
    return said


def _ended(results: Results) -> str:
    return str(results.outcome.get("ended", "interrupted"))


def _loads(everything: Sequence[Results]) -> list[str]:
    """Packs emptied by different loads: the lighter one gets more out of the same."""
    found = [
        results.analysis.evidence.emptied
        for results in everything
        if results.analysis is not None
    ]
    held = [float(one.thrust_n.value[0]) for one in found if one is not None]
    floors = {round(one.goal.floor_v, 3) for one in found if one is not None}
    said = []
    if held and max(held) > (1 + LOAD_TOLD_REL) * min(held):
        apart = max(held) / min(held) - 1
        said.append(
            f"the thrusts that were held differ by {100 * apart:.0f} %: a pack under "
            "less load gives more"
        )
    begun_v = [float(one.rest_v.value[0]) for one in found if one is not None]
    if begun_v and max(begun_v) > (1 + BEGUN_TOLD_REL) * min(begun_v):
        said.append(
            f"the packs began at {min(begun_v):.2f} to {max(begun_v):.2f} V at rest: "
            "what one gave less may not have been in it"
        )
    if len(floors) > 1:
        said.append("the packs were emptied to different voltages")
    return said


def _air(groups: Sequence[Group]) -> list[str]:
    from daq.analysis.one_air import common_density

    airs = [one.air for group in groups for one in group.mountings]
    if common_density(airs) is None:
        return ["the air was not noted for every run: if it changed, so did thrust"]
    densities = [air.density_kg_m3 for air in airs if air is not None]
    apart = max(densities) / min(densities) - 1
    if apart <= DENSITY_TOLD_REL:
        return []
    return [
        f"air density differed by {100 * apart:.1f} % between the runs: all are "
        "restated to its mean, as well as is known what a motor feels of it"
    ]

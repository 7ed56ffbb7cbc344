"""What must be known of a comparison before it is believed, in sentences.

Nothing here reads a run or computes a figure of one.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from ui.comparable import MEASURED_BY, SIMULATED, article_of, begun, scale_of
from ui.travelling import differing

if TYPE_CHECKING:
    from ui.club.agreement import AgreementTold
    from ui.comparing import Group
    from ui.results import Results

# Air this much denser or thinner is worth saying: it moves thrust by nearly as much.
DENSITY_TOLD_REL: Final = 0.01
# Thrusts held within this are one load.
LOAD_TOLD_REL: Final = 0.05
# A full pack rests within this of its full voltage.
BEGUN_TOLD_REL: Final = 0.01


def order_of(groups: Sequence[Group]) -> str:
    """Which article each run was of, in the order of the runs, as letters."""
    runs = [
        (begun(results), chr(ord("A") + place))
        for place, group in enumerate(groups)
        for results in group.results
    ]
    return " ".join(letter for _, letter in sorted(runs))


def cautions_on(groups: Sequence[Group], agreement: AgreementTold | None) -> list[str]:
    """Everything that must be known.

    Args:
        groups: the articles with their runs.
        agreement: how stands agree, where somebody gave it.
    """
    said = ["each article is one specimen: nothing here speaks of a model"]
    letters = order_of(groups).split()
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
        told = [(r.run.folder.name, article_of(r)) for r in group.results]
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

"""Questions to all articles of a comparison: which does best, and who ties.

The glue between runs and the choice, for whoever compares them. Nothing here reads a
run or computes a figure of one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Final, TypeAlias

if TYPE_CHECKING:
    from daq.analysis.choice import Candidate, Choice
    from daq.analysis.emptied import Emptied
    from daq.analysis.findings import Evidence
    from daq.analysis.measured import Measured
    from daq.analysis.remounting import Reproducibility
    from ui.comparing import Group
    from ui.results import Results

# What is assumed alike for every article on the same pack and aircraft.
ASSUMED: Final = (
    "voltage of the cells in flight",
    "charge left",
    "slow part of the pack",
)
# Assumed alike where packs, or electronics, are the same.
OF_THE_PACK: Final = "capacity of the pack"
OF_THE_LOAD: Final = "current of the electronics"
ONCE_MORE: Final = "put together again"
EMPTIED: Final = "charged and emptied again"

Pick: TypeAlias = "Callable[[Evidence], Measured | None]"
"""The figure of one run, one value; None where it has none."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """One question to all articles.

    Attributes:
        question: in words, such as "hovers longest".
        unit: of the values.
        candidates: the articles that have a value, by name.
        choice: the best and the rest; None where fewer than two have a value.
        scale: unit at the surface for a value in SI.
        again: what has to be done again between runs, for a verdict.
        part: of the article that it is about, in which the articles differ; "" for a
            question to the whole.
    """

    question: str
    unit: str
    candidates: tuple[Candidate, ...]
    choice: Choice | None
    scale: float
    again: str
    part: str = ""


@dataclass(frozen=True, slots=True)
class _Question:
    """One question before it is asked.

    Attributes:
        words: as in ``Chosen``.
        unit: likewise.
        scale: likewise.
        pick: the figure of one run, one value; None where it has none.
        again: as in ``Chosen``.
        like: the quantity of a comparison whose scatter and air it follows; "" for a
            figure that learns its scatter from itself and that no air moves.
        lowest: whether less is better.
        part: of the article that it is about: asked only where the articles differ in
            it; "" for the whole article.
    """

    words: str
    unit: str
    scale: float
    pick: Pick
    again: str = "mounted again"
    like: str = ""
    lowest: bool = False
    part: str = ""


def _endurance(evidence: Evidence) -> Measured | None:
    hover = evidence.flight.hover if evidence.flight else None
    return hover.endurance_s if hover else None


def _hover(evidence: Evidence) -> Measured | None:
    hover = evidence.flight.hover if evidence.flight else None
    return hover.specific_n_w if hover else None


def _punch(evidence: Evidence) -> Measured | None:
    full = evidence.flight.full if evidence.flight else None
    return full.to_weight if full else None


def _plug(evidence: Evidence) -> Measured | None:
    return evidence.plug.whole_ohm if evidence.plug else None


def _pack(evidence: Evidence) -> Measured | None:
    return evidence.pack.quick_ohm if evidence.pack else None


def _step(evidence: Evidence) -> Measured | None:
    return evidence.steps.whole.ohm if evidence.steps else None


def _emptied(evidence: Evidence) -> Emptied | None:
    """A pack that was emptied; one that was not says only what it had at least."""
    found = evidence.emptied
    return found if found is not None and found.goal.emptied else None


def _charge(evidence: Evidence) -> Measured | None:
    found = _emptied(evidence)
    return None if found is None else found.charge_c


def _energy(evidence: Evidence) -> Measured | None:
    found = _emptied(evidence)
    return None if found is None else found.energy_j


def _aloft(evidence: Evidence) -> Measured | None:
    found = _emptied(evidence)
    return found.in_air.endurance_s if found is not None and found.in_air else None


def _questions() -> tuple[_Question, ...]:
    from daq.units import coulomb_to_mah, milli, n_to_gf

    return (
        _Question(
            "hovers longest", "min", 1 / 60.0, _endurance, like="specific thrust"
        ),
        _Question(
            "asks least of a watt in hover",
            "g/W",
            n_to_gf(1.0),
            _hover,
            like="specific thrust",
        ),
        _Question("punches hardest", "times its weight", 1.0, _punch, like="thrust"),
        _Question(
            "has the plug that drops least",
            "milliohm",
            milli(1.0),
            _plug,
            again="plugged in again",
            lowest=True,
            part="plug",
        ),
        _Question(
            "has least resistance from pack to bus",
            "milliohm",
            milli(1.0),
            _pack,
            again="plugged in again",
            lowest=True,
            part="pack",
        ),
        _Question(
            "has the pack that loses least in a punch",
            "milliohm",
            milli(1.0),
            _step,
            again="plugged in again",
            lowest=True,
            part="pack",
        ),
        _Question(
            "hovers longest, by a pack that was emptied",
            "min",
            1 / 60.0,
            _aloft,
            again=EMPTIED,
        ),
        _Question(
            "has the pack that gives most charge at this load",
            "mAh",
            coulomb_to_mah(1.0),
            _charge,
            again=EMPTIED,
            part="pack",
        ),
        _Question(
            "has the pack that gives most energy at this load",
            "Wh",
            1 / 3600.0,
            _energy,
            again=EMPTIED,
            part="pack",
        ),
    )


def choices(
    groups: Sequence[Group], learned: Mapping[str, Reproducibility]
) -> tuple[Chosen, ...]:
    """The questions that one article or more has an answer to.

    Args:
        groups: the articles.
        learned: what mounting again does, by quantity.
    """
    from daq.analysis.choice import choose
    from daq.analysis.one_air import common_density

    to_kg_m3 = common_density([one.air for group in groups for one in group.mountings])
    found = []
    # What the articles differ in comes first: it is what they were compared for.
    for question in sorted(_questions(), key=lambda one: not one.part):
        if question.part and not _differ(groups, question.part):
            continue
        each = [_values(group, question, to_kg_m3) for group in groups]
        scatter = learned.get(question.like) or _own_scatter(question, each)
        there = tuple(
            _candidate(group.name, values, None if question.like else scatter)
            for group, values in zip(groups, each, strict=True)
            if values
        )
        if not there:
            continue
        choice = None
        if len(there) > 1:
            choice = choose(there, scatter, lowest=question.lowest)
        found.append(
            Chosen(
                question.words,
                question.unit,
                there,
                choice,
                question.scale,
                question.again,
                question.part,
            )
        )
    return tuple(found)


def _differ(groups: Sequence[Group], part: str) -> bool:
    """Whether the articles have different ones of a part."""
    parts = [getattr(group.results[0].article, part, None) for group in groups]
    return any(one != parts[0] for one in parts[1:])


def _own_scatter(
    question: _Question, each: Sequence[Sequence[Measured]]
) -> Reproducibility | None:
    """Scatter of the figure itself about its article, where it goes by that."""
    import numpy as np

    from daq.analysis.remounting import Reproducibility, scatter_of

    if question.like:
        return None
    logs = [[np.log(value.value) for value in values] for values in each]
    found = scatter_of(logs)
    if found is None:
        return None
    count = sum(len(values) for values in logs if len(values) > 1)
    return Reproducibility(*found, f"{count} runs, each {question.again}")


def _values(
    group: Group, question: _Question, to_kg_m3: float | None
) -> list[Measured]:
    """An article's figures, in the air that all are restated to where it is known."""
    from daq.analysis.compare import belonging
    from daq.analysis.one_air import in_one_air
    from daq.analysis.quantities import QUANTITIES

    values = []
    for mounting, results in zip(group.mountings, group.results, strict=True):
        value = question.pick(mounting.analysis.evidence)
        if value is None:
            continue
        if to_kg_m3 is not None and question.like:
            goes = QUANTITIES[question.like].told_in_air
            value = in_one_air(value, goes, mounting.air, to_kg_m3)
        own = belonging(value, mounting, _assumed(results))
        values.append(own.renamed(partial(_named_part, results=results)))
    return values


def _candidate(
    name: str, values: Sequence[Measured], scatter: Reproducibility | None
) -> Candidate:
    """The mean of an article's figures, with what their own scatter leaves in it."""
    import numpy as np

    from daq.analysis.choice import Candidate
    from daq.analysis.measured import Measured, Source, averaged

    mean = averaged(values)
    if scatter is None:
        return Candidate(name, mean, len(values))
    u = scatter.sd_rel * float(mean.value[0]) / len(values) ** 0.5
    again = Source(np.array([[u]]), np.array([scatter.dof]))
    told = Measured(mean.value, {**mean.sources, ONCE_MORE: again})
    return Candidate(name, mean, len(values), told)


def _assumed(results: Results) -> tuple[str, ...]:
    article = results.article
    if article is None or article.pack is None:
        return ASSUMED
    return (*ASSUMED, OF_THE_PACK, OF_THE_LOAD)


def _named_part(name: str, results: Results) -> str:
    """What belongs to a part is named after it: the same part, the same error."""
    article = results.article
    if article is None:
        return name
    if name == OF_THE_PACK and article.pack is not None:
        return f"{name} {article.pack.name}"
    if name == OF_THE_LOAD and article.aircraft is not None:
        return f"{name} {article.aircraft.electronics_a}"
    return name

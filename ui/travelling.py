"""An article that travels from stand to stand: whether two runs are of the same one.

Each member writes the article down for the stand at home: with the pack or supply that
feeds it there, and the air of the day. What is in the parcel is the same everywhere and
must be called the same; what is beside it may differ, and where that matters it is
said. Nothing here reads a run.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from daq.errors import InputFault

if TYPE_CHECKING:
    from daq.records.shelf import Article

#: What is in the parcel, or decides what blows where: the same everywhere.
IN_THE_PARCEL: Final[Mapping[str, Callable[[Article], str]]] = {
    "motor": lambda article: article.motor.name,
    "propeller": lambda article: article.propeller.name,
    "ESC": lambda article: article.esc.name,
    "mount": lambda article: article.mount.kind,
}
#: Diameters of one propeller, measured by several people, lie this close together.
DIAMETER_REL: Final = 0.02

#: A round's runs, each by its name, with what was tested.
Told = Sequence[tuple[str, "Article"]]


def refuse_another(told: Told) -> None:
    """Hold runs of one round to being of one article.

    Args:
        told: the round's runs by name, each with its article.

    Raises:
        InputFault: a part that travels is called by two names; says where.
    """
    for part, named in IN_THE_PARCEL.items():
        first: dict[str, tuple[str, str]] = {}
        for run, article in told:
            name = named(article)
            first.setdefault(" ".join(name.casefold().split()), (run, name))
        if len(first) > 1:
            (run, name), (other, another) = list(first.values())[:2]
            raise InputFault(
                f'the article that travels in "{told[0][1].travels}" is not the same '
                f'everywhere: its {part} is "{name}" in {run} and "{another}" in '
                f"{other}; give what is in the parcel one name in every article file, "
                "or take travels out of the file that is of something else."
            )


def differing(told: Told) -> list[str]:
    """What differs between the descriptions and matters, in sentences without stops."""
    articles = [article for _, article in told]
    return [*_figures(articles), *_fed(articles), *_capacitors(articles)]


def _figures(articles: Sequence[Article]) -> list[str]:
    said = []
    for words, values in (
        ("a Kv of {} rpm/V", {article.motor.kv_rpm_v for article in articles}),
        ("{} poles", {float(article.motor.poles) for article in articles}),
        ("{} blades", {float(article.propeller.blades) for article in articles}),
    ):
        if len(values) > 1:
            told = " and ".join(f"{value:g}" for value in sorted(values))
            said.append(
                f"the article that travels is written down with {words.format(told)}: "
                "one of them is wrong, or it is not the same article"
            )
    diameters = [a.propeller.diameter_mm for a in articles]
    if max(diameters) > (1 + DIAMETER_REL) * min(diameters):
        said.append(
            f"the propeller that travels was measured as {min(diameters):g} to "
            f"{max(diameters):g} mm: no two people are that far apart on one propeller"
        )
    return said


def _fed(articles: Sequence[Article]) -> list[str]:
    fed = {
        f"{article.pack.cells} cells" if article.pack is not None else "a supply"
        for article in articles
    }
    if len(fed) < 2:
        return []
    return [
        f"the article that travels was fed by {' and by '.join(sorted(fed))}: it is "
        "compared at one thrust and at one applied voltage, but what an ESC does at "
        "another bus voltage is in the stand's bias"
    ]


def _capacitors(articles: Sequence[Article]) -> list[str]:
    names = {a.capacitor.name if a.capacitor is not None else "" for a in articles}
    if len(names) < 2:
        return []
    return [
        "the article that travels did not have the same capacitor everywhere: ripple "
        "of the supply reaches what a current sensor reads"
    ]


def one_article(one: Article, other: Article) -> bool:
    """Whether both are the article of one round."""
    return one.travels is not None and one.travels == other.travels

"""How the club's pages are to be read, in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ui.club.evidence import THRUST_BY
from ui.club.site import words
from ui.report.words import sentence


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the page.

    Attributes:
        id: what links go to.
        title: what it is about.
        texts: its paragraphs.
        lines: words and what they mean.
    """

    id: str
    title: str
    texts: tuple[str, ...]
    lines: tuple[tuple[str, str], ...] = ()


PARTS: Final = (
    Part(
        "figures",
        "Figures",
        (
            "Every figure comes with its 95 % interval: the range that holds the true "
            "value in about 95 of 100 such measurements, by everything that is known "
            "to be uncertain. Two figures whose intervals overlap may well be the "
            "same; two whose intervals do not overlap may still differ only in their "
            "stands.",
            "Specific thrust, in gram-force a watt (g/W), is read off the run's own "
            "curve at the thrust that you ask for, straight between its points. For an"
            " all-up weight each motor bears its share of it at hover. Outside what "
            "was measured there is no figure, and the reason stands in its place: "
            "nothing is extrapolated.",
            "One motor on a stand never draws the current of a whole aircraft. The "
            "pack of the aircraft sags more, so the same throttle gives less thrust in"
            " the air; specific thrust at one thrust hardly moves.",
        ),
    ),
    Part(
        "evidence",
        "Evidence",
        (
            "Runs are not equals. Beside each stands what its thrust was held against,"
            " and you can sort and filter by that. A scale that reads 3 % too much "
            "reads 3 % too much in every run, however narrow its band looks.",
        ),
        (
            (
                sentence(THRUST_BY["masses"]),
                "Masses whose errors are stated, such as a class of the trade. The "
                "best that a bench at home has.",
            ),
            (
                sentence(THRUST_BY["coins"]),
                "Coins of a known make: their mass is published, their wear is not.",
            ),
            (
                sentence(THRUST_BY["own masses"]),
                "Things that were weighed on some other scale, a kitchen scale for "
                "instance, and share its error.",
            ),
            (
                sentence(THRUST_BY["nominal"]),
                "The constants that the stand was built with. Nobody held it against "
                "anything.",
            ),
            (
                sentence(words.RECORD["re-read"]),
                "The record of every byte came along, is whole, and the figures were "
                "derived from it again before they were listed.",
            ),
            (
                sentence(words.RECORD["tables only"]),
                "Only figures came. They were checked for sense, not for truth.",
            ),
            (
                sentence(words.RECORD["damaged"]),
                "The record came, but some of it cannot be read.",
            ),
            (
                sentence(words.RECORD["changed"]),
                "The record is not the one that was sealed at the end of the run.",
            ),
            (
                "Signed",
                "Somebody who holds that key packed the bundle, and it was not changed"
                " since. It says nothing of how well they measure. Unsigned is normal.",
            ),
            (
                "Simulated",
                "A program stood in for the stand. It says nothing of a motor.",
            ),
            ("Invented", "Made up to try something out. Not even simulated."),
        ),
    ),
    Part(
        "ratings",
        "Ratings",
        (
            "What flowed at the highest throttle of the run is held against what each "
            "part is rated for as long as one likes. Where the rating lies inside the "
            "interval one cannot tell. Parts whose rating nobody wrote down are not "
            "judged.",
        ),
    ),
    Part(
        "verdicts",
        "Verdicts",
        (
            "Articles are held against each other by the logarithm of their curves "
            "over the range that all their runs cover. What may make two articles seem"
            " to differ is summed: mounting again, the run's own scatter, the scales, "
            "the stands and the air. Where the runs come from one stand with one "
            "calibration most of the scale cancels; across stands it does not, and how"
            " stands differ must be known from an article that travelled between them.",
            "“Cannot be told apart” is an answer: the difference is smaller than what "
            "is uncertain about it. “No verdict” is another: nobody mounted an article"
            " twice, or nobody knows how these stands differ.",
            "A verdict is about the specimens that were measured. A claim about a "
            "model of motor or propeller needs three specimens of it or more.",
        ),
    ),
    Part(
        "cautions",
        "Cautions",
        (
            "A propeller's size as printed may be several percent off, and thrust goes"
            " with about the fourth power of it at one speed: the diameter here is as "
            "its owner measured it. A chipped or bent blade is another propeller.",
            "A pack's voltage depends on its charge, age and warmth. Compare at "
            "thrust, not at throttle, unless the bus voltage was the same.",
            "Propellers cut and throw blades; lithium packs burn; small motors "
            "overheat in seconds. Nothing here is safety-rated, and no figure here "
            "says that something is safe to do. Follow the makers' instructions, local"
            " rules and the advice of qualified people.",
        ),
    ),
    Part(
        "alone",
        "This site",
        (
            "It is plain files: copy the folder to a stick, a shared drive or any web "
            "host. It asks no other host for anything and keeps nothing about you. The"
            " address of a page holds what you typed and chose, so that it can be "
            "passed on.",
        ),
    ),
)

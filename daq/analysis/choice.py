"""Which of several articles does best at something, and which cannot be told from it.

One value an article, each the mean over its runs, with what they share and what
re-mounting does. Nothing here knows what the values are of.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.analysis.measured import COVERAGE, Measured, Source, combine
from daq.analysis.remounting import Reproducibility


@dataclass(frozen=True, slots=True)
class Candidate:
    """One article's value of something.

    Attributes:
        article: In words.
        value: One value, the mean over its runs, its sources named so that what
            articles share is called the same.
        runs: How many.
        told: The same with what its own scatter leaves in the mean, where no other
            quantity stands for that.
    """

    article: str
    value: Measured
    runs: int
    told: Measured | None = None

    @property
    def shown(self) -> Measured:
        """What a person is told."""
        return self.value if self.told is None else self.told


@dataclass(frozen=True, slots=True)
class Choice:
    """The best, and the rest against it.

    Attributes:
        best: Place of the best among the candidates.
        tied: Places of those that cannot be told from it.
        told: Whether anything can be told at all: there is a reproducibility.
    """

    best: int
    tied: tuple[int, ...]
    told: bool


def choose(
    candidates: Sequence[Candidate],
    reproducibility: Reproducibility | None,
    *,
    lowest: bool = False,
) -> Choice:
    """The candidate of the highest value, and those that cannot be told from it.

    The best was picked by looking, so each of the others is held against it with an
    interval that allows for the number of comparisons (Bonferroni).

    Args:
        candidates: Two or more, their values above zero.
        reproducibility: What re-mounting does; without it nothing can be told.
        lowest: Whether the lowest value is the best.
    """
    values = [float(one.value.value[0]) for one in candidates]
    best = int(np.argmin(values) if lowest else np.argmax(values))
    others = [place for place in range(len(candidates)) if place != best]
    if reproducibility is None:
        return Choice(best, tuple(others), told=False)
    asked = 1.0 - (1.0 - COVERAGE) / max(1, len(others))
    tied = [
        place
        for place in others
        if _lead(candidates[best], candidates[place], reproducibility, asked) <= 0
    ]
    return Choice(best, tuple(tied), told=True)


def _lead(
    best: Candidate, other: Candidate, found: Reproducibility, coverage: float
) -> float:
    """Lower limit of how far best and other are apart, as a logarithm."""
    ones = [np.array([1.0 / float(one.value.value[0])]) for one in (best, other)]
    log = math.log(float(best.value.value[0]) / float(other.value.value[0]))
    apart = combine(np.array([log]), [(ones[0], best.value), (-ones[1], other.value)])
    u = found.sd_rel * math.sqrt(1.0 / best.runs + 1.0 / other.runs)
    mounted = Source(np.array([[u]]), np.array([found.dof]))
    whole = Measured(apart.value, {**apart.sources, "re-mounting": mounted})
    return abs(log) - float(whole.half_width(coverage)[0])

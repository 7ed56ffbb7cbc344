"""Round robins of random numbers: how often intervals hold the truth.

``python -m tests.campaign.rounds --rounds 2000`` draws clubs whose stands' true biases,
and what mounting does, are known, lets an article go round in each, and prints how many
of the 95 % intervals of biases hold the truth, how often a claim that is right is
called wrong, and how often two articles that are the same are told apart across stands
(which should be 5 in 100, or fewer). Nothing is spun; ``tests.campaign.round_robin``
does that.
"""

import argparse
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from daq.analysis.across import hold_across
from daq.analysis.agreed import Agreement
from daq.analysis.measured import effective_dof, t_factor
from daq.analysis.round_robin import RoundFound, round_robin
from daq.analysis.summaries import Summary

WHAT = "thrust"
X = np.array([1.0, 2.0, 3.0])
#: Both articles are mounted so often on each stand that is compared.
RUNS = 2


@dataclass(frozen=True)
class Club:
    """What a club is drawn from.

    Attributes:
        words: What is special about it.
        stands: How many take part.
        between: Standard deviation of stands' biases.
        within: Standard deviation of one mounting.
        counts: Mountings of each stand, repeated as often as is needed.
        wild: Bias of one more stand's; 0 for none.
        claim: What a stand claims, over what biases are drawn with.
    """

    words: str
    stands: int
    between: float = 0.02
    within: float = 0.01
    counts: tuple[int, ...] = (3,)
    wild: float = 0.0
    claim: float = 1.0


CLUBS = tuple(
    Club(f"{words}, {stands} stands", stands, **figures)
    for words, figures in (
        ("as usual", {}),
        ("stands alike", {"between": 0.0}),
        ("mounting is all", {"between": 0.003, "within": 0.02}),
        ("unequal numbers", {"counts": (2, 3, 5)}),
        ("one far off", {"wild": 0.15}),
    )
    for stands in (3, 5, 10)
)


@dataclass
class Count:
    """How often something was so."""

    yes: int = 0
    of: int = 0

    def add(self, so: bool) -> None:
        self.yes += so
        self.of += 1

    @property
    def share(self) -> float:
        return self.yes / self.of if self.of else math.nan


def a_run(
    rng: np.random.Generator, club: Club, article: str, stand: str, bias: float
) -> Summary:
    off = bias + club.within * float(rng.standard_normal())
    ones = np.ones(X.size)
    claim = club.claim * club.between
    return Summary(
        article, stand, stand, X, 1.0 + off + 0.2 * X, 0.0 * ones, claim * ones
    )


def biases_of(rng: np.random.Generator, club: Club) -> dict[str, float]:
    drawn = club.between * rng.standard_normal(club.stands)
    if club.wild:
        drawn[0] = club.wild
    return {f"stand {place}": float(bias) for place, bias in enumerate(drawn)}


def a_round(
    rng: np.random.Generator, club: Club, biases: dict[str, float]
) -> RoundFound:
    runs = [
        a_run(rng, club, "traveller", stand, bias)
        for place, (stand, bias) in enumerate(biases.items())
        for _ in range(club.counts[place % len(club.counts)])
    ]
    return round_robin(WHAT, runs)


#: What two articles are compared on: which stands the first and the second were on.
PAIRS: dict[str, Callable[[list[str]], tuple[str, str]]] = {
    "same stand": lambda stands: (stands[0], stands[0]),
    "two known": lambda stands: (stands[0], stands[1]),
    "known, new": lambda stands: (stands[0], "new 1"),
    "two new": lambda _: ("new 1", "new 2"),
}


def told_apart(
    rng: np.random.Generator,
    club: Club,
    biases: dict[str, float],
    agreement: Agreement,
    pair: tuple[str, str],
) -> tuple[bool, float]:
    """Whether two articles that are the same were told apart; half the interval."""
    new = {f"new {n}": club.between * float(rng.standard_normal()) for n in (1, 2)}
    everywhere = biases | new
    one, other = (
        [a_run(rng, club, name, stand, everywhere[stand]) for _ in range(RUNS)]
        for name, stand in zip(("A", "B"), pair, strict=True)
    )
    # Air is the same and perfectly known here: only stands are looked at.
    found = hold_across(WHAT, one, other, agreement)
    parts = [part for name, part in found.parts.items() if name != "air"]
    u = [part.u for part in parts]
    dof = effective_dof(u, [part.dof for part in parts])
    alone = [float(t_factor(part.dof)) * part.u for part in parts]
    half = max(float(t_factor(dof)) * math.hypot(*u), *alone)
    return abs(found.log) > half, half


def rows(club: Club, rounds: int, seed: int) -> Iterator[tuple[str, Count, float]]:
    """Name, count and median half width in percent, of each thing that is looked at."""
    rng = np.random.default_rng(seed)
    held, wrongly, stopped = Count(), Count(), Count()
    apart = {name: Count() for name in PAIRS}
    halves: dict[str, list[float]] = {name: [] for name in (*PAIRS, "bias")}
    for _ in range(rounds):
        biases = biases_of(rng, club)
        found = a_round(rng, club, biases)
        for one in found.stands:
            if not (club.wild and one.stand == "stand 0"):
                held.add(abs(one.log - biases[one.stand]) <= one.half)
                halves["bias"].append(one.half)
                wrongly.add(one.claim == "does not hold")
        stopped.add(any(s.level == "outlier" for s in found.suspects))
        agreement = Agreement({WHAT: found.agreed})
        # With one far off it is the others that are compared.
        stands = list(biases)[1:] if club.wild else list(biases)
        for name, pick in PAIRS.items():
            so, half = told_apart(rng, club, biases, agreement, pick(stands))
            apart[name].add(so)
            halves[name].append(half)
    yield "bias held", held, _median(halves["bias"])
    yield "claim called wrong", wrongly, math.nan
    yield "an outlier is told", stopped, math.nan
    for name, count in apart.items():
        yield f"told apart, {name}", count, _median(halves[name])


def _median(values: list[float]) -> float:
    return 100 * float(np.median(values))


def main() -> None:
    """Draw and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    for place, club in enumerate(CLUBS):
        print(club.words)
        for name, count, half in rows(club, args.rounds, args.seed + place):
            width = f"{half:8.2f} %" if math.isfinite(half) else ""
            print(f"  {name:<24}{100 * count.share:7.1f} % of {count.of:<7}{width}")


if __name__ == "__main__":
    main()

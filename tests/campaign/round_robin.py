"""Round robins of simulated stands: are their biases recovered?

``python -m tests.campaign.round_robin --rounds 8 --stands 5`` draws articles, and for
each a club of stands: another load cell, current and voltage sensor, lever, pack, room
and owner each, with the masses and meters that the owner has. Each stand is calibrated
as a person would, the article is mounted three times on each and at last once more on
the first, and the analysis of the round is held against what each stand truly reads:
what it reports, the mean of many more mountings, over what the plant of the first stand
gives in this stand's air; for biases less the mean of these and of more stands. (So
what another pack does to a controller is the stand's, as it is for whoever compares.) A
second article, a little better or the same, is mounted twice on one of the stands, and
the first one on another, and both are compared.
"""

import argparse
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np

from daq.analysis.across import hold_across
from daq.analysis.agreed import Agreement
from daq.analysis.compare import Mounting, compare, learn
from daq.analysis.measured import t_factor
from daq.analysis.quantities import QUANTITIES
from daq.analysis.round_robin import RoundFound, round_robin
from daq.analysis.series import Array
from daq.analysis.summaries import over_range, summary_of
from daq.analysis.unseen import TRAVELS
from daq.calibration.value import Calibration
from daq.errors import InputFault
from daq.link.session import Stand
from daq.stand.plant.drawn import drawn
from daq.stand.plant.truth import Truth
from daq.typed_toml import check_typed
from tests.campaign import day, worlds
from tests.campaign.coverage import _better
from tests.campaign.flown_truth import OwnCurves, own_curves
from tests.campaign.owner import Owner, owner_of
from tests.campaign.worlds import World
from ui.comparing import _with_the_clubs

MOUNTINGS: Final = 3
#: More mountings, whose mean is what a stand truly reads.
TRUE_RUNS: Final = 8
#: More stands of the same kind, whose mean with the round's is what is held against.
MORE_STANDS: Final = 5
MORE_RUNS: Final = 3
#: By how much more the second article pulls, at equal torque.
BETTER: Final = (0.0, 0.04, -0.04, 0.0, 0.08)
TRAVELLER, OTHER = "traveller", "other"


def a_world(article: int, stand: int) -> World:
    """The article of one number on the stand of another."""
    parcel = worlds._Lot(article)
    size_mm = worlds.SIZES_MM[int(parcel.between(0, len(worlds.SIZES_MM)))]
    tables, sized = worlds._article(parcel, size_mm)
    # The controller travels; what feeds it is at home.
    wired = worlds._supply(parcel, sized)
    tables |= {name: wired[name] for name in ("esc", "chopping")}
    tables |= worlds._within(article, tables["esc"])
    home = worlds._Lot(stand)
    fed = worlds._supply(home, sized)
    tables |= {name: fed[name] for name in ("pack", "leads")}
    tables |= worlds._sensors(home, sized) | worlds._surroundings(home)
    rated_n = next(n for n in worlds.CELLS_N if n > 3.0 * sized.thrust_n)
    tables |= worlds._cell(home, rated_n) | worlds._shaking(home, sized)
    arm = worlds._arm(home)
    tables["arm"] = {**arm}
    tables |= worlds._plug(stand)
    ruler_m = 0.0003 + 0.0007 * home.poorness
    named = f"{size_mm[0]:02}{size_mm[1]:02}"
    title = f"simulated: article {article} on stand {stand}"
    data: dict[str, object] = {"title": title}
    return World(
        seed=stand,
        motor_size=named,
        poorness=home.poorness,
        truth=check_typed(data | tables, Truth, title),
        thrust_arm_m=arm["thrust_arm_m"] + home.error(ruler_m),
        mass_arm_m=arm["mass_arm_m"] + home.error(ruler_m),
        diameter_m=float(str(tables["propeller"]["diameter_m"]))
        + home.error(0.5 * ruler_m),
    )


@dataclass(frozen=True)
class Member:
    """One stand of the club, calibrated."""

    number: int
    owner: Owner
    stand: Stand
    made: tuple[Calibration, ...]
    true_runs: int = TRUE_RUNS

    @property
    def name(self) -> str:
        return f"stand {self.number}"

    @property
    def truth(self) -> Truth:
        return self.owner.world.truth

    def spun(
        self,
        article: str,
        mounting: int,
        number: int,
        better: float = 0.0,
        protocol: str = "round-robin",
    ) -> Mounting:
        """One run of an article."""
        truth = drawn(_better(self.truth, better), None, mounting, self.number)
        plan = day.plan_named(protocol)
        header = day.header_of(self.owner, self.made, plan)
        run = day.spun(truth, 1000 * self.number + number, plan, header, self.stand)
        name = f"{self.name}, run {number}"
        return Mounting(name, article, self.name, run.analysis, self.name)

    def own(self, air: Truth) -> OwnCurves:
        """What the article truly does here, in the air of some truth."""
        here = self.truth.model_copy(update={"air": air.air})
        return own_curves(drawn(here, None, None, self.number))

    @cached_property
    def many(self) -> tuple[Mounting, ...]:
        """Mountings beside those of the round."""
        numbers = range(100, 100 + self.true_runs)
        return tuple(self.spun(TRAVELLER, n, n) for n in numbers)

    def reads(self, what: str, x: Array, own: OwnCurves) -> float:
        """The logarithm of what it reads over what is, its mean over a range."""
        runs = [summary_of(what, one) for one in self.many]
        there = [run for run in runs if run is not None]
        # In its own air: what is true is true there too.
        here = [replace(run, density_kg_m3=None) for run in there]
        read = over_range(what, here, x).log.mean()
        true = own.thrust_at(x)
        if QUANTITIES[what].sign < 0:
            true = own.specific_at(x)
        return float(read - np.log(true).mean())


def member(article: int, number: int) -> Member:
    """A stand's owner calibrates it.

    Raises:
        InputFault: a calibration is refused.
    """
    owner = owner_of(a_world(article, number)).grounded()
    told = {**owner.article, "travels": "a round", "name": TRAVELLER}
    owner = replace(owner, article=told)
    stand = day.introduced(owner.world.truth)
    return Member(number, owner, stand, day.calibrations(owner, stand))


@dataclass(frozen=True)
class Row:
    """One stand in one quantity.

    Attributes:
        what: the quantity.
        stand: the stand.
        true: logarithm of what it truly reads over what is, less that mean.
        told: its bias as the round tells it.
        half: half of its interval.
        own_u: what its own runs leave of that.
        own_half: half of an interval by that alone.
        claim: what the round says of its claim.
        claim_u: what it claims.
    """

    what: str
    stand: str
    true: float
    told: float
    half: float
    own_u: float
    own_half: float
    claim: str
    claim_u: float


@dataclass(frozen=True)
class Pair:
    """Two articles on two stands, compared.

    Attributes:
        how: by what.
        what: the quantity.
        true: logarithm of the true ratio.
        log: as it was told.
        half: of its interval.
    """

    how: str
    what: str
    true: float
    log: float
    half: float


def a_club(seed: int, stands: int) -> list[Member]:
    """So many stands that could be calibrated."""
    found: list[Member] = []
    number = 100 * seed
    while len(found) < stands:
        number += 1
        try:
            found.append(member(seed, number))
        except InputFault:
            continue
    return found


def a_round(club: Sequence[Member]) -> dict[str, RoundFound]:
    """The article goes round, and comes home."""
    runs = [one.spun(TRAVELLER, n, n) for one in club for n in range(1, 1 + MOUNTINGS)]
    home = club[0]
    runs += [home.spun(TRAVELLER, 10 + n, 10 + n) for n in range(MOUNTINGS)]
    found = {}
    for what in QUANTITIES:
        told = [summary_of(what, run, alike=TRAVELS) for run in runs]
        found[what] = round_robin(what, [run for run in told if run is not None])
    return found


def rows(club: Sequence[Member], found: dict[str, RoundFound]) -> Iterator[Row]:
    """Each stand's bias beside what is so."""
    own = {one.name: club[0].own(one.truth) for one in club}
    for what, one in found.items():
        reads = {m.name: m.reads(what, one.x, own[m.name]) for m in club}
        mean = sum(reads.values()) / len(reads)
        for stand in one.stands:
            yield Row(
                what,
                stand.stand,
                reads[stand.stand] - mean,
                stand.log,
                stand.half,
                stand.own_u,
                float(t_factor(stand.own_dof)) * stand.own_u,
                stand.claim,
                stand.claim_u,
            )


def pairs(
    club: Sequence[Member], found: dict[str, RoundFound], better: float
) -> Iterator[Pair]:
    """The second article on the second stand against the first on the first."""
    first, second = club[0], club[1]
    walk = "staircase"
    one = [first.spun(TRAVELLER, n, n, protocol=walk) for n in (20, 21)]
    other = [second.spun(OTHER, n, n, better, walk) for n in (30, 31)]
    own = own_curves(drawn(_better(first.truth, better), None, None, first.number))
    base = first.own(first.truth)
    agreement = Agreement({what: one.agreed for what, one in found.items()})
    strangers = Agreement(
        {
            what: replace(agreed, biases={})
            for what, agreed in agreement.quantities.items()
        }
    )
    learned = learn([one, other])
    for how, known in (("known biases", agreement), ("no bias known", strangers)):
        whole = compare(one, other, _with_the_clubs(learned, known), known)
        for told in whole.differences:
            true = _true(told.what, own, base, told.x)
            half = (math.log1p(told.mean[2]) - math.log1p(told.mean[1])) / 2
            log = math.log1p(told.mean[0])
            yield Pair(f"compare, {how}", told.what, true, log, half)
        for what in QUANTITIES:
            short = [
                [run for run in (summary_of(what, m) for m in side) if run is not None]
                for side in (one, other)
            ]
            across = hold_across(what, short[0], short[1], known)
            x = np.linspace(across.x_from, across.x_to, 9)
            true = _true(what, own, base, x)
            yield Pair(f"across, {how}", what, true, across.log, across.half)


def _true(what: str, better: OwnCurves, base: OwnCurves, x: Array) -> float:
    if QUANTITIES[what].sign < 0:
        return float(np.log(better.specific_at(x) / base.specific_at(x)).mean())
    return float(np.log(better.thrust_at(x) / base.thrust_at(x)).mean())


# ------------------------------------------------------------------ the tables


def one_round(
    seed: int, stands: int, more_stands: int = MORE_STANDS, true_runs: int = TRUE_RUNS
) -> tuple[list[Row], list[Pair]]:
    """A club, its round and a comparison in it."""
    club = a_club(seed, stands + more_stands)
    there = [replace(one, true_runs=true_runs) for one in club[:stands]]
    more = [replace(one, true_runs=MORE_RUNS) for one in club[stands:]]
    found = a_round(there)
    better = BETTER[seed % len(BETTER)]
    return list(rows([*there, *more], found)), list(pairs(there, found, better))


def stand_table(told: Sequence[Row]) -> str:
    """A row a stand: what is so, and what was told."""
    lines = [
        f"{'quantity':<17}{'stand':<12}{'true':>8}{'told':>8}{'interval':>18}"
        f"{'claims':>9}  claim"
    ]
    for what in dict.fromkeys(row.what for row in told):
        for row in (row for row in told if row.what == what):
            low, high = (100 * (row.told + sign * row.half) for sign in (-1, 1))
            lines.append(
                f"{row.what:<17}{row.stand:<12}{100 * row.true:>+7.2f} "
                f"{100 * row.told:>+7.2f} {low:>+8.2f} to {high:>+6.2f} "
                f"{196 * row.claim_u:>8.1f}  {row.claim}"
            )
    return "\n".join(lines)


def counted(rounds: Sequence[Sequence[Row]]) -> str:
    """How many intervals hold, over all rounds."""
    lines = [f"{'interval':<44}{'hold':>10}{'median half':>14}"]
    for what in QUANTITIES:
        every = [row for told in rounds for row in told if row.what == what]
        held = [abs(row.told - row.true) <= row.half for row in every]
        half = float(np.median([row.half for row in every]))
        lines.append(_line(f"{what}, bias of a stand", held, half))
        apart = [
            (one, other)
            for told in rounds
            for mine in [[row for row in told if row.what == what]]
            for place, one in enumerate(mine)
            for other in mine[place + 1 :]
        ]
        held, halves = [], []
        for one, other in apart:
            half = math.hypot(one.own_half, other.own_half)
            off = (one.told - other.told) - (one.true - other.true)
            held.append(abs(off) <= half)
            halves.append(half)
        name = f"{what}, two stands against each other"
        lines.append(_line(name, held, float(np.median(halves))))
    return "\n".join(lines)


def verdicts(told: Sequence[Pair]) -> str:
    """How many intervals of a difference hold, by what was known."""
    lines = [f"{'difference of two articles':<44}{'hold':>10}{'median half':>14}"]
    for how in dict.fromkeys(one.how for one in told):
        for what in QUANTITIES:
            mine = [one for one in told if (one.how, one.what) == (how, what)]
            held = [abs(one.log - one.true) <= one.half for one in mine]
            half = float(np.median([one.half for one in mine]))
            lines.append(_line(f"{how}, {what}", held, half))
    return "\n".join(lines)


def _line(name: str, held: Sequence[bool], half: float) -> str:
    return f"{name:<44}{sum(held):>5}/{len(held):<4}{100 * half:>12.2f} %"


def main() -> None:
    """Draw, spin, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=8)
    parser.add_argument("--stands", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    every: list[list[Row]] = []
    compared: list[Pair] = []
    for seed in range(args.seed, args.seed + args.rounds):
        told, pair = one_round(seed, args.stands)
        every.append(told)
        compared += pair
        if seed == args.seed:
            print(f"Round {seed}, in percent:")
            print(stand_table(told))
    print()
    print(counted(every))
    print()
    print(verdicts(compared))


if __name__ == "__main__":
    main()

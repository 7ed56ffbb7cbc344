"""``python -m tests.campaign.coverage``: do 95 % intervals hold the truth in 95 of 100?

Random worlds, each calibrated, spun and analysed as a person would, with one value of
each quantity held against the plant's truth. One world in ``WIRED`` goes through
control, wire and record, one in ``COMPARED`` has two specimens mounted again and again.
One in ``TO_THE_TOP`` is spun to full throttle. With ``--breakage`` single effects are
made larger until coverage breaks.
Exit status 0 when no row is short and no verdict rate is broken, else 1.
"""

import argparse
import math
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from daq.analysis.compare import Difference, Mounting, compare
from daq.analysis.quantities import QUANTITIES as COMPARABLE
from daq.errors import InputFault
from daq.machine_clock import MachineClock
from daq.stand.plant.drawn import drawn
from daq.stand.plant.truth import Truth
from tests.campaign import asked, counted, day
from tests.campaign.asked import Answer, answers
from tests.campaign.breakage import broken
from tests.campaign.counted import Told
from tests.campaign.flown_truth import OwnCurves, own_curves
from tests.campaign.owner import Owner, owner_of
from tests.campaign.pooled import pooled
from tests.campaign.worlds import World, draw_world

WIRED: Final = 20
COMPARED: Final = 8
#: One world in so many is spun to full throttle, where the motor can be told apart.
TO_THE_TOP: Final = 4
#: By how much more the second article of a comparison may pull, at equal torque.
BETTER: Final = (0.0, 0.0, 0.04, -0.04, 0.08, -0.08, 0.15)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One world.

    Attributes:
        seed: it was drawn by.
        answers: what was claimed and what is so.
        told: verdicts by kind of pair.
        refused: why its owner got no calibration or figures; "" where all went well.
    """

    seed: int
    answers: tuple[Answer, ...]
    told: tuple[tuple[str, Told], ...] = ()
    refused: str = ""


def live_through(seed: int) -> Outcome:
    """One world from its number to its answers."""
    try:
        return outcome_of(draw_world(seed), wired=seed % WIRED == 0)
    except InputFault as fault:
        return Outcome(seed, (), refused=str(fault))


def outcome_of(world: World, *, wired: bool) -> Outcome:
    """One world, calibrated, spun and analysed.

    Raises:
        InputFault: its owner was refused something.
    """
    owner = owner_of(world)
    seed, truth = world.seed, owner.world.truth
    stand = day.introduced(truth)
    top = seed % TO_THE_TOP == TO_THE_TOP - 1
    plan = day.plan_to_the_top() if top else day.plan_named("staircase")
    header = day.header_of(owner, day.calibrations(owner, stand), plan)
    mounted = drawn(truth, None, 0, seed)
    if wired:
        spun = day.spun_by_wire(owner, mounted, 2 * seed + 1, plan, header)
    else:
        spun = day.spun(mounted, 2 * seed + 1, plan, header, stand)
    found = answers(owner, truth, spun)
    told: list[tuple[str, Told]] = []
    if seed % COMPARED == 1:
        for kind, answer, verdict in _compared(owner, header):
            found.append(answer)
            told.append((kind, verdict))
    return Outcome(seed, tuple(found), tuple(told))


# ------------------------------------------------------------------ comparisons


def _compared(
    owner: Owner, header: dict[str, object]
) -> Iterator[tuple[str, Answer, Told]]:
    """One article against another, and against itself, each mounted again."""
    seed, base = owner.world.seed, owner.world.truth
    header = header | {"article": owner.grounded().article}
    mountings = 2 + (seed // COMPARED) % 2
    better = BETTER[(seed // (2 * COMPARED)) % len(BETTER)]
    first, second = _better(base, 0.0), _better(base, better)
    sides = [
        [_mounting(owner, header, truth, specimen, number) for number in range(a, b)]
        for truth, specimen, a, b in (
            (first, 0, 1, 1 + mountings),
            (second, 1, 11, 11 + mountings),
            (first, 0, 21, 21 + mountings),
        )
    ]
    own = [
        own_curves(drawn(truth, specimen, None, seed))
        for truth, specimen in ((first, 0), (second, 1), (first, 0))
    ]
    for kind, other in (("two articles", 1), ("one article with itself", 2)):
        for found in compare(sides[0], sides[other]).differences:
            name = f"difference of {kind}, {found.what}"
            true = _true_difference(found, own[0], own[other])
            yield name, _claim(name, found, true), _told(found, true)


def _better(truth: Truth, better_rel: float) -> Truth:
    blades = truth.propeller
    ct = tuple((1.0 + better_rel) * value for value in blades.ct)
    return truth.model_copy(update={"propeller": blades.model_copy(update={"ct": ct})})


def _mounting(
    owner: Owner, header: dict[str, object], truth: Truth, specimen: int, number: int
) -> Mounting:
    seed = owner.world.seed
    mounted = drawn(truth, specimen, number, seed)
    plan = day.plan_named("staircase")
    stand = day.introduced(truth)
    spun = day.spun(mounted, 1000 * (seed + 1) + number, plan, header, stand)
    return Mounting(f"run {number}", f"article {specimen}", "one stand", spun.analysis)


def _true_difference(
    found: Difference, one: OwnCurves, other: OwnCurves
) -> list[float]:
    """Logarithms of the true ratio where it was compared."""
    if COMPARABLE[found.what].sign < 0:
        ratio = other.specific_at(found.x) / one.specific_at(found.x)
    else:
        ratio = other.thrust_at(found.x) / one.thrust_at(found.x)
    return [float(value) for value in np.log(ratio)]


def _claim(name: str, found: Difference, true: Sequence[float]) -> Answer:
    value, low, high = (math.log1p(share) for share in found.mean)
    return Answer(name, value, low, high, sum(true) / len(true))


def _told(found: Difference, true: Sequence[float]) -> Told:
    low, high = np.log1p(found.low), np.log1p(found.high)
    told = found.verdict in ("more", "less")
    outside = (low > 0.0) & (np.array(true) <= 0.0)
    outside |= (high < 0.0) & (np.array(true) >= 0.0)
    half = (np.log1p(found.mean[2]) - np.log1p(found.mean[1])) / 2.0
    return Told(
        found.verdict,
        sum(true) / len(true),
        float(half),
        bool(told and outside.any()),
    )


# ------------------------------------------------------------------ the command


def _from_row(row: dict[str, Any]) -> Outcome:
    told = tuple((kind, Told(**verdict)) for kind, verdict in row["told"])
    every = tuple(Answer(**answer) for answer in row["answers"])
    return Outcome(row["seed"], every, told, row["refused"])


def report(outcomes: Sequence[Outcome]) -> tuple[str, bool]:
    """The tables, and whether all is as it is claimed."""
    every = [answer for outcome in outcomes for answer in outcome.answers]
    rows = counted.rows_of(every, asked.QUANTITIES)
    by_kind: dict[str, list[Told]] = {}
    for outcome in outcomes:
        for kind, told in outcome.told:
            by_kind.setdefault(kind, []).append(told)
    lines = [counted.table(rows)]
    if by_kind:
        lines += ["", counted.VERDICT_HEAD]
        lines += [counted.verdict_line(kind, told) for kind, told in by_kind.items()]
    refused = [outcome for outcome in outcomes if outcome.refused]
    lines += ["", f"{len(refused)} of {len(outcomes)} owners were refused something"]
    lines += [f"  world {one.seed}: {one.refused}" for one in refused[:20]]
    sound = all(counted.verdicts_hold(told) for told in by_kind.values())
    return "\n".join(lines), sound and not any(row.short for row in rows)


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign.coverage")
    parser.add_argument("--worlds", type=int, help="1000, of each size 40")
    parser.add_argument("--seed", type=int, default=0, help="of the first world")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--one", type=int, help="only this world, in full")
    parser.add_argument("--kept", type=Path, help="outcomes, a line each; goes on")
    parser.add_argument(
        "--breakage", action="store_true", help="single effects made larger instead"
    )
    options = parser.parse_args()
    worlds = options.worlds or (40 if options.breakage else 1000)
    if options.one is not None:
        outcome = live_through(options.one)
        print("\n".join(asked.told(answer) for answer in outcome.answers))
        print(outcome.refused)
        return 0
    if options.breakage:
        print(broken(worlds, options.processes, options.seed))
        return 0
    clock = MachineClock()
    begun_s = clock.now_s()
    seeds = range(options.seed, options.seed + worlds)
    words, sound = report(
        pooled(live_through, seeds, options.processes, options.kept, _from_row)
    )
    print(words)
    print(f"\n{worlds} worlds in {clock.now_s() - begun_s:.0f} s")
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main())

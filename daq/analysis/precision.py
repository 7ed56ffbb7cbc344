"""How well several stands agree on one thing, from several results of each.

After ISO 5725-2:2019 (repeatability and reproducibility of a measurement method, one
level, numbers of results that may differ; sections 7.3 and 7.4, from memory): a result
is the general mean, what its stand adds and what that one result adds. Its checks for
consistency are here too: Mandel's h and k, Cochran's test of the largest variance and
Grubbs' tests of the means. As there, what lies between 5 % and 1 % is a straggler, and
what lies beyond 1 % an outlier; unlike there nothing is ever left out here: whoever
reads it is told, and decides. The robust mean is Algorithm A of ISO 13528:2022
(section C.3, from memory), which is Huber's proposal 2. Numbers in, numbers out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

import numpy as np

from daq.analysis.measured import COVERAGE, t_factor
from daq.analysis.series import Array
from daq.errors import InputFault

#: From 5 % to 1 % a straggler, beyond 1 % an outlier (ISO 5725-2, 7.3.3).
STRAGGLER: Final = 0.05
OUTLIER: Final = 0.01
#: Algorithm A draws results in to this many robust standard deviations ...
DRAWN_IN: Final = 1.5
#: ... and makes up for that in the standard deviation, of normal results.
MADE_UP: Final = 1.134
#: The median absolute deviation of normal results, inverted (ISO 13528, C.2).
MAD: Final = 1.483
#: What the robust mean is uncertain by, over that of a plain mean (ISO 13528, 7.7.3).
ROBUST_U: Final = 1.25
#: Rounds of simulation behind Grubbs' test of two results, and its seed.
DRAWS: Final = 100_000
SEED: Final = 20_261_126

Level = Literal["straggler", "outlier"]


@dataclass(frozen=True, slots=True)
class Deviation:
    """A standard deviation with its 95 % interval.

    Attributes:
        sd: The standard deviation.
        dof: Degrees of freedom; of a difference of variances those that its interval
            would have.
        low: Lower limit, zero or more.
        high: Upper limit.
    """

    sd: float
    dof: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Precision:
    """What the results of some stands say of the method.

    Attributes:
        count: Results of each stand, shape (p,).
        means: Mean of each stand, shape (p,).
        mean: Mean of these, each with an equal share.
        within: Repeatability, s_r; None where no stand has two results.
        between: What stands differ by beside that, s_L; None without repeatability.
        overall: Reproducibility, s_R: one result of one stand; None likewise.
        of_means: The means of the stands about their mean.
    """

    count: Array
    means: Array
    mean: float
    within: Deviation | None
    between: Deviation | None
    overall: Deviation | None
    of_means: Deviation


def precision(results: Sequence[Array], also: Sequence[Array] = ()) -> Precision:
    """Repeatability, spread between stands and reproducibility.

    s_r is pooled over the stands; s_L^2 is what the mean square between stands has
    beyond it, over n, zero where that is negative; s_R^2 is their sum. Where stands
    have different numbers of results n is their harmonic mean and the mean square is
    n times the variance of the stands' means, so that each stand counts the same
    (J. D. Thomas, R. A. Hultquist, Annals of Statistics 6 (1978) 582-587, from memory;
    the standard weights with the numbers, and with equal ones both are the same).
    Intervals: chi-squared for s_r; J. S. Williams's for s_L (Biometrika 49 (1962)
    278-281, from memory; never short of what it says); Satterthwaite's degrees of
    freedom for s_R.

    Args:
        results: Of each stand, one or more; two stands or more.
        also: More results of some stands, each group made at one time, that count for
            repeatability alone.

    Raises:
        InputFault: There are fewer than two stands.
    """
    if len(results) < 2:
        raise InputFault("how stands agree takes results of two stands or more.")
    count = np.array([float(one.size) for one in results])
    means = np.array([float(one.mean()) for one in results])
    of_means = float(means.var(ddof=1))
    freedom = len(results) - 1
    groups = (*results, *also)
    inside = float(sum(one.size - 1 for one in groups))
    within = between = overall = None
    if inside > 0:
        squares = sum(float(((one - one.mean()) ** 2).sum()) for one in groups)
        variance = squares / inside
        within = _deviation(variance, inside)
        harmonic = float(count.size / (1.0 / count).sum())
        between = _between(of_means, variance, harmonic, (freedom, inside))
        overall = _overall(of_means, variance, harmonic, (freedom, inside))
    return Precision(
        count=count,
        means=means,
        mean=float(means.mean()),
        within=within,
        between=between,
        overall=overall,
        of_means=_deviation(of_means, float(freedom)),
    )


def _deviation(variance: float, dof: float) -> Deviation:
    """A standard deviation with the limits that chi-squared gives it."""
    low, high = _chi_squared(dof)
    return Deviation(
        math.sqrt(variance),
        dof,
        math.sqrt(variance * dof / high),
        math.sqrt(variance * dof / low),
    )


def _chi_squared(dof: float) -> tuple[float, float]:
    """Quantiles of chi-squared that hold 95 % between them."""
    from scipy.special import chdtri

    tail = (1.0 - COVERAGE) / 2.0
    return float(chdtri(dof, 1.0 - tail)), float(chdtri(dof, tail))


def _between(
    of_means: float, variance: float, n: float, dof: tuple[float, float]
) -> Deviation:
    from scipy.special import fdtri

    freedom, inside = dof
    low, high = _chi_squared(freedom)
    tail = (1.0 - COVERAGE) / 2.0
    least, most = (float(fdtri(freedom, inside, p)) for p in (tail, 1.0 - tail))
    square = n * of_means
    limits = [
        math.sqrt(max(0.0, freedom * (square - variance * f) / (n * chi)))
        for f, chi in ((most, high), (least, low))
    ]
    found = max(0.0, of_means - variance / n)
    spread = of_means**2 / freedom + (variance / n) ** 2 / inside
    freedom_of = max(1.0, found**2 / spread) if spread > 0 else float(freedom)
    return Deviation(math.sqrt(found), freedom_of, *limits)


def _overall(
    of_means: float, variance: float, n: float, dof: tuple[float, float]
) -> Deviation:
    freedom, inside = dof
    rest = (1.0 - 1.0 / n) * variance
    if of_means - variance / n <= 0:
        # Nothing between stands is seen: all there is is repeatability.
        return _deviation(variance, inside)
    total = of_means + rest
    return _deviation(total, total**2 / (of_means**2 / freedom + rest**2 / inside))


# ---------------------------------------------------------------- robust mean


@dataclass(frozen=True, slots=True)
class Robust:
    """A robust mean.

    Attributes:
        mean: x*.
        sd: s*.
        u: Standard uncertainty of ``mean``, 1.25 s* over the root of the number.
        share: How far each result moves it, shape (p,): none where it was drawn in.
    """

    mean: float
    sd: float
    u: float
    share: Array


def algorithm_a(values: Array) -> Robust:
    """Robust mean and standard deviation of some results, one of each stand.

    Iterated until nothing changes, where the standard stops at the third digit. Where
    more than half are alike, and the median deviation is nothing, it starts from the
    plain standard deviation (the standard leaves that open).
    """
    mean = float(np.median(values))
    sd = MAD * float(np.median(np.abs(values - mean)))
    if sd == 0:
        sd = float(values.std(ddof=1))
    for _ in range(1000):
        reach = DRAWN_IN * sd
        drawn = np.clip(values, mean - reach, mean + reach)
        before = (mean, sd)
        mean, sd = float(drawn.mean()), MADE_UP * float(drawn.std(ddof=1))
        if math.isclose(mean, before[0], rel_tol=1e-13) and math.isclose(
            sd, before[1], rel_tol=1e-13
        ):
            break
    inside = np.abs(values - mean) <= DRAWN_IN * sd * (1 + 1e-9)
    if not inside.any():
        inside = np.ones(values.size, dtype=np.bool_)
    share = inside / float(np.count_nonzero(inside))
    return Robust(mean, sd, ROBUST_U * sd / math.sqrt(values.size), share)


# ---------------------------------------------------------------- consistency


@dataclass(frozen=True, slots=True)
class Suspect:
    """What a test of consistency says of one stand.

    Attributes:
        test: Cochran's (its scatter) or Grubbs' (its mean).
        places: Which stands, among those that were given.
        statistic: Of the test.
        p: Chance of one as large, were all alike.
        level: Straggler or outlier.
    """

    test: Literal["Cochran", "Grubbs", "Grubbs of two"]
    places: tuple[int, ...]
    statistic: float
    p: float
    level: Level


def mandel_h(found: Precision) -> Array:
    """Each stand's mean against the others', in their standard deviation (7.3.1)."""
    if found.of_means.sd == 0:
        return np.zeros(found.means.size)
    return (found.means - found.mean) / found.of_means.sd


def mandel_k(results: Sequence[Array]) -> Array:
    """Each stand's scatter over that of all; NaN where it has one result (7.3.1)."""
    sd = np.array([_sd(one) for one in results])
    known = np.isfinite(sd)
    pooled = math.sqrt(float((sd[known] ** 2).mean())) if known.any() else 0.0
    return sd / pooled if pooled > 0 else np.where(known, 1.0, math.nan)


def critical_h(stands: int, chance: float) -> float:
    """Beyond it |h| lies with this chance; from three stands on."""
    t = float(t_factor(stands - 2.0, 1.0 - chance))
    return (stands - 1) * t / math.sqrt(stands * (t**2 + stands - 2))


def critical_k(stands: int, results: int, chance: float) -> float:
    """Beyond it k lies with this chance, each stand having this many results."""
    from scipy.special import fdtri

    inside = results - 1
    f = float(fdtri(inside, (stands - 1) * inside, 1.0 - chance))
    return math.sqrt(stands * f / (f + stands - 1))


def cochran(results: Sequence[Array]) -> list[Suspect]:
    """Stands that scatter more than the others, the worst first.

    The largest variance against the sum of all, exact for different numbers of results
    too: as the share of each that F gives, times the number of stands (R. U. E. 't Lam,
    Analytica Chimica Acta 659 (2010) 68-84, from memory; with equal numbers it is
    Cochran's C with its usual critical values). What is an outlier is set aside for
    looking at the rest, as in 7.3.3, and for that alone.
    """
    left = [place for place, one in enumerate(results) if one.size > 1]
    found: list[Suspect] = []
    while len(left) > 1:
        p, c, place = min(_share(results, left, place) for place in left)
        level = _level(p)
        if level is not None:
            found.append(Suspect("Cochran", (place,), -c, p, level))
        if level != "outlier":
            break
        left.remove(place)
    return found


def _share(
    results: Sequence[Array], left: Sequence[int], place: int
) -> tuple[float, float, int]:
    """Chance of so large a variance, the statistic (negative, to sort), the place."""
    from scipy.special import fdtrc

    squares = {one: float(results[one].var(ddof=1)) for one in left}
    dof = {one: results[one].size - 1 for one in left}
    rest = [one for one in left if one != place]
    inside = sum(dof[one] for one in rest)
    pooled = sum(dof[one] * squares[one] for one in rest) / inside
    total = sum(squares.values())
    if total == 0:
        return 1.0, 0.0, place
    f = squares[place] / pooled if pooled > 0 else math.inf
    p = float(fdtrc(dof[place], inside, f)) if math.isfinite(f) else 0.0
    return min(1.0, len(left) * p), -squares[place] / total, place


def grubbs(means: Array) -> list[Suspect]:
    """Stands whose mean lies off the others, after 7.3.4; from three stands on.

    The farthest one first, either side; it set aside, the next. Where no single one
    lies off, the two highest or the two lowest together, whose critical values are
    simulated.
    """
    left = list(range(means.size))
    found: list[Suspect] = []
    while len(left) > 2:
        place, g, p = _farthest(means, left)
        level = _level(p)
        if level is not None:
            found.append(Suspect("Grubbs", (place,), g, p, level))
        if level != "outlier":
            break
        left.remove(place)
    if not found and means.size > 3:
        two = _two(means)
        found += [two] if two is not None else []
    return found


def _farthest(means: Array, left: Sequence[int]) -> tuple[int, float, float]:
    from scipy.special import stdtr

    values = means[list(left)]
    sd, size = float(values.std(ddof=1)), values.size
    if sd == 0:
        return left[0], 0.0, 1.0
    off = np.abs(values - values.mean()) / sd
    worst = int(np.argmax(off))
    g = float(off[worst])
    room = (size - 1) ** 2 / size - g**2
    if room <= 0:
        return left[worst], g, 0.0
    t = math.sqrt(g**2 * (size - 2) / room)
    p = min(1.0, 2.0 * size * float(stdtr(size - 2, -t)))
    return left[worst], g, p


def _two(means: Array) -> Suspect | None:
    """The two highest, or the two lowest, against what is left without them."""
    order = np.argsort(means)
    if float(np.ptp(means)) == 0:
        return None
    sides = _without_two(means[order][np.newaxis, :])[0]
    side = int(np.argmin(sides))
    below = int(np.searchsorted(_lowest_two(means.size), sides[side], side="right"))
    # One side has its own critical values; looking at both makes it twice the chance.
    p = min(1.0, 2.0 * below / DRAWS)
    level = _level(p)
    if level is None:
        return None
    places = order[:2] if side == 0 else order[-2:]
    two = tuple(sorted(int(place) for place in places))
    return Suspect("Grubbs of two", two, float(sides[side]), p, level)


@cache
def _lowest_two(size: int) -> Array:
    """What chance makes of the two lowest of so many, rising, shape (DRAWS,)."""
    drawn = np.random.default_rng(SEED).standard_normal((DRAWS, size))
    found: Array = np.sort(_without_two(np.sort(drawn, axis=1))[:, 0])
    return found


def _without_two(rising: Array) -> Array:
    """Sum of squares without the two lowest, and highest, over that of all: (k, 2)."""
    size = rising.shape[1]
    whole = rising.var(axis=1) * size
    sides = [part.var(axis=1) * (size - 2) for part in (rising[:, 2:], rising[:, :-2])]
    left: Array = np.stack(sides, axis=1) / whole[:, np.newaxis]
    return left


def _sd(values: Array) -> float:
    return float(values.std(ddof=1)) if values.size > 1 else math.nan


def _level(p: float) -> Level | None:
    if p < OUTLIER:
        return "outlier"
    return "straggler" if p < STRAGGLER else None

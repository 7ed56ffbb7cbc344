"""What the pack did in a run: how its voltage follows current, time and charge.

Open-circuit voltage that falls in proportion to the charge drawn, a series
resistance, and one slow part that follows the current with a time constant (the
Thevenin model with one RC pair; G. L. Plett, Battery Management Systems, vol. 1,
2015, chapter 2, from memory). Leads and plug up to where the stand reads voltage
are in the resistance. Nothing here says what a pack holds: a run of a minute does
not empty it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from daq.analysis.fits import Fit, fit
from daq.analysis.measured import Measured, Source, combine, minus
from daq.analysis.models import Columns
from daq.analysis.plateaus import Plateaus
from daq.analysis.scaled import points_of, scale_sources
from daq.analysis.series import Array, Series
from daq.analysis.unseen import ASLEEP
from daq.errors import InputFault

#: Time constants that are tried for the slow part: what a run of a minute can see
#: between its settling and its length.
SLOW_TIMES_S: Final = (4.0, 5.7, 8.0, 11.3, 16.0, 22.6, 32.0, 45.3, 64.0)
#: A richer model has to be better than a plainer one by this much (Akaike).
BETTER_BY: Final = 2.0
#: The 95 % point of chi-square with one degree of freedom.
PROFILE_95: Final = 3.841
#: Weight of a time constant next to the chosen one, whatever the fit says: the truth
#: lies anywhere up to half a step away, so that half of what a whole step does is a
#: rectangular bound (a twelfth of its square).
NEXT_WEIGHT: Final = 1.0 / 12.0
#: How well the slow part is known, as a rectangular share of it: a run of a minute
#: sees little of what a pack does over minutes (common practice, no source).
SLOW_SHARE: Final = 0.5
#: Levels of current and rests that a fit must have at least.
FEWEST_POINTS: Final = 5
#: The current is followed at this rate for charge and slow part.
FOLLOWED_HZ: Final = 20.0
#: A voltage is never taken to be known better than this, in volt.
SMALLEST_U_V: Final = 1e-4


@dataclass(frozen=True, slots=True)
class FittedPack:
    """What the article says of its pack.

    Attributes:
        name: In words.
        cells: In series.
        floor_v: Lowest it may sag to under load.
        claim_a: What its printed rate claims; None where none is printed.
        capacity_c: Rated charge; None where nobody says.
    """

    name: str
    cells: int
    floor_v: float
    claim_a: float | None = None
    capacity_c: float | None = None


@dataclass(frozen=True, slots=True)
class PackFit:
    """The pack, as one run shows it.

    Attributes:
        rest_v: Open-circuit voltage at the start of the run, one value.
        quick_ohm: Resistance that acts at once, one value.
        whole_ohm: The same with the slow part grown whole, one value.
        slow_s: Time constant of the slow part; None where none was seen.
        slow_range_s: From and to which time constant the fit is nearly as good, a 95 %
            interval; it is open where it reaches the first or the last that is tried.
        per_coulomb_v: How much the open-circuit voltage falls for a coulomb.
        highest_a: Largest current that was held.
        fit: The fit.
    """

    rest_v: Measured
    quick_ohm: Measured
    whole_ohm: Measured
    slow_s: float | None
    per_coulomb_v: float
    highest_a: float
    fit: Fit
    slow_range_s: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class _Points:
    """What the pack was seen to do: plateaus, then rests.

    Attributes:
        volt: Shape (n,).
        amp: Shape (n,).
        charge_c: Drawn until then, shape (n,).
        time_s: Shape (n,).
        used: Plateaus used.
    """

    volt: Measured
    amp: Measured
    charge_c: Array
    time_s: Array


def read_pack(series: Mapping[str, Series], plateaus: Plateaus) -> PackFit | None:
    """Fit the pack to plateaus and rests.

    Args:
        series: Channels by name.
        plateaus: The averaged run.

    Returns:
        None without voltage, current or rests, with too few points, or where no
        resistance above zero comes out.
    """
    points = _points(series, plateaus)
    if points is None:
        return None
    constant, amp = np.ones(points.time_s.size), points.amp.value
    plain = _fitted(points, (constant, -amp), None)
    found = [plain]
    if plain is not None:
        found.append(_fitted(points, (constant, -amp, -points.charge_c), None))
        grid_s, followed_a = _followed(series["current"], plateaus)
        for slow_s in SLOW_TIMES_S:
            lagged = _lagged(grid_s, followed_a, slow_s)
            slow = np.interp(points.time_s, grid_s, lagged)
            columns = (constant, -amp, -points.charge_c, -slow)
            found.append(_fitted(points, columns, slow_s))
    return _best([one for one in found if one is not None])


def _best(found: list[PackFit]) -> PackFit | None:
    if not found:
        return None
    lowest = min(one.fit.aicc for one in found)
    good = [one for one in found if one.fit.aicc <= lowest + BETTER_BY] or found
    best = min(good, key=lambda one: (one.fit.model.count, one.fit.aicc))
    return _with_rivals(best, found, lowest)


def _with_rivals(best: PackFit, found: list[PackFit], lowest: float) -> PackFit:
    """The pack with what models that do nearly as well make of it otherwise.

    By their Akaike weights (K. P. Burnham, D. R. Anderson, Model Selection and
    Multimodel Inference, 2002, 4.3); one column each, so that what it does to one
    figure goes with what it does to another. The whole resistance has a bound for its
    slow part already, which stands for the same.
    """
    likelihood = np.exp([min(0.0, (lowest - one.fit.aicc) / 2) for one in found])
    weights = likelihood / likelihood.sum()
    next_to = [_next_to(best.slow_s, one.slow_s) for one in found]
    root = np.sqrt(np.maximum(weights, NEXT_WEIGHT * np.array(next_to)))

    def widened(value: Measured, others: list[Measured]) -> Measured:
        off = np.array([float(other.value[0] - value.value[0]) for other in others])
        return value.with_source("model of the pack", (root * off)[np.newaxis, :])

    return replace(
        best,
        slow_range_s=_range_s(best, found),
        rest_v=widened(best.rest_v, [one.rest_v for one in found]),
        quick_ohm=widened(best.quick_ohm, [one.quick_ohm for one in found]),
    )


def _range_s(best: PackFit, found: list[PackFit]) -> tuple[float, float] | None:
    """Time constants that the readings do not speak against, of those tried.

    Where the likelihood falls by half of a chi-square of one degree (the profile
    likelihood; for example S. S. Wilks, Ann. Math. Stat. 9, 1938, 60, from memory),
    and half a step further on either side, since the truth lies between those tried.
    """
    if best.slow_s is None:
        return None
    alike = [one for one in found if one.slow_s is not None]
    lowest = min(one.fit.aicc for one in alike)
    kept = [
        one.slow_s
        for one in alike
        if one.slow_s is not None and one.fit.aicc <= lowest + PROFILE_95
    ]
    half_step = math.sqrt(SLOW_TIMES_S[1] / SLOW_TIMES_S[0])
    return min(kept) / half_step, max(kept) * half_step


def without_plug(pack: PackFit, plug_ohm: Measured | None) -> Measured | None:
    """What acts at once, less a plug that was measured; None where that is unknown."""
    if plug_ohm is None:
        return None
    left = minus(pack.quick_ohm, plug_ohm)
    return left if float(left.value[0]) > 0 else None


def _next_to(chosen_s: float | None, other_s: float | None) -> bool:
    if chosen_s is None or other_s is None:
        return False
    places = SLOW_TIMES_S.index(chosen_s), SLOW_TIMES_S.index(other_s)
    return abs(places[0] - places[1]) == 1


def _points(series: Mapping[str, Series], plateaus: Plateaus) -> _Points | None:
    if "voltage" not in plateaus.channels or "current" not in plateaus.channels:
        return None
    volts, amps = plateaus.channels["voltage"], plateaus.channels["current"]
    good = np.isfinite(volts.mean) & np.isfinite(amps.mean)
    good &= np.isfinite(volts.random_u) & np.isfinite(amps.random_u)
    used, rests = np.flatnonzero(good), volts.rests
    if not rests.value.size or used.size + rests.value.size < FEWEST_POINTS:
        return None
    middle_s = (plateaus.start_s + plateaus.end_s) / 2
    grid_s, followed_a = _followed(series["current"], plateaus)
    drawn_c = np.concatenate(([0.0], np.cumsum(followed_a)[:-1])) / FOLLOWED_HZ
    time_s = np.concatenate((middle_s[used], rests.time_s))
    # What the scale reads wrong it reads wrong at rest as well.
    at_rest = Measured(
        rests.value,
        {
            "voltage random": Source(rests.u, rests.dof),
            **scale_sources(series["voltage"], rests.value),
        },
    )
    still = Measured(
        np.zeros(rests.value.size), _alike(amps.measured, rests.value.size)
    )
    return _Points(
        volt=_joined(volts.measured.take(used), at_rest),
        amp=_joined(amps.measured.take(used), still),
        charge_c=np.interp(time_s, grid_s, drawn_c),
        time_s=time_s,
    )


def _alike(amps: Measured, count: int) -> dict[str, Source]:
    """What is drawn at rest is drawn all along, and was taken for zero."""
    asleep = amps.sources.get(ASLEEP)
    if asleep is None:
        return {}
    factor = np.full((count, 1), float(asleep.factor[0, 0]))
    return {ASLEEP: Source(factor, np.full(count, np.inf))}


def _joined(first: Measured, second: Measured) -> Measured:
    """Values one after the other; a source that one of them lacks is zero there."""
    sources: dict[str, Source] = {}
    for name in dict.fromkeys((*first.sources, *second.sources)):
        parts = []
        for measured in (first, second):
            source, size = measured.sources.get(name), measured.value.size
            if source is None:
                known = first.sources.get(name) or second.sources[name]
                shape = (size, *known.factor.shape[1:])
                source = Source(np.zeros(shape), np.full(size, np.inf))
            parts.append(source)
        sources[name] = Source(
            np.concatenate([part.factor for part in parts]),
            np.concatenate([part.dof for part in parts]),
        )
    return Measured(np.concatenate((first.value, second.value)), sources)


def _followed(current: Series, plateaus: Plateaus) -> tuple[Array, Array]:
    """The current on an even grid of time, its zero taken off."""
    means = plateaus.channels["current"]
    zero_a = means.raw - means.mean
    seen = np.isfinite(zero_a)
    offset_a = float(zero_a[seen].mean()) if seen.any() else 0.0
    good = np.isfinite(current.value_si)
    t_s, value = current.t_s[good], current.value_si[good] - offset_a
    count = max(2, math.ceil((t_s[-1] - t_s[0]) * FOLLOWED_HZ))
    edges = t_s[0] + np.arange(count + 1) / FOLLOWED_HZ
    area = np.concatenate(
        ([0.0], np.cumsum(np.diff(t_s) * (value[1:] + value[:-1]) / 2))
    )
    mean = np.diff(np.interp(edges, t_s, area)) * FOLLOWED_HZ
    return edges[:-1] + 0.5 / FOLLOWED_HZ, mean


def _lagged(grid_s: Array, followed_a: Array, slow_s: float) -> Array:
    """The current as a first-order lag sees it; at rest before the record."""
    keep = math.exp(-1.0 / (FOLLOWED_HZ * slow_s))
    state, lagged = 0.0, np.empty(grid_s.size)
    for index, amp in enumerate(followed_a.tolist()):
        state = keep * state + (1.0 - keep) * amp
        lagged[index] = state
    return lagged


def _fitted(
    points: _Points, columns: tuple[Array, ...], slow_s: float | None
) -> PackFit | None:
    names = ("rest", "current", "charge", "slow current")[: len(columns)]
    model = Columns(np.stack(columns, axis=-1), names)
    rows = np.arange(points.time_s.size, dtype=np.float64)
    if rows.size <= model.count + 1:
        return None
    own = np.maximum(points.volt.own_uncertainty(), SMALLEST_U_V)
    try:
        found = fit(model, rows, points.volt.value, own)
    except (InputFault, np.linalg.LinAlgError):
        return None
    quick = float(found.coefficients[1])
    rest = np.zeros(model.count)
    rest[1:2] = 1.0
    whole = rest.copy()
    if slow_s is not None:
        whole[3] = 1.0
    if quick <= 0 or float(whole @ found.coefficients) < quick:
        return None
    first = np.eye(model.count)[0]
    slow_ohm = float(whole @ found.coefficients) - quick
    return PackFit(
        rest_v=_coefficient(points, found, first),
        quick_ohm=_coefficient(points, found, rest),
        whole_ohm=_coefficient(points, found, whole).with_source(
            "slow part of the pack",
            np.array([[SLOW_SHARE * slow_ohm / math.sqrt(3.0)]]),
        ),
        slow_s=slow_s,
        per_coulomb_v=float(found.coefficients[2]) if model.count > 2 else 0.0,
        highest_a=float(points.amp.value.max()),
        fit=found,
    )


def _coefficient(points: _Points, found: Fit, weights: Array) -> Measured:
    """A sum of coefficients with its sources; errors of current act through R."""
    row = (weights @ found.estimator)[np.newaxis, :]
    value = np.array([float(weights @ found.coefficients)])
    quick = float(found.coefficients[1])
    one = np.ones(1)
    volt = points_of(points.volt, "the pack").mapped(row)
    amp = points_of(points.amp, "the pack").mapped(quick * row)
    misfit = found.misfit_sd * math.sqrt(float((row**2).sum()))
    result = combine(value, [(one, volt), (one, amp)])
    return Measured(
        value,
        {
            **result.sources,
            "shape of voltage against current": Source(
                np.array([[misfit]]), np.array([found.own_dof])
            ),
        },
    )

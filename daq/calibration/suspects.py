"""What is wrong with readings before a scale is made of them, and who is to blame.

Each check raises one sentence that names the step, the mass or the sensor. A scale is
never made of readings that do not pass; nothing is repaired or left out in silence.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from daq.calibration.fit import fit_polynomial
from daq.calibration.readings import Reading, Table
from daq.calibration.reference import Piece, Reference
from daq.errors import InputFault
from daq.link.messages import ChannelPage

Array = NDArray[np.float64]

#: Fewer known values than this say nothing of how straight a channel is.
FEWEST_LEVELS: Final = 3
#: With fewer counts from nothing to the largest known value a channel is read to no
#: better than a per cent.
FEWEST_COUNTS: Final = 100.0
#: From so many known values a curve is looked for before a mass is blamed.
LEVELS_FOR_CURVE: Final = 5
#: How likely an honest set is to have any of its pieces blamed.
FALSE_BLAME: Final = 1e-3
#: What is wrong by less than this share of the largest value is no slip; it goes into
#: the straightness.
SLIP_SHARE: Final = 0.005
#: A piece is not blamed for less than so many of its own standard uncertainties.
SLIP_U: Final = 4.0
#: A curve explains as well as one culprit if it leaves less than so many times what
#: is left without him.
AS_WELL: Final = 4.0
#: Without the culprit the others lie on a gentle curve to this share of the largest
#: value, or it is the channel that is bent.
REST_SHARE: Final = 0.0025
#: What people type by mistake: ratio of the scale that comes out to the one that the
#: stand declares, and what was meant.
SLIPS: Final = (
    (1.0 / 9.80665e-3, "grams were given where newtons are due, or the other way"),
    (9.80665, "kilograms-force were given where newtons are due, or the other way"),
    (1000.0, "thousandths were given where whole units are due, or the other way"),
    (28.349523, "ounces were given where grams are due, or the other way"),
)
SLIP_WIDTH: Final = 0.25
#: A scale further than this from the declared one needs an explanation.
SURPRISE: Final = 0.3


@dataclass(frozen=True, slots=True)
class Sensor:
    """What a stand declares of the channel.

    Attributes:
        name: of the channel.
        unit: SI.
        counts_per_unit: nominal.
        low_counts: end of its range.
        high_counts: end of its range.
    """

    name: str
    unit: str
    counts_per_unit: float
    low_counts: int
    high_counts: int

    @classmethod
    def of(cls, page: ChannelPage) -> Self:
        """What a channel's page declares."""
        return cls(
            page.name,
            page.quantity.unit,
            page.counts_per_unit,
            page.low_counts,
            page.high_counts,
        )


def check_amount(readings: Sequence[Reading], reference: Reference) -> None:
    """Whether there is enough to make a scale of.

    Raises:
        InputFault: there is not.
    """
    used = {reading.level for reading in readings if reading.kind == "load"}
    if len(used) < FEWEST_LEVELS:
        raise InputFault(
            f"{_count(len(used), 'known value')} cannot show whether the channel is "
            f"straight; take at least {FEWEST_LEVELS} different ones, and zero."
        )
    if not any(reading.kind == "zero" for reading in readings):
        raise InputFault("Zero was never read: take one reading with nothing on.")
    if any(level >= len(reference.levels) for level in used):
        raise InputFault("A reading is of a known value that there is not.")


def check_sensor(
    readings: Sequence[Reading], sensor: Sensor, reference: Reference
) -> None:
    """Whether the sensor is alive and inside its range.

    Raises:
        InputFault: it is not.
    """
    for reading in readings:
        for end, counts in (
            ("lower", reading.low_counts <= sensor.low_counts),
            ("upper", reading.high_counts >= sensor.high_counts),
        ):
            if counts:
                raise InputFault(
                    f"{sensor.name} is at the {end} end of its range "
                    f"{_where(reading, reference)}: the sensor or its amplifier is "
                    "saturated or not connected. Use less, or mend it."
                )
    loads = [r.counts for r in readings if r.kind != "zero"]
    zeros = [r.counts for r in readings if r.kind == "zero"]
    moved = max(abs(load - zero) for load in loads for zero in zeros[:1])
    noise = float(np.median([r.sd_counts for r in readings]))
    if moved < max(5.0 * noise, 3.0):
        raise InputFault(
            f"{sensor.name} does not move: {moved:.0f} counts at most between nothing "
            f"and everything, with {noise:.0f} counts of noise. The sensor is dead or "
            "not wired, or nothing reaches it."
        )
    if moved < FEWEST_COUNTS:
        raise InputFault(
            f"{sensor.name} moved by {moved:.0f} counts in all, too few to make a "
            f"scale of; use larger known values, at least {FEWEST_COUNTS:.0f} counts "
            "worth."
        )


def check_order(table: Table, reference: Reference) -> None:
    """Whether readings rise with what was set down.

    Raises:
        InputFault: two are exchanged, or one is out of place; named.
    """
    value = reference.value_at(table.level)
    for series in np.unique(table.series):
        own = table.series == series
        for leg in ("up", "down", ""):
            legs = np.array([reading.leg == leg for reading in table.readings])
            where = np.flatnonzero(own & legs)
            _check_leg(table, value, where, reference)


def _check_leg(
    table: Table, value: Array, where: NDArray[np.intp], reference: Reference
) -> None:
    ordered = where[np.argsort(value[where], kind="stable")]
    spread = (table.x - table.x.mean()) @ (value - value.mean())
    rising = math.copysign(1.0, float(spread))
    covariance = np.pad(reference.covariance(), (0, 1))  # zero is known exactly
    for low, high in pairwise(ordered):
        a, b = table.level[low], table.level[high]
        apart2 = covariance[a, a] + covariance[b, b] - 2.0 * covariance[a, b]
        # What cannot be told apart by what it is known to is in no order.
        if value[high] - value[low] <= SLIP_U * math.sqrt(max(0.0, apart2)):
            continue
        if rising * (table.x[high] - table.x[low]) > 0.0:
            continue
        names = [_level_name(reference, int(table.level[i])) for i in (low, high)]
        raise InputFault(
            f"At {names[1]} {_when(table.readings[high])} the channel read no more "
            f"than at {names[0]}: the two were exchanged, or one was not set down. "
            "Take these steps again."
        )


def _level_name(reference: Reference, level: int) -> str:
    return "nothing" if level < 0 else reference.levels[level].name


def check_scale(slope_si: float, sensor: Sensor) -> tuple[str, ...]:
    """Whether a scale may be what it says, by what the stand declares.

    Args:
        slope_si: SI for one count, as found.
        sensor: what is declared.

    Returns:
        Cautions, in sentences.

    Raises:
        InputFault: it looks like a unit taken for another.
    """
    ratio = slope_si * sensor.counts_per_unit
    for slip, words in SLIPS:
        for factor in (slip, 1.0 / slip):
            if abs(abs(ratio) / factor - 1.0) <= SLIP_WIDTH:
                raise InputFault(
                    f"The scale of {sensor.name} comes out {abs(ratio):.3g} times what "
                    f"the stand declares: {words}. Look at the units."
                )
    if ratio < 0.0:
        return (
            f"{sensor.name} moves the other way than the stand declares: the sensor "
            'is turned round, or the masses push against thrust (pushes = "against '
            'thrust").',
        )
    if abs(ratio - 1.0) > SURPRISE:
        return (
            f"The scale of {sensor.name} is {ratio:.3g} times what the stand declares: "
            "look whether the stand's constants are those of this sensor.",
        )
    return ()


@dataclass(frozen=True, slots=True)
class Candidate:
    """Something that may be wrong by itself.

    Attributes:
        share: of it in each reading, shape (n,).
        forgiven_si: what it may be wrong by without being blamed.
        words: the sentence that blames it, from what it is off by, SI.
    """

    share: Array
    forgiven_si: float
    words: Callable[[float], str]


@dataclass(frozen=True, slots=True)
class Suspect:
    """A candidate that does not fit the rest.

    Attributes:
        words: the sentence.
        left: sum of squares that is left without it.
    """

    words: str
    left: float


def check_pieces(table: Table, reference: Reference, powers: tuple[int, ...]) -> None:
    """Whether one mass, or one reading, does not fit all the others.

    Each piece in turn, and each reading in turn, is given an error of its own in the
    fit; its externally studentised value (R. D. Cook and S. Weisberg, Residuals and
    Influence in Regression, 1982; from memory) is held against Student's t with the
    chance of a false blame shared between all that were tried (Bonferroni). Nobody is
    blamed where a gentle curve explains as much, or where the others do not fit even
    then.

    Raises:
        InputFault: one does not; it is named, with what it seems to be.
    """
    levels = np.unique(table.level[table.level >= 0]).size
    if levels >= LEVELS_FOR_CURVE and 2 not in powers:
        powers = (*powers, 2)
    found = suspects(table, reference, powers)
    if not found:
        return
    worst = min(found, key=lambda suspect: suspect.left)
    value = reference.value_at(table.level)
    if worst.left > value.size * (REST_SHARE * float(np.abs(value).max())) ** 2:
        return
    if 2 not in powers:
        curved = fit_polynomial(table.x, value, (*powers, 2)).residuals
        if float(curved @ curved) < AS_WELL * worst.left:
            return
    raise InputFault(worst.words)


def suspects(
    table: Table, reference: Reference, powers: tuple[int, ...]
) -> list[Suspect]:
    """Everything that could be blamed."""
    from scipy.special import stdtrit

    value = reference.value_at(table.level)
    largest = float(np.abs(value).max())
    candidates = [*_pieces(table, reference), *_singles(table, reference, largest)]
    dof = table.x.size - len(powers) - 1
    if dof < 1:
        return []
    limit = float(stdtrit(dof, 1.0 - FALSE_BLAME / (2.0 * len(candidates))))
    found = []
    for candidate in candidates:
        without = _without(table.x, value, powers, candidate.share)
        if without is None:
            continue
        off_si, t, left = without
        slip_si = abs(off_si) * float(np.abs(candidate.share).max())
        if abs(t) > limit and slip_si > max(
            SLIP_SHARE * largest, candidate.forgiven_si
        ):
            found.append(Suspect(candidate.words(off_si), left))
    return found


def _without(
    x: Array, value: Array, powers: tuple[int, ...], share: Array
) -> tuple[float, float, float] | None:
    """Its own error in SI, in how many standard errors, and what is left."""
    scale = float(np.abs(x).max())
    basis = [(x / scale) ** power for power in powers]
    design = np.stack([*basis, share], axis=1)
    if np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    inverse = np.linalg.inv(design.T @ design)
    beta = inverse @ design.T @ value
    rest = value - design @ beta
    left = float(rest @ rest)
    # Perfect invented data leave nothing, which blames nobody by rounding alone.
    floor = value.size * (1e-9 * float(np.abs(value).max())) ** 2
    se2 = max(left, floor) / (value.size - design.shape[1]) * float(inverse[-1, -1])
    # What was said less what it is: the other way round it is what it is off by.
    return -float(beta[-1]), float(beta[-1]) / math.sqrt(se2), left


def _pieces(table: Table, reference: Reference) -> list[Candidate]:
    """Each mass; a single one is told apart from the scale by nothing."""
    if len(reference.pieces) < 2:
        return []
    made_of = np.array([level.made_of for level in reference.levels])
    per = reference.si_per_piece_unit
    found = []
    for place, piece in enumerate(reference.pieces):
        share = np.concatenate((made_of[:, place], [0.0]))[table.level]
        forgiven_si = SLIP_U * piece.u * abs(per)
        found.append(Candidate(share, forgiven_si, partial(_blame, piece, per)))
    return found


def _blame(piece: Piece, per: float, off_si: float) -> str:
    return (
        f'"{piece.name}" does not fit the others: it was said to be {piece.value:g} '
        f"{piece.unit} and seems to be {piece.value + off_si / per:.1f} {piece.unit}. "
        "Look which one it is, whether all of it was set down, and whether anything "
        "touches from there on; then take its steps again."
    )


def _singles(table: Table, reference: Reference, largest: float) -> list[Candidate]:
    """Each reading of a known value by itself."""
    ones = np.eye(table.x.size)
    return [
        Candidate(
            ones[place], 0.0, partial(_doubt, _where(reading, reference), largest)
        )
        for place, reading in enumerate(table.readings)
        if reading.kind == "load"
    ]


def _doubt(where: str, largest: float, off_si: float) -> str:
    return (
        f"The reading {where} does not fit the others: it is off by "
        f"{100.0 * abs(off_si) / largest:.1f} % of the largest. Something else was on "
        "it, or it was touched; take that step again."
    )


def _where(reading: Reading, reference: Reference) -> str:
    return f"at {_level_name(reference, reading.level)} {_when(reading)}"


def _when(reading: Reading) -> str:
    leg = {"up": ", on the way up", "down": ", on the way down", "": ""}[reading.leg]
    return f"(series {reading.series + 1}{leg})"


def _count(number: int, what: str) -> str:
    return f"One {what}" if number == 1 else f"{number} {what}s"

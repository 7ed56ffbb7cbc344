"""A calibration: counts of one channel to SI, with everything that it rests on.

An immutable value with identity, date, range, points, residuals, standards used, and
the causes of its error each by itself. It says what it is good for; whether it is used
is decided where readings and calibrations are put together. Nothing here measures.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from daq.calibration.readings import Reading

Array = NDArray[np.float64]
FORMAT: Final = 1


@dataclass(frozen=True, slots=True)
class Cause:
    """Errors that go with powers of the value and are shared by all values.

    Attributes:
        name: what it is.
        powers: of the value in SI.
        factor: rows for the powers, columns for independent unit errors.
        dof: degrees of freedom of its size; infinite where it is a bound.
        alone: whether it is not the channel's own (local gravity).
        words: what it comes from.
    """

    name: str
    powers: tuple[int, ...]
    factor: tuple[tuple[float, ...], ...]
    dof: float
    alone: bool = False
    words: str = ""

    def u_at(self, value_si: float) -> float:
        """Standard uncertainty that it gives a value."""
        basis = np.array([value_si**power for power in self.powers])
        return float(np.linalg.norm(basis @ np.array(self.factor)))


@dataclass(frozen=True, slots=True)
class Stray:
    """Departures of unknown shape: a bound that holds from some way off zero.

    Attributes:
        name: what it is.
        knots_si: distances from zero, rising.
        u_si: standard uncertainty there.
        dof: degrees of freedom of its size.
        words: what it comes from.
    """

    name: str
    knots_si: tuple[float, ...]
    u_si: tuple[float, ...]
    dof: float
    words: str = ""

    def u_at(self, value_si: float) -> float:
        """Standard uncertainty that it gives a value."""
        knots = (0.0, *self.knots_si)
        inside = float(np.interp(abs(value_si), knots, (0.0, *self.u_si)))
        return inside * max(1.0, abs(value_si) / self.knots_si[-1])


@dataclass(frozen=True, slots=True)
class Trial:
    """One property of the channel that was tried, or that stands in for a trial.

    Attributes:
        name: linearity, hysteresis, creep, repeatability or zero return.
        value_rel: what came out, as a share of the largest known value; NaN where it
            was not tried.
        u_rel: its standard uncertainty; NaN where it was not tried.
        sentence: the same in words.
    """

    name: str
    value_rel: float
    u_rel: float
    sentence: str

    @property
    def tried(self) -> bool:
        """Whether it was."""
        return math.isfinite(self.value_rel)


@dataclass(frozen=True, slots=True)
class Bias:
    """Two ways of mounting the same thing, compared by a person.

    Attributes:
        what: what was changed between the two, such as "stand moved".
        difference_rel: by how much the second read more, as a share.
        u_rel: standard uncertainty of the difference.
        compared: identities of what was compared.
    """

    what: str
    difference_rel: float
    u_rel: float
    compared: tuple[str, str]

    @property
    def component_rel(self) -> float:
        """What it adds: either way may be the true one, so half of it each way."""
        half = abs(self.difference_rel) / 2.0
        return math.hypot(half, self.u_rel / 2.0)


@dataclass(frozen=True, slots=True)
class Subject:
    """Whose channel it is.

    Attributes:
        channel: name of the channel.
        unit: SI.
        stand_id: as the stand gives it.
        specimen: "" for a stand of its own; of a simulated stand that was started for
            the purpose, which one.
        simulated: whether nothing was measured.
    """

    channel: str
    unit: str
    stand_id: int
    specimen: str = ""
    simulated: bool = False


@dataclass(frozen=True, slots=True)
class Point:
    """One reading with the known value it belongs to.

    Attributes:
        reading: as taken.
        value_si: what was known to be there.
        residual_si: known value less the scale at that reading; NaN for what is no
            point of the fit.
    """

    reading: Reading
    value_si: float
    residual_si: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """Counts of one channel to SI.

    Attributes:
        subject: whose.
        made_utc: when, ISO 8601.
        zero_counts: counts from which the powers are taken.
        powers: of counts from there.
        coefficients: SI over the power of a count.
        low_si: least known value, zero among them.
        high_si: greatest.
        causes: errors by powers of the value.
        strays: errors of unknown shape.
        hysteresis: what the way up differs from the middle.
        trials: what was tried of the channel.
        points: every reading, with its residual.
        standards: what was used, one entry each: name, value, uncertainty, source.
        facts: lever, gravity, meter, temperature and the like.
        cautions: what has to be known before it is relied on, in sentences.
        biases: what changing the mounting did.
        note: anything worth remembering.
        id: channel, date and a check of the content; "" while it is being made.
    """

    subject: Subject
    made_utc: str
    zero_counts: float
    powers: tuple[int, ...]
    coefficients: tuple[float, ...]
    low_si: float
    high_si: float
    causes: tuple[Cause, ...]
    strays: tuple[Stray, ...]
    hysteresis: Stray | None
    trials: tuple[Trial, ...]
    points: tuple[Point, ...]
    standards: tuple[Mapping[str, object], ...]
    facts: Mapping[str, object]
    cautions: tuple[str, ...] = ()
    biases: tuple[Bias, ...] = ()
    note: str = ""
    id: str = ""

    def value(self, counts: Array) -> Array:
        """Counts of any shape as SI values."""
        x = counts - self.zero_counts
        total = np.zeros_like(x)
        for power, coefficient in zip(self.powers, self.coefficients, strict=True):
            total += coefficient * x**power
        return np.asarray(total, dtype=np.float64)

    def to_si(self, counts: NDArray[np.int64], no_reading: int) -> Array:
        """Counts, any shape, as SI values; NaN where there was no reading."""
        values = self.value(counts.astype(np.float64))
        values[counts == no_reading] = np.nan
        return values

    @property
    def resolution_si(self) -> float:
        """One count, in SI."""
        return abs(self.slope_si)

    @property
    def slope_si(self) -> float:
        """SI for one count, at zero."""
        return self.coefficients[self.powers.index(1)]

    @property
    def largest_si(self) -> float:
        """Largest magnitude it was made with."""
        return max(abs(self.low_si), abs(self.high_si))

    def budget(self, value_si: float) -> dict[str, float]:
        """Standard uncertainty that each cause gives a value from zero, by name."""
        named: dict[str, float] = {}
        for cause in self.causes:
            # What does not go with the value is taken off with the run's zero.
            zeroed = self.subject.unit != "V"
            u = cause.u_at(value_si) if not zeroed else _from_zero(cause, value_si)
            named[cause.name] = u
        strays = (*self.strays, *((self.hysteresis,) if self.hysteresis else ()))
        for stray in strays:
            named[stray.name] = stray.u_at(value_si)
        bias = math.hypot(*(b.component_rel for b in self.biases), 0.0)
        if bias:
            named["mounting"] = bias * abs(value_si)
        return named

    def u_at(self, value_si: float) -> float:
        """Combined standard uncertainty of a value from zero."""
        return math.hypot(*self.budget(value_si).values(), 0.0)

    @property
    def u_rel(self) -> float:
        """The same at the largest value, as a share of it."""
        return self.u_at(self.largest_si) / self.largest_si

    @property
    def max_gap(self) -> float:
        """Largest residual, SI."""
        gaps = [
            abs(p.residual_si) for p in self.points if p.residual_si == p.residual_si
        ]
        return max(gaps, default=math.nan)


def _from_zero(cause: Cause, value_si: float) -> float:
    basis = np.array([value_si**p if p else 0.0 for p in cause.powers])
    return float(np.linalg.norm(basis @ np.array(cause.factor)))

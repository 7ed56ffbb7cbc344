"""How wrong a channel's scale may be: plain numbers, whoever they come from.

The error of a value f is a sum of parts. Most are powers of the value with a factor
that all values share, error(f) = sum over p of f**p * (factor_p @ e), e independent
unit errors: a gain is the power 1, an offset the power 0. Since every reading has
the same e, the zero of a run takes the offset away and a difference knows what
cancels. What no power describes (departures from the fitted line, the way a load was
come to, what lies beyond the calibrated range) has parts of its own. Nothing here
knows how a scale was found, or averages anything.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from daq.errors import InputFault

Array = NDArray[np.float64]

#: How much of a loop's variance differs along one leg: between a tenth and nine tenths
#: of the range the half of a loop 4 s (1 - s) differs by 0.35 of its widest (rms).
LOOP_SHARE = 0.1
#: On the way up a cell with hysteresis reads on one side, on the way down on the
#: other, by the same cause.
_SIDE: Mapping[str, float] = {"up": 1.0, "down": -1.0}


class Factor(NamedTuple):
    """How some values share one cause of error.

    Attributes:
        factor: Error = factor @ (independent unit errors), shape (n, k).
        dof: Degrees of freedom of its size.
    """

    factor: Array
    dof: float


@dataclass(frozen=True, slots=True)
class PowerPart:
    """Errors that go with powers of the value, shared by all values.

    Attributes:
        name: Of the cause; with the channel before it, the name of the source.
        powers: One or more of 0, 1, 2.
        factor: Shape (len(powers), k), in SI over the value's power.
        dof: Degrees of freedom of its size.
        alone: Whether the name is the whole name of the source, because the cause is
            not the channel's own (local gravity).
    """

    name: str
    powers: tuple[int, ...]
    factor: Array
    dof: float = math.inf
    alone: bool = False

    def factor_at(self, value: Array, zero: Array | None) -> Array:
        """Error of value less error of what was taken off, shape (n, k)."""
        basis = np.stack([value**p for p in self.powers], axis=1)
        if zero is not None:
            basis = basis - np.stack([zero**p for p in self.powers], axis=1)
        return np.asarray(basis @ self.factor, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class StrayPart:
    """Departures of unknown shape from the fitted scale.

    Neighbouring values depart alike, distant ones each for itself: the errors at the
    knots are independent, and between two knots the error is a mix of both.

    Attributes:
        name: Of the cause.
        knots: Distances from zero, rising, shape (m,), m at least 1.
        u: Standard uncertainty at the knots, shape (m,); towards zero it fades
            evenly, beyond the last knot it grows in proportion.
        dof: Degrees of freedom of its size.
    """

    name: str
    knots: Array
    u: Array
    dof: float = math.inf

    def size_at(self, distance: Array) -> Array:
        """Standard uncertainty at distances from zero, shape (n,)."""
        knots = np.concatenate(([0.0], self.knots))
        inside = np.interp(distance, knots, np.concatenate(([0.0], self.u)))
        beyond = np.maximum(distance / self.knots[-1], 1.0)
        return np.asarray(inside * beyond, dtype=np.float64)

    def factor_at(self, value: Array, zero: Array) -> Array:
        """Shape (n, m)."""
        distance = np.abs(value - zero)
        weights = np.stack(
            [np.interp(distance, self.knots, unit) for unit in np.eye(self.knots.size)],
            axis=1,
        )
        length = np.sqrt((weights**2).sum(axis=1))
        return np.asarray(
            weights * (self.size_at(distance) / length)[:, np.newaxis],
            dtype=np.float64,
        )


@dataclass(frozen=True, slots=True)
class Scale:
    """Everything that is known of how wrong a channel's scale may be.

    Attributes:
        parts: Errors by powers of the value.
        strays: Departures of unknown shape.
        hysteresis: What the way up differs from the middle, None where nothing is
            known of it.
        low: Least value, SI, from which the scale was looked at.
        high: Greatest such value.
        beyond_u_rel: Relative standard uncertainty of what lies beyond these.
    """

    parts: tuple[PowerPart, ...] = ()
    strays: tuple[StrayPart, ...] = ()
    hysteresis: StrayPart | None = None
    low: float = -math.inf
    high: float = math.inf
    beyond_u_rel: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no uncertainty.

        Raises:
            InputFault: A factor that is not finite, or an empty range.
        """
        strays = (*self.strays, *((self.hysteresis,) if self.hysteresis else ()))
        numbers = [part.factor for part in self.parts] + [s.u for s in strays]
        if not all(np.isfinite(number).all() for number in numbers):
            raise InputFault("an uncertainty of a scale is not a finite number")
        if not (self.low < self.high and self.beyond_u_rel >= 0.0):
            raise InputFault(
                f"a scale from {self.low:g} to {self.high:g} is none; give its range"
            )

    def factors(
        self,
        channel: str,
        value: ArrayLike,
        zero: ArrayLike | None = None,
        legs: Sequence[str] = (),
    ) -> dict[str, Factor]:
        """The errors of the scale in some values.

        Args:
            channel: Its name, which begins the names of the causes.
            value: As the scale gives them, zero still in, shape (n,).
            zero: What was taken off each, (n,) or one number; None where nothing was.
            legs: Leg of each value (``up``, ``down`` or another); () if unknown.

        Returns:
            By name of the cause; ``<channel> gain`` is always among them, and has
            one column. A cause has the same number of columns for any values.
        """
        raw = np.atleast_1d(np.asarray(value, dtype=np.float64))
        off = 0.0 if zero is None else zero
        rest = np.broadcast_to(np.asarray(off, dtype=np.float64), raw.shape)
        taken_off = None if zero is None else rest
        found = {f"{channel} gain": Factor(np.zeros((raw.size, 1)), math.inf)}
        for part in self.parts:
            name = part.name if part.alone else f"{channel} {part.name}"
            found[name] = Factor(part.factor_at(raw, taken_off), part.dof)
        for stray in self.strays:
            name = f"{channel} {stray.name}"
            found[name] = Factor(stray.factor_at(raw, rest), stray.dof)
        turned = self.hysteresis
        if turned is not None:
            factor = _turned(turned, raw, rest, legs)
            found[f"{channel} {turned.name}"] = Factor(factor, turned.dof)
        beyond = self.beyond(raw)
        if self.beyond_u_rel > 0.0 and np.any(beyond > 0.0):
            factor = (self.beyond_u_rel * beyond)[:, np.newaxis]
            found[f"{channel} beyond range"] = Factor(factor, math.inf)
        return found

    def beyond(self, value: ArrayLike) -> Array:
        """How far values lie outside the range, shape as given; NaN stays NaN."""
        raw = np.asarray(value, dtype=np.float64)
        above = np.maximum(raw - self.high, 0.0)
        return np.asarray(above + np.maximum(self.low - raw, 0.0), dtype=np.float64)

    def u_at(self, value: float) -> float:
        """Standard uncertainty that the scale gives one value counted from zero."""
        found = self.factors("channel", [value], 0.0)
        return math.sqrt(sum(float((f.factor**2).sum()) for f in found.values()))


def _turned(part: StrayPart, raw: Array, rest: Array, legs: Sequence[str]) -> Array:
    """Opposite on the two legs, and much alike along each, shape (n, 1 + m).

    A loop has a shape that nobody knows: values of one leg share most of the variance
    wherever they lie, and the rest only with their neighbours. A value whose leg says
    nothing may have been come to from anywhere.
    """
    sides = [_SIDE.get(leg, 0.0) for leg in legs] or [0.0] * raw.size
    side = np.array(sides)[:, np.newaxis]
    size = part.size_at(np.abs(raw - rest))[:, np.newaxis]
    nearby = part.factor_at(raw, rest)
    known = side != 0.0
    own = np.where(known, math.sqrt(LOOP_SHARE) * side, 1.0)
    shared = math.sqrt(1.0 - LOOP_SHARE) * side * size
    return np.concatenate((shared, own * nearby), axis=1)


def relative_scale(gain_u_rel: float) -> Scale:
    """A scale of which only the gain may be wrong, by so much of the value."""
    return Scale((PowerPart("gain", (1,), np.array([[gain_u_rel]])),))

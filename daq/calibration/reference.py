"""What a channel is held against: known values with the causes of their errors.

A cause is a factor matrix over the values, error = factor @ (independent unit errors),
so that masses of one class, one meter or one lever stay correlated from reading to
reading as they are (JCGM 100:2008, F.1.2). Values only; where they come from is the
business of ``standards`` and ``meter``.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GRAVITY = "local gravity"
"""A cause that is not the channel's own: whatever else is weighed shares it."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One thing that may be wrong by itself: a mass, a batch of coins.

    Attributes:
        name: as a person calls it.
        value: what it is worth, in the unit of ``unit``.
        u: standard uncertainty of that.
        unit: for people.
    """

    name: str
    value: float
    u: float
    unit: str


@dataclass(frozen=True, slots=True)
class Level:
    """One known value.

    Attributes:
        name: as a person calls it, such as "50 g + 20 g".
        value_si: what it is.
        made_of: share of each piece in it, shape (pieces,).
    """

    name: str
    value_si: float
    made_of: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Reference:
    """Known values of a channel, zero not among them.

    Attributes:
        levels: the values, in the order in which they are come to.
        causes: by name, factor of the errors of the levels, shape (levels, k). "gain"
            is what goes with the value, "standards" what does not, "local gravity"
            what others share.
        pieces: what the levels are made of; () where each stands for itself.
        si_per_piece_unit: from the unit of the pieces to SI.
        told: one entry for each standard used: name, value, u, source.
        facts: what else belongs to it, for the record.
        cautions: what has to be known before it is relied on, in sentences.
    """

    levels: tuple[Level, ...]
    causes: Mapping[str, Array]
    pieces: tuple[Piece, ...] = ()
    si_per_piece_unit: float = 1.0
    told: tuple[Mapping[str, object], ...] = ()
    facts: Mapping[str, object] | None = None
    cautions: tuple[str, ...] = ()

    @property
    def value_si(self) -> Array:
        """Values of the levels, shape (levels,)."""
        return np.array([level.value_si for level in self.levels], dtype=np.float64)

    def covariance(self) -> Array:
        """Of the levels' errors, all causes together, shape (levels, levels)."""
        total = np.zeros((len(self.levels), len(self.levels)))
        for factor in self.causes.values():
            total += factor @ factor.T
        return total

    def at(self, index: NDArray[np.intp]) -> dict[str, Array]:
        """Causes for readings at some levels; -1 is zero, which is known exactly."""
        found = {}
        for name, factor in self.causes.items():
            rows = np.concatenate((factor, np.zeros((1, factor.shape[1]))))
            found[name] = rows[index]
        return found

    def value_at(self, index: NDArray[np.intp]) -> Array:
        """Known values for readings at some levels; -1 is zero."""
        return np.concatenate((self.value_si, [0.0]))[index]

    def u_rel(self) -> float:
        """Relative standard uncertainty of the largest level."""
        largest = int(np.argmax(np.abs(self.value_si)))
        u = float(np.sqrt(self.covariance()[largest, largest]))
        return u / abs(float(self.value_si[largest]))

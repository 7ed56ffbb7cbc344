"""The models that curves may have: polynomials, in x or a root of it, power laws.

A model knows its value, its derivatives and where to start looking; it holds no
data and chooses nothing.
"""

import math
from dataclasses import dataclass
from typing import ClassVar, Protocol

import numpy as np
from typing_extensions import override

from daq.analysis.series import Array
from daq.errors import InputFault


class Model(Protocol):
    """A curve with coefficients c, shape (p,)."""

    @property
    def words(self) -> str:
        """The model in words."""
        ...

    @property
    def count(self) -> int:
        """Number of coefficients p."""
        ...

    @property
    def through_zero(self) -> bool:
        """Whether R-squared is taken about zero (no constant in the model)."""
        ...

    def value(self, x: Array, c: Array) -> Array:
        """Curve at x, shape (n,)."""
        ...

    def gradient(self, x: Array, c: Array) -> Array:
        """Derivatives with respect to the coefficients, shape (n, p)."""
        ...

    def slope(self, x: Array, c: Array) -> Array:
        """Derivative with respect to x, shape (n,)."""
        ...

    def start(self, x: Array, y: Array) -> Array:
        """Coefficients to start the iteration from, shape (p,)."""
        ...


class _InPowers:
    """What models that are linear in powers of something have in common."""

    __slots__ = ()
    powers: tuple[int, ...]

    @property
    def count(self) -> int:
        """Number of coefficients."""
        return len(self.powers)

    @property
    def through_zero(self) -> bool:
        """Whether it has no constant."""
        return 0 not in self.powers

    def value(self, x: Array, c: Array) -> Array:
        """Curve at x."""
        return self.gradient(x, c) @ c

    def gradient(self, x: Array, c: Array) -> Array:
        """The powers, shape (n, p)."""
        raise NotImplementedError


@dataclass(frozen=True, slots=True)
class Polynomial(_InPowers):
    """A sum of whole powers of x; without the power 0 it passes the origin.

    Attributes:
        powers: Exponents, ascending.
    """

    powers: tuple[int, ...]

    @property
    def words(self) -> str:
        """The model in words."""
        terms = [_term(f"c{i}", power) for i, power in enumerate(self.powers)]
        through = " (through the origin)" if self.through_zero else ""
        return "y = " + " + ".join(terms) + through

    @override
    def gradient(self, x: Array, c: Array) -> Array:
        """The powers of x, shape (n, p)."""
        return np.stack([x**power for power in self.powers], axis=-1)

    def slope(self, x: Array, c: Array) -> Array:
        """Derivative with respect to x."""
        total = np.zeros_like(x)
        for power, coefficient in zip(self.powers, c, strict=True):
            if power:
                total += coefficient * power * x ** (power - 1)
        return total

    def start(self, x: Array, y: Array) -> Array:  # noqa: ARG002 - linear in c
        """Zeros: the first step lands on the answer."""
        return np.zeros(self.count)


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """y = a x^b for positive x, fitted in y."""

    @property
    def words(self) -> str:
        """The model in words."""
        return "y = a x^b"

    @property
    def count(self) -> int:
        """Number of coefficients."""
        return 2

    @property
    def through_zero(self) -> bool:
        """R-squared about the mean, as is usual for curves."""
        return False

    def value(self, x: Array, c: Array) -> Array:
        """Curve at x."""
        return np.asarray(c[0] * x ** c[1], dtype=np.float64)

    def gradient(self, x: Array, c: Array) -> Array:
        """Derivatives with respect to a and b, shape (n, 2)."""
        power = x ** c[1]
        return np.stack([power, c[0] * power * np.log(x)], axis=-1)

    def slope(self, x: Array, c: Array) -> Array:
        """Derivative with respect to x."""
        return np.asarray(c[0] * c[1] * x ** (c[1] - 1), dtype=np.float64)

    def start(self, x: Array, y: Array) -> Array:
        """A straight line through the logarithms: a start, not an answer.

        Raises:
            InputFault: x or y is not positive everywhere.
        """
        if not (np.all(x > 0) and np.all(y > 0)):
            raise InputFault("a power law needs positive x and y at every point")
        log_x, log_y = np.log(x), np.log(y)
        offset = log_x - log_x.mean()
        b = float(offset @ log_y) / float(offset @ offset)
        return np.array([math.exp(float(log_y.mean() - b * log_x.mean())), b])


class Rooted(_InPowers):
    """A polynomial in a root r of positive x."""

    __slots__ = ()
    root: ClassVar[int]
    root_words: ClassVar[str]

    @property
    def words(self) -> str:
        """The model in words."""
        terms = [_term(f"c{i}", power, "r") for i, power in enumerate(self.powers)]
        through = " (through the origin)" if self.through_zero else ""
        return f"y = {' + '.join(terms)}, r the {self.root_words} of x{through}"

    @override
    def gradient(self, x: Array, c: Array) -> Array:
        """The powers of r, shape (n, p)."""
        root = np.asarray(x, dtype=np.float64) ** (1.0 / self.root)
        return np.stack([root**power for power in self.powers], axis=-1)

    def slope(self, x: Array, c: Array) -> Array:
        """Derivative with respect to x."""
        rise = self.gradient(x, c) @ (c * np.array(self.powers))
        return np.asarray(rise / (self.root * x), dtype=np.float64)

    def start(self, x: Array, y: Array) -> Array:  # noqa: ARG002 - linear in c
        """Zeros: the first step lands on the answer."""
        return np.zeros(self.count)


@dataclass(frozen=True)
class CubeRoot(Rooted):
    """A polynomial in the cube root of x.

    Power goes about as the cube of a propeller's speed and thrust as its
    square, so r stands in for speed where x is power; thrust by momentum theory
    alone is the square of r (Leishman, Principles of Helicopter Aerodynamics,
    2000, chapter 2).

    Attributes:
        powers: Exponents of r, ascending; without 0 it passes the origin.
    """

    powers: tuple[int, ...]
    root: ClassVar[int] = 3
    root_words: ClassVar[str] = "cube root"


@dataclass(frozen=True)
class SquareRoot(Rooted):
    """A polynomial in the square root of x.

    Where x is thrust, r goes as speed: the power that a propeller takes goes as
    r^3 and copper loss as r^4; the motor's back-EMF goes as r and its resistive
    drop as r^2.

    Attributes:
        powers: Exponents of r, ascending; without 0 it passes the origin.
    """

    powers: tuple[int, ...]
    root: ClassVar[int] = 2
    root_words: ClassVar[str] = "square root"


@dataclass(frozen=True, eq=False)
class Columns(_InPowers):
    """A sum of given columns; x is the number of a row.

    Attributes:
        design: Shape (rows, p).
        names: What each column is.
    """

    design: Array
    names: tuple[str, ...]

    @property
    def words(self) -> str:
        """The model in words."""
        return f"y = a sum of {', '.join(self.names)}"

    @property
    @override
    def count(self) -> int:
        """Number of columns."""
        return len(self.names)

    @property
    @override
    def through_zero(self) -> bool:
        """R-squared about the mean."""
        return False

    @override
    def gradient(self, x: Array, c: Array) -> Array:
        """The rows, shape (n, p)."""
        return self.design[np.asarray(x, dtype=np.intp)]

    def slope(self, x: Array, c: Array) -> Array:  # noqa: ARG002 - a row has none
        """Nothing: a row's number has no slope."""
        return np.zeros(x.size)

    def start(self, x: Array, y: Array) -> Array:  # noqa: ARG002 - linear in c
        """Zeros: the first step lands on the answer."""
        return np.zeros(self.count)


def _term(name: str, power: int, of: str = "x") -> str:
    if power == 0:
        return name
    return f"{name} {of}" if power == 1 else f"{name} {of}^{power}"

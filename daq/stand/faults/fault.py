"""What every fault is: a frozen value with a start, an end and its own figures.

A figure says beside its default what is allowed and what a random draw gives,
so that constructor, file and campaign cannot disagree. A fault knows no stand
and holds nothing that changes.
"""

import math
from abc import ABC, abstractmethod
from dataclasses import Field, dataclass, field, fields
from typing import Any, ClassVar, TypeVar, cast

from typing_extensions import override

from daq.errors import InputFault

NEVER = math.inf
LATEST_S = 1e6
"""Longer than any test: a start beyond it is a slip of the pen."""

Figure = TypeVar("Figure", float, int)


@dataclass(frozen=True, slots=True)
class Range:
    """What a figure may be.

    Attributes:
        low: at least.
        high: at most.
        drawn: what a random draw gives, evenly on a logarithmic scale where both
            ends are above 0.
        passed_over: what a draw never gives.
    """

    low: float
    high: float
    drawn: tuple[float, float]
    passed_over: float | None = None


def figure(
    default: Figure,
    low: float,
    high: float,
    drawn: tuple[float, float],
    passed_over: float | None = None,
) -> Figure:
    """A number among a fault's own figures; the arguments are those of ``Range``."""
    allowed = Range(low, high, drawn, passed_over)
    return field(default=default, metadata={"range": allowed})


def choice(default: str, names: tuple[str, ...]) -> str:
    """A word out of a few among a fault's own figures."""
    return field(default=default, metadata={"names": names})


def range_of(item: "Field[Any]") -> Range | None:
    """What a figure may be, None where it is no number."""
    return cast("Range | None", item.metadata.get("range"))


def names_of(item: "Field[Any]") -> tuple[str, ...]:
    """The words that a figure may be; none where it is no word."""
    return cast("tuple[str, ...]", item.metadata.get("names", ()))


@dataclass(frozen=True, slots=True)
class Fault(ABC):
    """One thing that goes wrong, in seconds of the stand's own time.

    Attributes:
        kind: name of the kind in files and tables.
        start_s: when it begins, counted from when the stand was switched on.

    Raises:
        InputFault: a figure is not what it may be.
    """

    kind: ClassVar[str]

    start_s: float = 0.0

    def __post_init__(self) -> None:
        """Refuse figures that cannot be."""
        if not (math.isfinite(self.start_s) and 0.0 <= self.start_s <= LATEST_S):
            self._refuse("start_s", f"from 0 to {LATEST_S:g}")
        for item in fields(self):
            self._check(item)
        if not self.end_s >= self.start_s:
            self._refuse("end_s", f"no less than start_s, {self.start_s:g}")

    def _check(self, item: "Field[Any]") -> None:
        value = getattr(self, item.name)
        allowed, names = range_of(item), names_of(item)
        if names and value not in names:
            self._refuse(item.name, " or ".join(names))
        if allowed and not (
            math.isfinite(value) and allowed.low <= value <= allowed.high
        ):
            self._refuse(item.name, f"from {allowed.low:g} to {allowed.high:g}")

    def _refuse(self, name: str, allowed: str) -> None:
        value = getattr(self, name)
        raise InputFault(f"{self.kind}: {name} is {value}; it must be {allowed}")

    @property
    @abstractmethod
    def end_s(self) -> float:
        """When it is over; ``NEVER`` where it stays."""

    @abstractmethod
    def words(self) -> str:
        """What goes wrong, as a clause, without when."""

    def when(self) -> str:
        """When it goes wrong, in words."""
        if self.start_s == 0.0:
            return f"until {self.end_s:g} s" if self.end_s < NEVER else "throughout"
        if self.end_s == NEVER:
            return f"from {self.start_s:g} s on"
        return f"from {self.start_s:g} s to {self.end_s:g} s"


@dataclass(frozen=True, slots=True)
class Lasting(Fault, ABC):
    """A fault that lasts.

    Attributes:
        end_s: when it is over; ``NEVER``: it stays.
    """

    end_s: float = NEVER


@dataclass(frozen=True, slots=True)
class Moment(Fault, ABC):
    """A fault that happens at one moment and keeps the board dark for a while.

    Attributes:
        dark_s: how long no firmware runs: the supply is coming back, a boot
            loader is waiting.
    """

    dark_s: float = figure(0.25, 0.0, 60.0, (0.01, 1.5))

    @property
    @override
    def end_s(self) -> float:
        return self.start_s + self.dark_s

    @override
    def when(self) -> str:
        return f"at {self.start_s:g} s"


def describe(fault: Fault) -> str:
    """One clause for people: what goes wrong, and when."""
    return f"{fault.words()} {fault.when()}"

"""Faults of the stand's own board: starts it should not make, and hangs.

Only what goes wrong and with which figures; ``stand`` is what acts on it.
"""

from abc import ABC
from dataclasses import dataclass
from typing import ClassVar

from typing_extensions import override

from daq.link import messages as m
from daq.stand.faults.fault import Lasting, Moment, choice, figure

CAUSES = {
    "power-on": m.Cause.POWER_ON,
    "reset-pin": m.Cause.RESET_PIN,
    "watchdog": m.Cause.WATCHDOG,
    "brown-out": m.Cause.BROWN_OUT,
    "other": m.Cause.RESET_OTHER,
}


@dataclass(frozen=True, slots=True)
class Restart(Moment, ABC):
    """The board starts again.

    While it is dark there is no pulse and no byte goes in or out; then it runs,
    locked, and its first event tells the cause.
    """

    @property
    def told(self) -> m.Cause:
        """The cause that its first event will tell."""
        return m.Cause.BROWN_OUT


@dataclass(frozen=True, slots=True)
class Reset(Restart):
    """A reset of the board.

    Attributes:
        cause: what its first event says it was.
    """

    kind: ClassVar[str] = "reset"

    cause: str = choice("reset-pin", tuple(CAUSES))

    @property
    @override
    def told(self) -> m.Cause:
        return CAUSES[self.cause]

    @override
    def words(self) -> str:
        return f"the stand resets ({self.cause}, back after {self.dark_s:.3g} s)"


@dataclass(frozen=True, slots=True)
class BrownOut(Restart):
    """The board's own supply dips, whatever it comes from."""

    kind: ClassVar[str] = "brown-out"

    @override
    def words(self) -> str:
        return f"the stand browns out (back after {self.dark_s:.3g} s)"


@dataclass(frozen=True, slots=True)
class SaggingSupply(Lasting):
    """The board lives on the bus, and goes dark when that sags.

    Attributes:
        threshold_v: below this bus voltage it browns out.
        return_v: how much above that the bus must be for it to start again.
        dark_s: how long it then takes to run.
    """

    kind: ClassVar[str] = "sagging-supply"

    threshold_v: float = figure(9.5, 0.5, 60.0, (9.5, 11.5))
    return_v: float = figure(0.2, 0.0, 5.0, (0.05, 0.4))
    dark_s: float = figure(0.1, 0.0, 60.0, (0.01, 0.5))

    @override
    def words(self) -> str:
        return f"the stand browns out whenever the bus is below {self.threshold_v:g} V"


@dataclass(frozen=True, slots=True)
class Hang(Lasting):
    """The firmware's main loop stops; its millisecond interrupt goes on.

    No byte goes in or out, no sample is taken and no limit checked. The lease
    and the pulse are the interrupt's, and still work. What the host sends waits
    in the receiver's buffer, and is read when the loop goes on.

    Attributes:
        buffer_bytes: how much the receiver's buffer holds; the rest is lost.
    """

    kind: ClassVar[str] = "hang"

    buffer_bytes: int = figure(256, 0, 65_536, (64, 1024))

    @override
    def words(self) -> str:
        return "the stand's main loop hangs"


@dataclass(frozen=True, slots=True)
class LockUp(Moment):
    """Nothing on the board works any more, and the pulse stays as it is.

    Only the hardware watchdog ends it, with a reset.

    Attributes:
        watchdog_s: how long the watchdog waits.
    """

    kind: ClassVar[str] = "lock-up"

    watchdog_s: float = figure(0.5, 0.001, 60.0, (0.05, 2.0))

    @property
    @override
    def end_s(self) -> float:
        return self.start_s + self.watchdog_s + self.dark_s

    @override
    def words(self) -> str:
        return f"the stand locks up until its watchdog bites, {self.watchdog_s:.3g} s"
